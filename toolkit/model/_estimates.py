"""One row for one contrast: its estimate, its standard error from the strata, its interval and its words."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from toolkit.design import units
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import _few_df as few_df
from toolkit.model import _ways_out as ways_out
from toolkit.model import mixed
from toolkit.model._layers import in_layer
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts, intervals, weighted_t

SCHEMA = (
    "response",
    "comparison",
    "term",
    "contrast",
    "estimate",
    "measured_in",
    "std_error",
    "df",
    "conf_low",
    "conf_high",
    "conf_level",
    "p_value",
    "error_stratum",
    "planned",
    "note",
    "change_pct",
    "change_low_pct",
    "change_high_pct",
)
# Below this many df the interval by Kenward and Roger says so.
FEWEST_DF = 3.0


@dataclass(frozen=True, eq=False)
class Estimate:
    """A contrast on the analysis scale.

    Attributes
    ----------
    value : float or None
        None when it is not estimable.
    std_error : float or None
        None when there is no error estimate.
    df : float or None
        Of the error; not whole where two strata are mixed.
    low, high : float or None
    p_value : float or None
        Two-sided, against no change.
    strata : str
        The strata it is judged in.
    note : str
    level : float or None
        Of the interval; None: the brief's.
    """

    value: float | None
    std_error: float | None = None
    df: float | None = None
    low: float | None = None
    high: float | None = None
    p_value: float | None = None
    strata: str = ""
    note: str = ""
    level: float | None = None

    def noted(self, text: str) -> Estimate:
        """The same with one more note."""
        return self if not text else replace(self, note=f"{self.note}; {text}" if self.note else text)


def of_row(fit: Fit, row: np.ndarray) -> Estimate:
    """The estimate of a contrast with its interval at the brief's level.

    Parameters
    ----------
    fit : Fit
    row : ndarray, shape (parameters,)

    Returns
    -------
    Estimate
        Without an interval where builds that are neither units nor blocks go along with the contrast.

    Notes
    -----
    Variance = sum of unit variance times mean square over the strata of the contrast. One stratum: t with its
    df, exact. Two: the df of F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114; where one of them has fewer
    than 3 df the critical value of Cochran and Cox (``numeric.weighted_t``). Where the strata are not balanced: Kenward
    and Roger (``model.mixed``).

    Checked against: k02-warpbreaks, k02-bhh-pilot-2x2x2, k03-paired-shoe-wear, false alarms by simulation in
    both strata and the mixed contrast, tests/reference/test_anova_cases.py and
    tests/unit/model/test_false_alarms.py.
    """
    made = _judged(fit, row)
    why = "" if made.value is None else aligned_builds.why_withheld(fit.strata, row)
    return Estimate(made.value, strata=made.strata, note=why) if why else made


def _judged(fit: Fit, row: np.ndarray) -> Estimate:
    """The estimate of a contrast by the error of its strata."""
    if not fit.strata.estimable(row):
        return Estimate(None, note=ways_out.why_not(fit.strata, row))
    if fit.mixed is not None:
        return _by_likelihood(fit, row)
    if fit.within:
        return _within(fit, row)
    parts = fit.strata.parts(row)
    if not parts:
        return Estimate(None, note=f"not told: {fit.strata.unbalanced}")
    # Noughts of the row must not meet the large constant of a raw response: only what counts is summed.
    used = np.abs(row) > 1e-12
    value = float(row[used] @ fit.beta[used])
    strata = " and ".join(part.stratum for part in parts)
    squares = [fit.mean_squares[part.stratum] for part in parts]
    unjudged = [part.stratum for part, (square, _) in zip(parts, squares, strict=True) if square is None]
    if unjudged:
        return Estimate(value, strata=strata, note=ways_out.no_error(fit.brief, fit.strata, unjudged[0]))
    if any(square == 0.0 for square, _ in squares):
        return Estimate(
            value, strata=strata, note="the repeats agree to the last digit: no interval can be stated"
        )
    variance = sum(
        part.unit_variance * float(square or 0.0) for part, (square, _) in zip(parts, squares, strict=True)
    )
    std_error, df, note = math.sqrt(variance), float(squares[0][1]), ""
    if len(parts) > 1:
        df = float(
            weighted_t.judged_df(
                [part.unit_variance for part in parts],
                [float(square or 0.0) for square, _ in squares],
                [float(one) for _, one in squares],
                alpha=1.0 - fit.brief.conf_level,
            )
        )
        few = few_df.named({part.stratum: part.error_df for part in parts})
        note = f"mixes the {strata} strata"
        note += (
            f", {few}: critical value weighted by both (Cochran and Cox), as of t on {df:.1f} df"
            if few
            else f": df by Satterthwaite's approximation ({df:.1f})"
        )
    return with_limits(Estimate(value, std_error, df, strata=strata, note=note), fit.brief.conf_level)


def _within(fit: Fit, row: np.ndarray) -> Estimate:
    """The estimate where only differences within units can be judged."""
    used = np.abs(row) > 1e-12
    value = float(row[used] @ fit.beta[used])
    strata = [name for name, own in fit.strata.columns_of().items() if np.any(used[own])]
    square, df = fit.mean_squares[fit.strata.finest]
    if strata != [fit.strata.finest]:
        return Estimate(value, strata=" and ".join(strata), note=ways_out.no_error(fit.brief, fit.strata, strata[0]))
    variance = _within_shares(fit, row[None, :])[0, 0]
    if not np.isfinite(variance):
        return Estimate(None, note=f"not estimable within {units.PLURALS[fit.strata.units[-2]]}")
    if not square:
        note = "the repeats agree to the last digit: no interval can be stated"
        return Estimate(value, strata=fit.strata.finest, note=note)
    made = Estimate(value, math.sqrt(variance * square), float(df), strata=fit.strata.finest)
    return with_limits(made, fit.brief.conf_level)


def _within_shares(fit: Fit, rows: np.ndarray) -> np.ndarray:
    """Covariances over the mean square of the runs, within units; infinite where one is not estimable there."""
    layer = fit.layer(fit.strata.finest)
    padded = in_layer(layer, fit.strata, rows)
    if not contrasts.estimable(padded, layer.full).all():
        return np.full((len(rows), len(rows)), np.inf)
    return padded @ np.linalg.pinv(layer.full.T @ layer.full, rcond=1e-10, hermitian=True) @ padded.T


def _by_likelihood(fit: Fit, row: np.ndarray) -> Estimate:
    """The estimate where the strata are not balanced."""
    found = mixed.estimate(fit.mixed, row) if fit.mixed is not None else None
    if found is None:
        return Estimate(None, note=ways_out.why_not(fit.strata, row))
    used = np.abs(row) > 1e-12
    strata = " and ".join(name for name, own in fit.strata.columns_of().items() if np.any(used[own]))
    value = float(row[used] @ fit.beta[used])
    note = f"df by Kenward and Roger ({found.df:.1f})"
    if found.df < FEWEST_DF:
        note += ": fewer than 3, so that the interval is wide and its level is held less well"
    elif " and " in strata:
        note += few_df.warning({name: fit.strata.stratum(name).error_df for name in strata.split(" and ")})
    return with_limits(Estimate(value, found.std_error, found.df, strata=strata, note=note), fit.brief.conf_level)


def with_limits(estimate: Estimate, conf_level: float) -> Estimate:
    """The estimate with its t interval at a level, and its two-sided p value.

    Parameters
    ----------
    estimate : Estimate
        With value, std_error and df.
    conf_level : float

    Returns
    -------
    Estimate
        Without an interval where the df is below 1.
    """
    if estimate.std_error is None or estimate.value is None or estimate.df is None:
        return estimate
    if estimate.df < 1.0:
        return estimate.noted("fewer than 1 df of error: no interval can be stated")
    low, high = intervals.t_interval(estimate.value, estimate.std_error, estimate.df, conf_level=conf_level)
    size = abs(estimate.value) / estimate.std_error
    # Upper tail of F on (1, df): accurate where a t probability near 1 would be rounded.
    p_value = float(special.fdtrc(1.0, estimate.df, size**2))
    return replace(estimate, low=float(low), high=float(high), p_value=p_value, level=conf_level)


def covariance(fit: Fit, rows: np.ndarray) -> np.ndarray:
    """The covariances of several contrasts, each judged by the strata it belongs to.

    Parameters
    ----------
    fit : Fit
    rows : ndarray, shape (contrasts, parameters)
        Contrasts that are estimable and have an error.

    Returns
    -------
    ndarray, shape (contrasts, contrasts)
    """
    if fit.mixed is not None:
        return mixed.covariance(fit.mixed, rows)
    if fit.within:
        return _within_shares(fit, rows) * float(fit.mean_squares[fit.strata.finest][0] or 0.0)
    # Polarisation: the strata give the variance of any contrast, hence that of sums and differences.
    count = len(rows)
    made = np.empty((count, count))
    for one in range(count):
        for other in range(one, count):
            total, apart = _variance(fit, rows[one] + rows[other]), _variance(fit, rows[one] - rows[other])
            made[one, other] = made[other, one] = 0.25 * (total - apart)
    return made


def schema_row(
    fit: Fit,
    estimate: Estimate,
    contrast: str,
    *,
    comparison: str | None = None,
    term: str | None = None,
    planned: bool = False,
    of_mean: bool = False,
) -> dict[str, object]:
    """One row of a table of estimates, on the scale people read.

    Parameters
    ----------
    fit : Fit
    estimate : Estimate
    contrast : str
        In words.
    comparison, term : str or None
        Exactly one of them.
    planned : bool
        True for the comparisons of the brief.
    of_mean : bool
        True for a mean of combinations: on the log scale a median in the unit of the response, not a ratio.

    Returns
    -------
    dict
        One value for each column of the schema; None where there is none.
    """
    log = fit.response.scale == "log"
    shown = [
        None if value is None else (_ratio(value) if log else value)
        for value in (estimate.value, estimate.low, estimate.high)
    ]
    percent = [
        100.0 * (_ratio(value) - 1.0) if log and not of_mean and value is not None else None
        for value in (estimate.value, estimate.low, estimate.high)
    ]
    unit = fit.response.measured_in if of_mean or not log else "ratio"
    values = (
        fit.response.name,
        comparison,
        term,
        contrast,
        shown[0],
        unit,
        estimate.std_error,
        estimate.df,
        shown[1],
        shown[2],
        estimate.level or fit.brief.conf_level,
        None if of_mean else estimate.p_value,
        estimate.strata or None,
        planned,
        estimate.note,
        *percent,
    )
    return dict(zip(SCHEMA, values, strict=True))


def table_of(rows: list[dict[str, object]], more: tuple[str, ...] = ()) -> pd.DataFrame:
    """Rows as a table whose empty places stay None (columns of objects).

    Parameters
    ----------
    rows : list of dict
    more : tuple of str
        Columns after those of the schema.

    Returns
    -------
    DataFrame
    """
    return pd.DataFrame(rows, columns=[*SCHEMA, *more], dtype=object)


def _ratio(value: float) -> float:
    """The ratio of a difference of ln; infinite where floating point ends."""
    return math.exp(value) if value < 709.0 else math.inf


def _variance(fit: Fit, row: np.ndarray) -> float:
    """The variance of a contrast over its strata; 0 for a contrast of nothing."""
    if np.all(np.abs(row) < 1e-12):
        return 0.0
    return sum(part.unit_variance * float(fit.mean_squares[part.stratum][0] or 0.0) for part in fit.strata.parts(row))
