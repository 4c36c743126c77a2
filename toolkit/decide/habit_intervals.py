"""Intervals of old estimates, each by a scatter it can be given from: of these runs, of elsewhere, a guess (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from scipy import special

from toolkit.brief.model import worthwhile
from toolkit.decide.habit_runs import Difference
from toolkit.model.fit import Fit
from toolkit.numeric import intervals
from toolkit.size.scatter import Scatter

COLUMNS = (
    "response",
    "kind",
    "what",
    "assuming",
    "basis",
    "sd",
    "df",
    "estimate",
    "measured_in",
    "conf_low",
    "conf_high",
    "conf_level",
    "wrong_way",
    "note",
)
OWN, HISTORY, LOWEST, HIGHEST = "these runs", "rig history", "declared, lowest", "declared, highest"
COMPARISON, DIFFERENCE = "comparison", "single difference"
_NOTES = {
    HISTORY: "scatter of earlier campaigns of the rig, not of these runs",
    LOWEST: "a declared guess at the scatter, its lower end; not of these runs",
    HIGHEST: "a declared guess at the scatter, its upper end; not of these runs",
}


@dataclass(frozen=True)
class _Basis:
    """A scatter on the analysis scale: whose, its SD, its df (inf: taken as known)."""

    name: str
    sd: float
    df: float
    note: str = ""


def table(
    whole: Fit,
    compared: pd.DataFrame,
    differences: Sequence[Difference],
    readings: Mapping[str, Fit],
    scatter: Scatter | None,
) -> pd.DataFrame:
    """Every estimate with an interval from each scatter that is there; no rows where builds are units.

    Parameters
    ----------
    whole : Fit
        The whole model.
    compared : DataFrame
        As ``habit.Habit.comparisons``.
    differences : sequence of Difference
    readings : mapping of str to Fit
        Assumption to the fit under it.
    scatter : Scatter or None
        Of elsewhere.

    Returns
    -------
    DataFrame
        As ``habit.Habit.intervals``.

    Notes
    -----
    Estimate plus and minus t (of the scatter's df; normal for a guess) times SD times the root of the unit variance.
    wrong_way, from a scatter of elsewhere: Phi(-m / (SD times that root)) with m the worthwhile change, the chance
    that two such estimates are ranked wrongly (textbook; the SD taken as known).

    Checked against: ranking from one run each at a CV of 20 % (35, 21, 10 % for gains of 10, 20, 30 %), hand
    calculations; tests/unit/decide/test_habit.py.
    """
    # With interactions assumed nil the same runs in the same weights need no second interval from elsewhere.
    free = {
        (line["comparison"], round(line["std_error_factor"], 9))
        for line in compared.to_dict("records")
        if line["assuming"] == "nothing" and line["std_error_factor"] is not None
    }
    rows = []
    if not whole.strata.plots:
        rows = [
            _row(whole, kind, what, assuming, value, factor, basis, margin)
            for kind, what, assuming, value, factor, margin in _estimates(whole, compared, differences)
            for basis in _bases(readings[assuming], assuming, scatter, again=(what, round(factor, 9)) in free)
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _estimates(
    whole: Fit, compared: pd.DataFrame, differences: Sequence[Difference]
) -> Iterator[tuple[str, str, str, float, float, float | None]]:
    """Every estimate on the analysis scale: kind, what, assuming, value, root of its unit variance, worthwhile."""
    log = whole.response.scale == "log"
    by_name = {item.name: item for item in whole.brief.comparisons}
    for line in compared.to_dict("records"):
        if line["estimable"] and line["std_error_factor"] is not None:
            value = math.log(line["estimate"]) if log else line["estimate"]
            margin = worthwhile(whole.brief, by_name[line["comparison"]], whole.response)
            yield COMPARISON, line["comparison"], line["assuming"], value, line["std_error_factor"], margin
    margin = worthwhile(whole.brief, None, whole.response)
    for item in differences:
        yield DIFFERENCE, item.what, "nothing", item.value, math.sqrt(item.unit_variance), margin


def _bases(fit: Fit, assuming: str, scatter: Scatter | None, *, again: bool) -> list[_Basis]:
    """The scatters to give an interval from."""
    return [*_own(fit, assuming), *(_elsewhere(scatter) if assuming == "nothing" or not again else [])]


def _own(fit: Fit, assuming: str) -> list[_Basis]:
    """The scatter that the runs themselves show under an assumption; none without an error."""
    square, df = fit.mean_squares.get("run", (None, 0))
    if not square or df < 1:
        return []
    low, high = (float(one) for one in intervals.sd_interval(1.0, float(df), conf_level=fit.brief.conf_level))
    notes = [] if assuming == "nothing" else ["what the interactions do is counted as scatter"]
    notes.append(f"on {df} df the true SD may be {low:.2g} to {high:.2g} times this one")
    return [_Basis(OWN, math.sqrt(square), float(df), "; ".join(notes))]


def _elsewhere(scatter: Scatter | None) -> list[_Basis]:
    """The scatter of elsewhere."""
    if scatter is None:
        return []
    if scatter.declared is not None:
        ends = zip((LOWEST, HIGHEST), scatter.declared, strict=True)
        return [_Basis(name, sd, math.inf, _NOTES[name]) for name, sd in ends]
    return [_Basis(HISTORY, scatter.sd, scatter.run.df, _NOTES[HISTORY])]


def _row(
    whole: Fit,
    kind: str,
    what: str,
    assuming: str,
    value: float,
    factor: float,
    basis: _Basis,
    margin: float | None,
) -> dict[str, Any]:
    """One interval."""
    error = basis.sd * factor
    low, high = intervals.t_interval(value, error, basis.df, conf_level=whole.brief.conf_level)
    log = whole.response.scale == "log"
    shown = [math.exp(one) if log else float(one) for one in (value, float(low), float(high))]
    made = (
        whole.response.name,
        kind,
        what,
        assuming,
        basis.name,
        basis.sd,
        basis.df if math.isfinite(basis.df) else None,
        shown[0],
        "ratio" if log else whole.response.measured_in,
        shown[1],
        shown[2],
        whole.brief.conf_level,
        # From a few df of their own the SD is not known well enough to tell a chance by.
        None if margin is None or basis.name == OWN else float(special.ndtr(-margin / error)),
        basis.note,
    )
    return dict(zip(COLUMNS, made, strict=True))
