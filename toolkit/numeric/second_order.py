"""Second-order surfaces: the fit, its lack of fit, and its stationary point.

May import numpy, scipy and the error classes. Settings are coded as the caller likes; limits are in the same units.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import contrasts

Floats = NDArray[np.float64]

MAXIMUM, MINIMUM, SADDLE = "maximum", "minimum", "saddle point"
_NO_CURVATURE = 1e-10


@dataclass(frozen=True, eq=False)
class LackOfFit:
    """What the surface leaves beside the scatter of repeats."""

    df: int
    ss: float
    pure_df: int
    pure_ss: float
    f: float | None
    p: float | None


@dataclass(frozen=True, eq=False)
class SecondOrder:
    """A fitted second-order surface.

    Attributes
    ----------
    factors : int
    beta : ndarray, shape (parameters,)
        Mean, then linear terms, squares, products (0, 1), (0, 2), ..., then blocks.
    cov : ndarray, shape (parameters, parameters)
        Unscaled.
    residual_ss : float
    df : int
        Of the residual.
    r2 : float
    lack_of_fit : LackOfFit or None
        None without repeats.
    """

    factors: int
    beta: Floats
    cov: Floats
    residual_ss: float
    df: int
    r2: float
    lack_of_fit: LackOfFit | None

    @property
    def residual_sd(self) -> float | None:
        """Root of the residual mean square; None without degrees of freedom."""
        return float(np.sqrt(self.residual_ss / self.df)) if self.df else None

    @property
    def std_error(self) -> Floats | None:
        """Of every coefficient, shape (parameters,)."""
        return None if self.residual_sd is None else self.residual_sd * np.sqrt(np.diag(self.cov))

    @property
    def linear(self) -> Floats:
        """Linear coefficients, shape (factors,)."""
        return self.beta[1 : 1 + self.factors]

    @property
    def matrix(self) -> Floats:
        """Squares on the diagonal, half of the products beside it: shape (factors, factors)."""
        made = np.diag(self.beta[1 + self.factors : 1 + 2 * self.factors])
        for place, (one, other) in enumerate(combinations(range(self.factors), 2)):
            made[one, other] = made[other, one] = 0.5 * self.beta[1 + 2 * self.factors + place]
        return made


@dataclass(frozen=True, eq=False)
class Stationary:
    """Where a surface is level in every direction.

    Attributes
    ----------
    point : ndarray, shape (factors,)
    predicted : float
    eigenvalues : ndarray, shape (factors,)
        The largest first: the response changes by eigenvalue times squared distance along each axis.
    axes : ndarray, shape (factors, factors)
        One column an eigenvalue, of length 1.
    eigenvalue_errors : ndarray or None
        Standard errors, the axes taken as found.
    nature : str
        maximum, minimum or saddle point, by the signs alone.
    """

    point: Floats
    predicted: float
    eigenvalues: Floats
    axes: Floats
    eigenvalue_errors: Floats | None
    nature: str


def columns(points: ArrayLike) -> Floats:
    """Give back the columns of the second-order model.

    Parameters
    ----------
    points : array_like, shape (runs, factors)

    Returns
    -------
    ndarray, shape (runs, 1 + 2 factors + pairs)
        Mean, linear, squares, products.

    Checked against: k06-nist-cvd-ccd, tests/reference/test_surface_cases.py.
    """
    given = np.atleast_2d(np.asarray(points, dtype=float))
    pairs = [given[:, one] * given[:, other] for one, other in combinations(range(given.shape[1]), 2)]
    return np.column_stack([np.ones(len(given)), given, given**2, *pairs])


def fit(points: ArrayLike, response: ArrayLike, *, blocks: ArrayLike | None = None) -> SecondOrder:
    """Give back the second-order surface through runs.

    Parameters
    ----------
    points : array_like, shape (runs, factors)
    response : array_like, shape (runs,)
    blocks : array_like, optional
        The block of each run; differences between blocks are taken out, and the surface is that of their mean.

    Returns
    -------
    SecondOrder

    Raises
    ------
    ModelError
        When a value is missing, the shapes do not fit, or the runs cannot tell every coefficient.

    Notes
    -----
    Least squares; repeats are runs at the same setting (of the same block), their scatter about their mean is pure
    error and the rest of the residual lack of fit (textbook).

    Checked against: k06-bhh-ccd-yield, k06-nist-cvd-ccd (R 4.2.2 lm), tests/reference/test_surface_cases.py.
    """
    given, y = np.asarray(points, dtype=float), np.asarray(response, dtype=float)
    faults = guards.finite("points", given) + guards.finite("response", y)
    if given.ndim != 2 or y.shape != given.shape[:1]:
        faults.append(Fault("response", f"shape {y.shape} for points of {given.shape}", "one value a run"))
    raise_all(ModelError, "The surface cannot be fitted.", faults)
    label = np.zeros(len(y), dtype=int) if blocks is None else np.unique(np.asarray(blocks), return_inverse=True)[1]
    model = columns(given)
    if label.max() > 0:
        model = np.hstack([model, contrasts.sum_coded(int(label.max()) + 1)[label]])
    if contrasts.rank(model) < model.shape[1]:
        found = f"{contrasts.rank(model)} of {model.shape[1]} coefficients can be told from these {len(y)} runs"
        expected = "every square and every product; add axial or edge points, or leave factors out"
        raise_all(ModelError, "The surface cannot be fitted.", [Fault("points", found, expected)])
    solved = contrasts.least_squares(model, y)
    centred = y - y[0]
    total = float(np.sum((centred - centred.mean()) ** 2))
    places = np.unique(np.column_stack([given, label]), axis=0, return_inverse=True)[1].ravel()
    counts = np.bincount(places)
    means = np.bincount(places, weights=centred) / counts
    pure_ss, pure_df = float(np.sum((centred - means[places]) ** 2)), len(y) - len(counts)
    lack = None if pure_df == 0 else _lack(solved.residual_ss - pure_ss, solved.df - pure_df, pure_ss, pure_df)
    r2 = 1.0 - solved.residual_ss / total if total > 0.0 else 0.0
    return SecondOrder(given.shape[1], solved.beta, solved.unscaled_cov, solved.residual_ss, solved.df, r2, lack)


def stationary(surface: SecondOrder) -> Stationary | None:
    """Give back the stationary point of a surface; None where there is no single one.

    Parameters
    ----------
    surface : SecondOrder

    Returns
    -------
    Stationary or None
        None when the curvature is nil along some direction (a ridge that rises or lies level).

    Notes
    -----
    -B^(-1) b / 2 and the eigenvalues of B (G. E. P. Box and K. B. Wilson 1951). Errors of eigenvalues: that of d'Bd
    with the axis d as found (S. Bisgaard and B. Ankenman, Technometrics 38 (1996) 238-246, from memory).

    Checked against: k06-bhh-ccd-yield, k06-nist-cvd-ccd, tests/reference/test_surface_cases.py.
    """
    values, axes = np.linalg.eigh(surface.matrix)
    values, axes = values[::-1], axes[:, ::-1]
    size = float(np.abs(values).max())
    if size == 0.0 or float(np.abs(values).min()) < _NO_CURVATURE * size:
        return None
    point = -0.5 * np.linalg.solve(surface.matrix, surface.linear)
    predicted = float(surface.beta[0] + 0.5 * point @ surface.linear)
    errors = None
    if surface.residual_sd is not None:
        rows = columns(axes.T)
        rows[:, : 1 + surface.factors] = 0.0
        errors = surface.residual_sd * np.sqrt(_variances(surface, rows))
    nature = MAXIMUM if np.all(values < 0.0) else MINIMUM if np.all(values > 0.0) else SADDLE
    return Stationary(point, predicted, values, axes, errors, nature)


def _lack(ss: float, df: int, pure_ss: float, pure_df: int) -> LackOfFit:
    """Lack of fit against pure error."""
    from scipy.special import fdtrc

    left = max(ss, 0.0)
    if df == 0 or pure_ss == 0.0:
        return LackOfFit(df, left, pure_df, pure_ss, None, None)
    f = (left / df) / (pure_ss / pure_df)
    return LackOfFit(df, left, pure_df, pure_ss, f, float(fdtrc(df, pure_df, f)))


def padded(surface: SecondOrder, rows: Floats) -> Floats:
    """Rows of the second-order model with noughts for the blocks: the mean over them.

    Parameters
    ----------
    surface : SecondOrder
    rows : ndarray, shape (settings, 1 + 2 factors + pairs)

    Returns
    -------
    ndarray, shape (settings, parameters)

    Notes
    -----
    Checked against: blocks shifted, tests/unit/numeric/test_second_order.py.
    """
    return np.hstack([rows, np.zeros((len(rows), len(surface.beta) - rows.shape[1]))])


def _variances(surface: SecondOrder, rows: Floats) -> Floats:
    """Unscaled variances of rows of the model."""
    whole = padded(surface, rows)
    return np.einsum("ni,ij,nj->n", whole, surface.cov, whole)
