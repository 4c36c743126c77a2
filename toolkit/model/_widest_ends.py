"""Many values only known to lie between two ends: an interval that holds wherever they lie, without trying every end.

With exact mean squares an estimate is a weighted sum of the values and a mean square a square of them, so that how far
either can move is bounded by the half-widths of the ends alone. The bound is reached where few values are open.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from scipy import special

from toolkit.model._estimates import Estimate, of_row, with_limits
from toolkit.model._layers import in_layer
from toolkit.model.fit import Fit
from toolkit.numeric import weighted_t


def estimate(fit: Fit, row: np.ndarray, half: np.ndarray) -> Estimate:
    """A contrast with an interval that holds wherever each value lies.

    Parameters
    ----------
    fit : Fit
        Of the values half-way between their ends, with exact mean squares.
    row : ndarray, shape (parameters,)
    half : ndarray, shape (runs,)
        Half of the way between the ends of each value on the analysis scale; 0 where it is known.

    Returns
    -------
    Estimate
        At the middle; std_error None. p_value: the largest that it can be, or more.

    Notes
    -----
    For y = m + d with |d| at most h: g'y moves by at most |g|'h, and y'Py is at most m'Pm + 2 |Pm|'h plus the smaller
    of h'|P|h and h'h, P the projection of a stratum's error (own algebra).

    Checked against: every end of few values, drawn values within the ends, tests/unit/model/test_between_ends.py.
    """
    middle = of_row(fit, row)
    if middle.low is None or middle.value is None or middle.high is None:
        return middle
    moved, ends = 0.0, []
    for part in fit.strata.parts(row):
        layer = fit.layer(part.stratum)
        seen = fit.strata.scaled(part.stratum, np.eye(len(half)))
        solve = np.linalg.pinv(layer.full, rcond=1e-10)
        # The mean belongs to the coarsest stratum.
        own = in_layer(layer, fit.strata, row, mean=layer.stratum == fit.strata.units[0])
        moved += float(np.abs(own @ solve @ seen) @ half)
        left = seen - layer.full @ (solve @ seen)
        error = left.T @ left
        square, df = fit.mean_squares[part.stratum]
        slope = 2.0 * float(np.abs(error @ fit.y) @ half)
        more = min(float(half @ np.abs(error) @ half), float(half @ half))
        found = float(square or 0.0)
        ends.append((part.unit_variance, max(found - slope / df, 0.0), found + (slope + more) / df, df))
    largest = sum(share * high for share, _, high, _ in ends)
    df = _fewest(ends, alpha=1.0 - fit.brief.conf_level)
    size = max(abs(middle.value) - moved, 0.0)
    outer = with_limits(replace(middle, std_error=largest**0.5, df=df), fit.brief.conf_level)
    if outer.low is None or outer.high is None:
        return replace(outer, std_error=None)
    p_value = float(special.fdtrc(1.0, df, size**2 / largest))
    return replace(outer, low=outer.low - moved, high=outer.high + moved, p_value=p_value, std_error=None)


def _fewest(ends: list[tuple[float, float, float, int]], *, alpha: float) -> float:
    """The fewest df that the mean squares can leave: of one stratum its own, else where each is small or large.

    Both ways to find them are lowest in a corner: Satterthwaite's are the square of a sum over a norm, and the critical
    value of Cochran and Cox is an average by shares.
    """
    if len(ends) == 1:
        return float(ends[0][3])
    shares, dfs = [end[0] for end in ends], [float(end[3]) for end in ends]
    corners = [squares for squares in product(*(end[1:3] for end in ends)) if any(squares)]
    return float(weighted_t.judged_df(shares, corners, dfs, alpha=alpha).min())
