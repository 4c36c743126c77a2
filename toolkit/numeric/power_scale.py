"""Which power of the values makes effects add up with one normal scatter: Box and Cox's likelihood.

May import numpy, scipy and the error classes. What is drawn at random comes from the seed given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._left_over import basis_beside

Floats = NDArray[np.float64]

DRAWN = 1000
WIDEST = 5.0
_NIL = 1e-9
# Numbers held at once while campaigns are drawn.
_SLICE = 1_000_000
_GRID = np.linspace(-WIDEST, WIDEST, 41)
_HEADLINE = "The power of the values cannot be told."


@dataclass(frozen=True)
class Power:
    """The power that fits best and how far others fit as well.

    Attributes
    ----------
    best : float
        1: the values as they are; 0: their logarithm; -1: one over them. From -5 to 5.
    log_likelihood : float
        At ``best``, without the constants that no power changes.
    low, high : float or None
        Ends of the interval of powers; None where it goes on beyond -5 or 5.
    """

    best: float
    log_likelihood: float
    low: float | None
    high: float | None


def log_likelihood(columns: ArrayLike, values: ArrayLike, powers: ArrayLike) -> Floats:
    """Give back the log likelihood of powers of the values, effects and scatter taken as they fit each best.

    Parameters
    ----------
    columns : array_like, shape (runs, columns)
        The model, in any coding; at least one degree of freedom must be left.
    values : array_like, shape (..., runs)
        Above 0, in any unit.
    powers : array_like, shape (powers,)
        1: the values as they are; 0: their logarithm; -1: one over them.

    Returns
    -------
    ndarray, shape (..., powers)
        -n / 2 ln(RSS / n) of the values brought to one scale by their geometric mean.

    Raises
    ------
    ModelError
        When a value is missing, at or below nought, or no degree of freedom is left.

    Notes
    -----
    G. E. P. Box and D. R. Cox, Journal of the Royal Statistical Society B 26 (1964) 211-252.

    Checked against: k11-boxcox-poisons (R 4.2.2), tests/reference/test_residual_cases.py.
    """
    basis, logs = _ready(columns, values)
    return _profile(basis, logs, np.asarray(powers, dtype=float))


def power_of(columns: ArrayLike, values: ArrayLike, *, conf_level: float = 0.95) -> Power:
    """Give back the power of the values that fits a model best, with the interval of those that fit as well.

    Parameters
    ----------
    columns, values
        As for ``log_likelihood``; ``values`` of shape (runs,).
    conf_level : float

    Returns
    -------
    Power

    Raises
    ------
    ModelError
        As ``log_likelihood``.

    Notes
    -----
    The interval holds every power whose log likelihood is within half a quantile of chi-square on 1 df of the highest
    (Box and Cox 1964): right for many runs, too narrow for few.

    Checked against: k11-boxcox-poisons (R 4.2.2), tests/reference/test_residual_cases.py.
    """
    from scipy import optimize

    raise_all(ModelError, _HEADLINE, guards.probability("conf_level", conf_level))
    basis, logs = _ready(columns, values)

    def at(power: float) -> float:
        """The log likelihood of one power."""
        return float(_profile(basis, logs, np.array([power]))[0])

    found = _profile(basis, logs, _GRID)
    place = int(found.argmax())
    around = _GRID[max(place - 1, 0)], _GRID[min(place + 1, len(_GRID) - 1)]
    search = optimize.minimize_scalar(lambda p: -at(p), bounds=around, method="bounded", options={"xatol": 1e-9})
    best = float(search.x)
    edge = at(best) - 0.5 * float(special.chdtri(1.0, 1.0 - conf_level))
    ends = [
        None if at(end) > edge else float(optimize.brentq(lambda p: at(p) - edge, best, end))
        for end in (-WIDEST, WIDEST)
    ]
    return Power(best, at(best), *ends)


def fits_as_well(columns: ArrayLike, values: ArrayLike, power: int, *, seed: int, drawn: int = DRAWN) -> float:
    """Give back the p value of a scale: how often runs that do lie on it fit another power as much better as these do.

    Parameters
    ----------
    columns, values
        As for ``log_likelihood``; ``values`` of shape (runs,).
    power : int
        0 for the log scale, 1 for the values as they are.
    seed : int
        Of the drawing.
    drawn : int
        Campaigns drawn, 100 or more.

    Returns
    -------
    float
        Small where the runs speak for another scale.

    Raises
    ------
    ModelError
        As ``log_likelihood``, and when the power is neither 0 nor 1.

    Notes
    -----
    Parametric bootstrap of the likelihood ratio on a grid of powers, since chi-square is too generous for a few runs:
    p = (1 + as large) / (1 + drawn). Drawn values at or below nought, which a linear scale may give, count as not
    larger.

    Checked against: false alarms by simulation, tests/unit/numeric/test_power_scale.py.
    """
    faults = [] if power in (0, 1) else [Fault("power", f"{power}", "0 (log) or 1 (as they are)")]
    if drawn < 100:
        faults.append(Fault("drawn", f"{drawn}", "100 or more"))
    raise_all(ModelError, _HEADLINE, faults)
    basis, logs = _ready(columns, values)
    given = np.exp(logs) if power else logs
    fitted = basis @ (basis.T @ given)
    df = len(given) - basis.shape[1]
    error = float(np.sqrt(((given - fitted) ** 2).sum() / df))
    made = fitted + error * np.random.default_rng(seed).standard_normal((drawn, len(given)))
    possible = (made > 0.0).all(axis=1) if power else np.ones(drawn, dtype=bool)
    made = np.log(made[possible]) if power else made

    own = float(_gained(basis, logs[None, :], power)[0])
    size = max(1, _SLICE // (len(_GRID) * len(given)))
    parts = [_gained(basis, made[at : at + size], power) for at in range(0, len(made), size)]
    return (1.0 + sum(int((part >= own - _NIL).sum()) for part in parts)) / (1.0 + drawn)


def _ready(columns: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    """An orthonormal basis of the model and the logarithms of the values, or every fault of them."""
    given, made = np.asarray(columns, dtype=float), np.asarray(values, dtype=float)
    faults = guards.finite("columns", given) + guards.positive("values", made)
    raise_all(ModelError, _HEADLINE, faults)
    return basis_beside(given, _HEADLINE), np.log(made)


def _gained(basis: Floats, logs: Floats, power: int) -> Floats:
    """How much better the best power of the grid fits than a stated one, shape (sets,)."""
    found = _profile(basis, logs, _GRID)
    return found.max(axis=-1) - _profile(basis, logs, np.array([float(power)]))[..., 0]


def _profile(basis: Floats, logs: Floats, powers: Floats) -> Floats:
    """Log likelihoods, shape (..., powers), of values given by their logarithms, shape (..., runs)."""
    # Over their geometric mean the values are on one scale whatever the power.
    centred = (logs - logs.mean(axis=-1, keepdims=True))[..., None, :]
    geometric = np.exp(logs.mean(axis=-1))[..., None, None]
    scale = powers[:, None]
    nil = np.abs(scale) < 1e-8
    raised = np.where(nil, centred, np.expm1(scale * centred) / np.where(nil, 1.0, scale))
    turned = geometric * raised
    rest = turned - (turned @ basis) @ basis.T
    count = logs.shape[-1]
    return -0.5 * count * np.log(np.maximum((rest**2).sum(axis=-1), 1e-300) / count)
