"""Second-order surfaces: the fit, its stationary point, how sure that is, and the best setting within limits.

May import numpy, scipy and the error classes. Settings are coded as the caller likes; limits are in the same units.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import contrasts

Floats = NDArray[np.float64]

MAXIMUM, MINIMUM, SADDLE = "maximum", "minimum", "saddle point"
# Of the region of the stationary point so many settings within the limits are looked at.
LOOKED_AT = 20_000
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


@dataclass(frozen=True, eq=False)
class Region:
    """Settings that the stationary point may be at, as far as the limits reach.

    Attributes
    ----------
    low, high : ndarray or None, shape (factors,)
        The smallest and largest setting of each factor in it; None where no setting within the limits is in it.
    share : float
        Share of the settings within the limits that are in it.
    at_edge : tuple of int
        Factors whose limit it reaches: it may go on beyond.
    conf_level : float
    """

    low: Floats | None
    high: Floats | None
    share: float
    at_edge: tuple[int, ...]
    conf_level: float


@dataclass(frozen=True, eq=False)
class Best:
    """The best setting within limits, with what one more run there would give.

    ``mean_low`` to ``mean_high`` is for the mean of many runs, ``run_low`` to ``run_high`` for a single one; None
    without degrees of freedom. ``at_limit`` names the factors that stand at a limit.
    """

    point: Floats
    predicted: float
    mean_low: float | None
    mean_high: float | None
    run_low: float | None
    run_high: float | None
    at_limit: tuple[int, ...]


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


def in_region(surface: SecondOrder, points: ArrayLike, *, conf_level: float = 0.95) -> NDArray[np.bool_]:
    """Give back whether each setting may be the stationary point.

    Parameters
    ----------
    surface : SecondOrder
        With degrees of freedom for error.
    points : array_like, shape (settings, factors)
    conf_level : float

    Returns
    -------
    ndarray of bool, shape (settings,)
        True where a slope of nought in every direction is not refused by the F test.

    Raises
    ------
    ModelError
        When nothing tells the scatter, or the level is no share.

    Notes
    -----
    G. E. P. Box and J. S. Hunter, Biometrika 41 (1954) 190-199: exact whatever the nature of the point.

    Checked against: its cover in simulation, tests/unit/numeric/test_second_order.py.
    """
    from scipy.special import fdtri

    faults = guards.probability("conf_level", conf_level)
    if surface.df == 0:
        faults.append(Fault("surface", "no degrees of freedom for error", "repeats or runs beyond the coefficients"))
    raise_all(ModelError, "The region cannot be told.", faults)
    given = np.atleast_2d(np.asarray(points, dtype=float))
    limit = surface.factors * float(fdtri(surface.factors, surface.df, conf_level))
    rows = _slopes(surface, given)
    slope = rows @ surface.beta
    cov = np.einsum("nij,jk,nlk->nil", rows, surface.cov, rows) * surface.residual_ss / surface.df
    size = np.einsum("ni,ni->n", slope, np.linalg.solve(cov, slope[:, :, None])[:, :, 0])
    return size <= limit


def region(
    surface: SecondOrder, low: ArrayLike, high: ArrayLike, *, seed: int, conf_level: float = 0.95
) -> Region:
    """Give back how far the settings reach that the stationary point may be at, within limits.

    Parameters
    ----------
    surface : SecondOrder
    low, high : array_like, shape (factors,)
    seed : int
        Of the settings looked at, where there are more than three factors.
    conf_level : float

    Returns
    -------
    Region
        To the width of the settings looked at.

    Raises
    ------
    ModelError
        As ``in_region``, or when the limits do not fit.

    Checked against: the region of one factor by Fieller's theorem, tests/unit/numeric/test_second_order.py.
    """
    bottom, top = _limits(surface, low, high)
    count = surface.factors
    if count <= 3:
        steps = np.linspace(0.0, 1.0, int(round(LOOKED_AT ** (1.0 / count))))
        share = np.array(list(product(steps, repeat=count)))
    else:
        share = np.random.default_rng(seed).random((LOOKED_AT, count))
    settings = bottom + share * (top - bottom)
    inside = in_region(surface, settings, conf_level=conf_level)
    if not inside.any():
        return Region(None, None, 0.0, (), conf_level)
    held = settings[inside]
    near = 0.02 if count > 3 else 1e-9
    reached = (share[inside].min(axis=0) <= near) | (share[inside].max(axis=0) >= 1.0 - near)
    edge = tuple(int(at) for at in np.flatnonzero(reached))
    return Region(held.min(axis=0), held.max(axis=0), float(inside.mean()), edge, conf_level)


def best(
    surface: SecondOrder, low: ArrayLike, high: ArrayLike, *, larger: bool, conf_level: float = 0.95
) -> Best:
    """Give back the best setting within limits.

    Parameters
    ----------
    surface : SecondOrder
    low, high : array_like, shape (factors,)
    larger : bool
        True where a larger response is better.
    conf_level : float

    Returns
    -------
    Best
        Exact: every face of the box is searched for where the surface is level along it.

    Raises
    ------
    ModelError
        When the limits do not fit.

    Notes
    -----
    A quadratic over a box takes its extreme at a stationary point of one of its 3^k faces (corners, edges, ..., the
    inside). Intervals by Student's t at the residual df; the choice of the setting itself is not allowed for.

    Checked against: a fine grid, tests/unit/numeric/test_second_order.py.
    """
    from scipy.special import stdtrit

    faults = guards.probability("conf_level", conf_level)
    raise_all(ModelError, "The best setting cannot be told.", faults)
    bottom, top = _limits(surface, low, high)
    sign = 1.0 if larger else -1.0
    found: list[Floats] = []
    for held in product((-1, 0, 1), repeat=surface.factors):
        free = np.array([at for at, where in enumerate(held) if where == 0], dtype=int)
        point = np.where(np.array(held) < 0, bottom, top)
        if len(free):
            inner = surface.matrix[np.ix_(free, free)]
            if np.linalg.matrix_rank(inner, hermitian=True) < len(free):
                continue
            point[free] = 0.0
            slope = surface.linear[free] + 2.0 * surface.matrix[free] @ point
            point[free] = -0.5 * np.linalg.solve(inner, slope)
            if np.any(point < bottom) or np.any(point > top):
                continue
        found.append(point)
    rows = _padded(surface, columns(np.array(found)))
    told = rows @ surface.beta
    at = int(np.argmax(sign * told))
    mean_low = mean_high = run_low = run_high = None
    if surface.df:
        variance = surface.residual_ss / surface.df
        quantile = float(stdtrit(surface.df, 0.5 + 0.5 * conf_level))
        own = float(rows[at] @ surface.cov @ rows[at])
        half, wide = quantile * np.sqrt(variance * own), quantile * np.sqrt(variance * (1.0 + own))
        mean_low, mean_high = float(told[at] - half), float(told[at] + half)
        run_low, run_high = float(told[at] - wide), float(told[at] + wide)
    edge = tuple(int(place) for place in np.flatnonzero((found[at] == bottom) | (found[at] == top)))
    return Best(found[at], float(told[at]), mean_low, mean_high, run_low, run_high, edge)


def _lack(ss: float, df: int, pure_ss: float, pure_df: int) -> LackOfFit:
    """Lack of fit against pure error."""
    from scipy.special import fdtrc

    left = max(ss, 0.0)
    if df == 0 or pure_ss == 0.0:
        return LackOfFit(df, left, pure_df, pure_ss, None, None)
    f = (left / df) / (pure_ss / pure_df)
    return LackOfFit(df, left, pure_df, pure_ss, f, float(fdtrc(df, pure_df, f)))


def _limits(surface: SecondOrder, low: ArrayLike, high: ArrayLike) -> tuple[Floats, Floats]:
    """Limits as arrays, refused where they are none."""
    bottom, top = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    faults = guards.finite("low", bottom) + guards.finite("high", top)
    if bottom.shape != (surface.factors,) or top.shape != (surface.factors,):
        faults.append(Fault("limits", f"shapes {bottom.shape} and {top.shape}", f"{surface.factors} of each"))
    elif not faults and np.any(bottom >= top):
        faults.append(Fault("limits", "a lower limit at or above the upper one", "lower below upper"))
    raise_all(ModelError, "The limits cannot be used.", faults)
    return bottom, top


def _padded(surface: SecondOrder, rows: Floats) -> Floats:
    """Rows of the model with noughts for the blocks: the mean over them."""
    return np.hstack([rows, np.zeros((len(rows), len(surface.beta) - rows.shape[1]))])


def _variances(surface: SecondOrder, rows: Floats) -> Floats:
    """Unscaled variances of rows of the model."""
    whole = _padded(surface, rows)
    return np.einsum("ni,ij,nj->n", whole, surface.cov, whole)


def _slopes(surface: SecondOrder, points: Floats) -> Floats:
    """The slope in every direction as rows of the model: shape (settings, factors, parameters)."""
    count = surface.factors
    made = np.zeros((len(points), count, len(surface.beta)))
    for at in range(count):
        made[:, at, 1 + at] = 1.0
        made[:, at, 1 + count + at] = 2.0 * points[:, at]
    for place, (one, other) in enumerate(combinations(range(count), 2)):
        made[:, one, 1 + 2 * count + place] = points[:, other]
        made[:, other, 1 + 2 * count + place] = points[:, one]
    return made
