"""What a master that does not wear shows of a gauge over the sessions it was read in.

May import numpy, scipy.special and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats


@dataclass(frozen=True, eq=False)
class Drift:
    """How far the gauge reads off, session by session, and what moves with time.

    Attributes
    ----------
    off : ndarray, shape (sessions,)
        Mean reading of the master less its value.
    off_sd : ndarray, shape (sessions,)
        Its standard uncertainty from the scatter of readings; NaN where no session was read twice.
    reading_sd : float or None
        SD of one reading, pooled within sessions.
    reading_df : int
    slope : float or None
        Per day; None with fewer than three sessions on different days.
    slope_low, slope_high, p_value : float or None
        By t with sessions - 2 degrees of freedom.
    line : ndarray, shape (sessions,)
        The fitted line.
    line_covariance : ndarray, shape (sessions, sessions)
        Of the fitted line; NaN where there is none.
    session_covariance : ndarray, shape (sessions, sessions)
        Of ``off``.
    conf_level : float
    """

    off: Floats
    off_sd: Floats
    reading_sd: float | None
    reading_df: int
    slope: float | None
    slope_low: float | None
    slope_high: float | None
    p_value: float | None
    line: Floats
    line_covariance: Floats
    session_covariance: Floats
    conf_level: float


def drift(day: ArrayLike, session: ArrayLike, reading: ArrayLike, value: float, *, conf_level: float = 0.95) -> Drift:
    """Give back how far a gauge reads off its master in each session, and the drift per day with its interval.

    Parameters
    ----------
    day : array_like, shape (readings,)
        When each session was, in days; the first reading of a session counts.
    session : array_like of int, shape (readings,)
        0, 1 ... in the order wanted.
    reading : array_like, shape (readings,)
    value : float
        What the master is certified as.
    conf_level : float

    Returns
    -------
    Drift

    Raises
    ------
    ModelError
        When a figure is missing or there is no reading.

    Notes
    -----
    Least squares through the session means, each with equal weight: what differs between sessions (setting,
    temperature) is part of the scatter about the line. Correcting by session carries s^2 / n of that session; by the
    line the covariance of the fitted line. The uncertainty of the certificate is common to all and cancels in a
    difference.

    Checked against: R's lm on Anscombe's first set, and by simulation, tests/unit/numeric/test_master_drift.py.
    """
    days, groups, given = (np.atleast_1d(np.asarray(part, dtype=float)) for part in (day, session, reading))
    faults = [
        *guards.finite("day", days),
        *guards.finite("reading", given),
        *guards.probability("conf_level", conf_level),
    ]
    if not len(given):
        faults.append(Fault("readings of the master", "none", "one at least"))
    raise_all(ModelError, "The drift of the gauge cannot be told.", faults)
    names = np.unique(groups)
    parts = [given[groups == name] - value for name in names]
    when = np.array([days[groups == name][0] for name in names])
    counts = np.array([len(part) for part in parts])
    off = np.array([part.mean() for part in parts])
    df = int((counts - 1).sum())
    within = float(sum(np.square(part - part.mean()).sum() for part in parts))
    sd = float(np.sqrt(within / df)) if df else None
    off_sd = np.full(len(names), np.nan) if sd is None else sd / np.sqrt(counts)
    fitted = _line(when, off, conf_level)
    return Drift(off, off_sd, sd, df, *fitted, np.diag(np.square(off_sd)), conf_level)


def _line(
    when: Floats, off: Floats, conf_level: float
) -> tuple[float | None, float | None, float | None, float | None, Floats, Floats]:
    """Slope, its interval and p-value, the fitted line and its covariance."""
    centred = when - when.mean()
    spread, df = float(centred @ centred), len(off) - 2
    if df < 1 or spread <= 0.0:
        level = np.full(len(off), off.mean())
        return None, None, None, None, level, np.full((len(off), len(off)), np.nan)
    slope = float(centred @ off) / spread
    line = off.mean() + slope * centred
    variance = float(np.square(off - line).sum()) / df
    covariance = variance * (1.0 / len(off) + np.outer(centred, centred) / spread)
    error = float(np.sqrt(variance / spread))
    reach = float(special.stdtrit(df, 0.5 * (1.0 + conf_level))) * error
    p_value = 2.0 * float(special.stdtr(df, -abs(slope) / error)) if error > 0.0 else float(slope == 0.0)
    return slope, slope - reach, slope + reach, p_value, line, covariance
