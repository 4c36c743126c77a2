"""What the notebooks show of recordings, and what the sealed rules say of each run without its wear (rank 10)."""

from __future__ import annotations

from toolkit.decide.analysis import Analysis
from toolkit.report import recorded_tables
from toolkit.report.show import show
from toolkit.report.view import Shown

NOTHING = "The campaign has no recordings in raw/dyno."


def recorded(analysis: Analysis) -> Shown:
    """Verdicts by the sealed rules, then recordings run by run, channels, and stretches outside."""
    found = analysis.recorded
    made: list[object] = [table for table in (recorded_tables.proposals(found),) if table is not None]
    if found.empty:
        return Shown([*made, NOTHING])
    made += [recorded_tables.runs(found), recorded_tables.channels(found), recorded_tables.outside(found)]
    return Shown([item for item in made if item is not None])


def figures(analysis: Analysis) -> None:
    """Show held channels against their windows, and sweeps overlaid."""
    for drawn, alt, _ in recorded_tables.figures(analysis):
        show(drawn, alt)
