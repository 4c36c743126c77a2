"""What stands beside the verdicts of a response: chances, fragility, exact p, positions, what next (rank 7)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.decide.fragility import fragility
from toolkit.decide.next_runs import NextRuns, next_runs
from toolkit.decide.races import Races, races
from toolkit.decide.weighed import Weighed, weighed
from toolkit.errors import ModelError
from toolkit.intake.records import Records
from toolkit.model.fit import Fit
from toolkit.model.positions import Positions, positions
from toolkit.model.randomisation import exact_p
from toolkit.model.station_groups import StationGroups, station_groups

TOUCHY_SD = 1.0


@dataclass(frozen=True, eq=False)
class Beside:
    """Checks and advice for one response; none of it changes a verdict.

    Attributes
    ----------
    fragility : DataFrame
        See ``decide.fragility``.
    exact : DataFrame
        See ``model.randomisation.exact_p``.
    positions : Positions or None
        None where the response has no stations or they cannot be compared; ``no_positions`` says why.
    no_positions : str
    next_runs : NextRuns
    weighed : Weighed
        Chances, equivalence and runs to settle each comparison.
    groups : StationGroups or None
        None where the brief names no groups of stations, or they cannot be compared; ``no_groups`` says why.
    no_groups : str
    races : Races or None
        Which levels may still be the best, where the brief asks for it.
    """

    response: str
    fragility: pd.DataFrame
    exact: pd.DataFrame
    positions: Positions | None
    no_positions: str
    next_runs: NextRuns
    weighed: Weighed
    groups: StationGroups | None = None
    no_groups: str = ""
    races: Races | None = None

    @property
    def sentences(self) -> tuple[str, ...]:
        """Who may still be the best, how far one run carries each verdict, and the exact p, a line each."""
        ranked = () if self.races is None else self.races.sentences
        return (*ranked, *_touchiest(self.fragility), *(str(text) for text in self.exact["sentence"]))

    def to_json(self) -> dict[str, Any]:
        """fragility[], exact[], positions, station_groups, next_runs, races[], chances[], equivalence[], settling[]."""
        return stamp.plain(
            {
                "fragility": stamp.records(self.fragility),
                "exact": stamp.records(self.exact),
                "positions": self.positions.to_json() if self.positions else None,
                "no_positions": self.no_positions or None,
                "station_groups": self.groups.to_json() if self.groups else None,
                "no_station_groups": self.no_groups or None,
                "next_runs": self.next_runs.to_json(),
                "races": [] if self.races is None else self.races.to_json(),
                **self.weighed.to_json(),
            }
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def beside(fit: Fit, records: Records, verdicts: pd.DataFrame, planned: pd.DataFrame | None = None) -> Beside:
    """Checks and advice for a response that was analysed.

    Parameters
    ----------
    fit : Fit
    records : Records
    verdicts : DataFrame
        Of the same fit, as ``verdict.verdicts`` gives them.
    planned : DataFrame, optional
        The sealed runs of the phases that count: for the exact test where the brief limits the orders.

    Returns
    -------
    Beside
    """
    where, why = None, ""
    groups, no_groups = None, ""
    if fit.response.stations is not None:
        stations = records.stations
        if stations is None:
            why = "no stations are on record"
        else:
            try:
                where = positions(fit, stations)
            except ModelError as problem:
                why = str(problem)
            try:
                groups = station_groups(fit, stations)
            except ModelError as problem:
                no_groups = str(problem)
    further = next_runs(fit, verdicts)
    return Beside(
        fit.response.name,
        fragility(fit),
        exact_p(fit, planned),
        where,
        why,
        further,
        weighed(fit),
        groups,
        no_groups,
        races(fit) if fit.brief.best_of else None,
    )


def _touchiest(table: pd.DataFrame) -> list[str]:
    """One sentence a comparison: the run whose value would have to move least to change the verdict."""
    told = []
    for name, part in table.groupby("comparison", sort=False):
        row = part.iloc[0]
        if row["shift"] is None or row["shift_in_sd"] is None:
            told.append(f"{name}: {row['note'] or 'no single run carries it'}")
            continue
        size = abs(float(row["shift_in_sd"]))
        carried = " It hangs on one run." if size < TOUCHY_SD and row["verdict"] != "not known yet" else ""
        change = f"at {row['value_needed']:.3g} instead of {row['value']:.3g} ({size:.1f} error SDs away)"
        then = f"would make it '{row['verdict_then']}'"
        told.append(f"{name} ({row['verdict']}): run {row['run_id']} {change} {then}.{carried}")
    return told
