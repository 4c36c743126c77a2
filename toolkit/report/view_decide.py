"""What the notebook for the decision shows: what is settled, what is open, what could be done about it (rank 10)."""

from __future__ import annotations

from toolkit.campaign import in_force, ways_on
from toolkit.campaign.folder import Campaign
from toolkit.decide.analysis import Analysis
from toolkit.decide.next_runs import SETTLED
from toolkit.design.orders import PHASES
from toolkit.errors import WearbookError
from toolkit.intake import columns
from toolkit.plot import answers
from toolkit.report import beside_tables, tables
from toolkit.report.view import Shown
from toolkit.size import options as size_options
from toolkit.wording import counted, joined


def answered(analysis: Analysis) -> Shown:
    """What is settled of the primary response and what is open, then its comparisons in numbers."""
    found = next(iter(analysis.responses.values()))
    if found.fit is None:
        return Shown([f"{found.response} was not analysed: {found.stopped}"])
    response = analysis.brief.response(found.response)
    rows = answers.of(found.comparisons, found.verdicts, analysis.brief)
    if not rows:
        return Shown(["No comparison was asked for in campaign.toml, so there is nothing to decide by."])
    if found.interim:
        told = [f"Interim, no claim: {found.interim}. Nothing is decided before the runs are in."]
    else:
        settled = [row.name for row in rows if row.verdict in SETTLED]
        waiting = [row.name for row in rows if row.verdict not in SETTLED]
        told = [f"Settled: {joined(settled) if settled else 'nothing yet'}."]
        told += [f"Open, at least as to the size: {joined(waiting)}."] if waiting else ["Nothing is open."]
    return Shown([*told, tables.told(tables.comparisons(rows, found.comparisons, response), found.interim)])


def further(analysis: Analysis) -> Shown:
    """Which further runs would tell most of what is open, with hours and cost; or why that cannot be told yet."""
    found = next(iter(analysis.responses.values()))
    if found.fit is None:
        return Shown([f"{found.response} was not analysed: {found.stopped}"])
    if found.beside is None and not found.interim:
        told = "which further runs would tell most is not reckoned where values are only known to lie below a limit or "
        told += "between two ends"
        return Shown([f"{found.response}: {told}."])
    if found.beside is None:
        return Shown([f"The planned runs come first: {found.interim}."])
    told = found.beside.next_runs
    # The table has the sentence below it.
    return Shown([beside_tables.next_runs(found.beside) if len(told.table) else told.sentence])


def lost_runs(campaign: Campaign) -> Shown:
    """The ways on for runs that were lost, with what each would still show; or that none was."""
    # Said in words of its own: a refusal would read as if something had gone wrong.
    if not campaign.records().runs["verdict"].isin(columns.VOID).any():
        return Shown(["No run is lost, so that there is nothing to amend."])
    sealed = any(campaign.sealed(phase) for phase in PHASES)
    if sealed and in_force.with_lost(campaign) is None:
        return Shown(["Every lost run is dealt with, so that there is nothing to amend."])
    try:
        found = ways_on.options(campaign)
    except WearbookError as problem:
        return Shown([str(problem)])
    brief = campaign.brief
    primary = next(item.name for item in brief.responses if item.role == "primary")
    asked = [item.name for item in brief.comparisons]
    rows = []
    for way in found.options:
        if way.refused:
            continue
        chances = {claim.comparison: claim.assurance for claim in way.claims if claim.response == primary}
        told = [
            "–" if chances.get(name) is None else f"{size_options.chance(chances[name], brief.power)} %"
            for name in asked
        ]
        rows.append((way.option, counted(len(way.added), "run"), f"{way.price.hours:,.0f}", f"{way.price.cost:,.0f}",
                     *told))  # fmt: skip
    head = ("way on", "made again", "hours", f"cost ({brief.cost.currency or 'money'})", *asked)
    refused = [f"{way.option}: cannot be taken: {way.refused}" for way in found.options if way.refused]
    table = tables.plain("Chance that each comparison would be shown", head, rows, head[2:])
    return Shown([*([table] if rows else []), *refused, *found.notes])
