"""Whether the one value that lies furthest from the rest lies further than chance allows.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

_ALONE = 1e-9
_NIL = 1e-12


@dataclass(frozen=True)
class OddOne:
    """Each residual over its standard error, and the largest judged.

    Attributes
    ----------
    studentised : tuple of float or None
        Externally: by the scatter without the value itself. None where a value alone decides its own fit.
    place : int or None
        Of the largest; None where none can be told.
    tested : int
        How many can be told.
    df : int
        Of each studentised residual.
    p_value : float or None
        Of the largest, over all that were tested (Bonferroni).
    """

    studentised: tuple[float | None, ...]
    place: int | None
    tested: int
    df: int
    p_value: float | None


def odd_one(residuals: ArrayLike, leverage: ArrayLike, df: int) -> OddOne:
    """Give back how far each value lies from what the others say of it, and whether the furthest is too far for chance.

    Parameters
    ----------
    residuals : array_like, shape (runs,)
        Of least squares, in any unit.
    leverage : array_like, shape (runs,)
        Share of each value in its own fit, from 0 to 1.
    df : int
        Degrees of freedom of the residuals, 2 or more.

    Returns
    -------
    OddOne

    Raises
    ------
    ModelError
        When a number is missing or out of range.

    Notes
    -----
    Largest externally studentised residual, t on one df fewer, with Bonferroni (R. D. Cook and S. Weisberg, Residuals
    and Influence in Regression, 1982). Of a plain sample it is Grubbs's two-sided test: G / s and this t rise together
    (F. E. Grubbs, Technometrics 11 (1969) 1-21).

    Checked against: k11-grubbs-nist, and each step of k11-esd-rosner, tests/reference/test_residual_cases.py;
    statsmodels, tests/unit/model/test_diagnostics.py.
    """
    rest, own = np.asarray(residuals, dtype=float), np.asarray(leverage, dtype=float)
    faults = guards.finite("residuals", rest) + guards.between("leverage", own, -_ALONE, 1.0 + _ALONE)
    if rest.shape != own.shape or rest.ndim != 1:
        faults.append(Fault("leverage", f"an array of shape {own.shape}", f"one a residual, shape {rest.shape}"))
    if df < 2:
        faults.append(Fault("df", f"{df}", "2 or more"))
    raise_all(ModelError, "The residuals cannot be judged one by one.", faults)
    total = float(rest @ rest)
    made: list[float | None] = []
    for residual, share in zip(rest, own, strict=True):
        others = total - residual**2 / (1.0 - share) if share < 1.0 - _ALONE else 0.0
        known = share < 1.0 - _ALONE and others > _NIL * total
        made.append(float(residual / np.sqrt(others / (df - 1) * (1.0 - share))) if known else None)
    tested = [(abs(value), at) for at, value in enumerate(made) if value is not None]
    if not tested:
        return OddOne(tuple(made), None, 0, df - 1, None)
    size, at = max(tested)
    # Upper tail of F on (1, df): accurate where a t probability near 1 would be rounded.
    single = float(special.fdtrc(1.0, df - 1, size**2))
    return OddOne(tuple(made), at, len(tested), df - 1, min(1.0, len(tested) * single))
