"""The report of a campaign as one HTML file: no code, no script, no request to anywhere (rank 10).

The page is put together here from tables, words and figures; how it looks stands in templates/report.
Everything a person wrote is escaped where it enters the page. Same inputs, same bytes: the only times on it are
those of the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from toolkit import cautions, measured_in, shipped
from toolkit.brief import by_position
from toolkit.decide import pending
from toolkit.decide.analysis import Analysis
from toolkit.intake.columns import VOID
from toolkit.report import (
    as_run_tables,
    history,
    method_words,
    old_data,
    pictures,
    recorded_tables,
    tables,
    together_tables,
    words,
)
from toolkit.report.sections import Figure, ReportInput
from toolkit.report.tables import Table
from toolkit.wording import joined

__all__ = ["ReportInput", "build", "stamp_table"]

TEMPLATE = "report/report.html.j2"


def build(parts: ReportInput, *, begun: pictures.Pictures | None = None) -> str:
    """The report as the text of one HTML file.

    Parameters
    ----------
    parts : ReportInput
    begun : Pictures, optional
        Of the same analysis, where a copy of the process has begun to draw them already.

    Returns
    -------
    str
        A whole page: answers first, then what they rest on, then how they were made.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    found = parts.analysis
    brief, runs = found.brief, found.records.runs
    recorded = by_position.as_recorded(brief)
    made = Environment(
        loader=FileSystemLoader(shipped.folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    drawn = (begun or pictures.Pictures(found, parts.sizing)).drawn()
    first = next((item for item in found.responses.values() if item.fit is not None), None)
    beside = found.as_run
    methods = [item.method for item in drawn["sections"] if not item.stopped]
    shared = method_words.shared(methods)
    late = [run_id for run_id, cells in pending.after_look(found.records).items() if "verdict" in cells]
    page: dict[str, Any] = {
        "brief": brief,
        "title": f"{brief.id}: report",
        "headline": found.counted,
        "planned": words.planned(parts.sizing, brief),
        "what_next": _what_next(found),
        "banner": _banner(found),
        "waits": pending.waits(found.pending),
        "notes": found.notes,
        "sections": drawn["sections"],
        "before_deciding": list(found.before_deciding["sentence"]),
        "every_answer": together_tables.every_answer(found),
        "agreement": together_tables.agreement(found),
        "together": drawn["together"],
        "old_data": old_data.of(found),
        "not_used": tables.not_used(runs, recorded, late) if runs["verdict"].isin(VOID).any() else None,
        "pending": tables.pending(found.pending, recorded) if len(found.pending) else None,
        "findings": tables.findings(found.records.findings) if len(found.records.findings) else None,
        **drawn["measured"],
        "recorded": _recorded(found, drawn["recorded"]),
        "proposals": recorded_tables.proposals(found.recorded),
        "as_run": beside,
        "runs_as_run": as_run_tables.runs(beside, recorded),
        "strata": as_run_tables.strata(beside, brief.responses[0].name) if as_run_tables.same_strata(beside) else None,
        "aliases": as_run_tables.aliases(beside, brief.responses[0].name)
        if as_run_tables.same_aliases(beside, [item.name for item in brief.responses])
        else None,
        "history": [
            table
            for table in (
                history.looks(parts.log),
                history.notes(parts.log),
                history.amendments(parts.log),
                history.replaced(parts.log),
            )
            if table is not None
        ],
        "designs": [pictures.of_design(look) for look in parts.looks],
        "sizing": words.sizing(parts.sizing, brief),
        "dates": parts.dates,
        "scope": words.scope(brief, first.fit.strata if first is not None and first.fit is not None else None),
        "drawn_and_void": [*method_words.drawn(parts.plans), method_words.void(runs, brief, parts.plans)],
        "method_of_all": shared,
        "families": words.families(brief),
        "cautions": cautions.lines(),
        "stamp": stamp_table(parts.stamp),
    }
    return made.get_template(TEMPLATE).render(page)


def _recorded(found: Analysis, figures: list[Figure]) -> dict[str, Any] | None:
    """What recordings of the dynamometer say: tables, figures; None where there are none."""
    if found.recorded.empty:
        return None
    every = [of(found.recorded) for of in (recorded_tables.runs, recorded_tables.channels, recorded_tables.outside)]
    return {"tables": [table for table in every if table is not None], "figures": figures}


def stamp_table(stamp: Mapping[str, Any]) -> Table:
    """What makes the report repeatable, a line each."""
    rows: list[tuple[str, str]] = [
        ("campaign", str(stamp.get("campaign", ""))),
        ("seed", str(stamp.get("seed", ""))),
    ]
    rows.append(("time of the last record", str(stamp.get("records_at", ""))))
    rows.append(("records head", str(stamp.get("records_head", ""))))
    rows.append(("campaign.toml, sha256", str(stamp.get("brief_sha256", ""))))
    rows += [(f"seal of the {phase} plan", str(seal)) for phase, seal in sorted(dict(stamp.get("seals", {})).items())]
    rows += [(f"{name}, sha256", str(sha)) for name, sha in sorted(dict(stamp.get("raw_sha256", {})).items())]
    rows.append(
        (
            "versions",
            ", ".join(f"{name} {number}" for name, number in dict(stamp.get("versions", {})).items()),
        )
    )
    return tables.plain("What this report was made from", ("what", "value"), rows)


def _what_next(found: Analysis) -> str:
    """The further runs that would tell most about the response the decision rests on; empty where none are told."""
    primary = next(item.name for item in found.brief.responses if item.role == "primary")
    beside = found.responses[primary].beside
    if found.interim or beside is None or not found.brief.comparisons:
        return ""
    return beside.next_runs.sentence.removeprefix(f"{primary}: ")


def _banner(found: Analysis) -> str:
    """The interim line; empty when no run is pending."""
    if not found.interim:
        return ""
    late = [measured_in.label(name) for name, item in found.responses.items() if item.interim]
    of = "" if len(late) == len(found.responses) else f" of {joined(late)}"
    rest = " The other answers rest on all their runs." if of else ""
    return (
        f"INTERIM, {found.progress}. What stands below{of} are estimates and no claims: no looks were planned, so "
        f"nothing is judged before all runs are in.{rest} Every look is written into the log."
    )
