"""What the notebooks show of how a campaign was run: as run beside as planned, looks and notes (rank 10)."""

from __future__ import annotations

from toolkit.brief import by_position
from toolkit.campaign import log
from toolkit.campaign.folder import Campaign
from toolkit.decide.analysis import Analysis
from toolkit.report import as_run_tables, history
from toolkit.report.view import Shown


def as_run(analysis: Analysis) -> Shown:
    """The runs as made beside the plan, then what that does to errors, and to what can be told apart."""
    found, brief = analysis.as_run, analysis.brief
    parts: list[object] = [found.sentence, as_run_tables.runs(found, by_position.as_recorded(brief))]
    same = as_run_tables.same_strata(found)
    told_once = as_run_tables.same_aliases(found, [item.name for item in brief.responses])
    for response in brief.responses:
        if not same or response == brief.responses[0]:
            parts.append(as_run_tables.strata(found, response.name))
        if brief.comparisons:
            parts.append(as_run_tables.power(found, response))
        last = response == brief.responses[-1]
        confounded = as_run_tables.aliases(found, response.name) if last or not told_once else None
        parts += [] if confounded is None else [confounded]
    return Shown([*parts, *(f"Not worked out, {line}" for line in found.not_covered)])


def told(campaign: Campaign) -> Shown:
    """Every look so far, every note (the old value struck through), amendments, files that replaced others."""
    rows = log.read(campaign.folder)
    made = [history.looks(rows), history.notes(rows), history.amendments(rows), history.replaced(rows)]
    return Shown([table for table in made if table is not None] or ["Nobody has looked yet, and nothing was noted."])
