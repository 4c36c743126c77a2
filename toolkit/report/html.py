"""The report of a campaign as one HTML file: no code, no script, no request to anywhere (rank 10).

The page is put together here from tables, words and figures; how it looks stands in templates/report.
Everything a person wrote is escaped where it enters the page. Same inputs, same bytes: the only time on it is
that of the last record.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from toolkit import cautions, measured_in, shipped
from toolkit.brief.model import Brief
from toolkit.decide.analysis import Analysis, Answered
from toolkit.plot import answers, effects, means, records, residuals, sides
from toolkit.plot.answers import Answer
from toolkit.report import show, tables, words
from toolkit.report.tables import Table

TEMPLATE = "report/report.html.j2"
# Beyond this many pictures of single answers the page would be too large for a mail.
MOST_SINGLE = 24


@dataclass(frozen=True, eq=False)
class ReportInput:
    """All that a report is made from.

    Attributes
    ----------
    analysis : Analysis
        From ``decide.analysis``: brief, records, planned runs and the answers of every response.
    stamp : mapping
        What makes it repeatable, as ``campaign.steps.stamp_of`` gives it: seals, raw_sha256, records_head,
        records_at, seed, versions, brief_sha256.
    sizing : mapping or None
        What was sealed with the main plan: sentence, option (with claims), scatter.
    """

    analysis: Analysis
    stamp: Mapping[str, Any]
    sizing: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Figure:
    """A figure as it stands on the page: its image, its text alternative, and what it is."""

    source: str
    alt: str
    caption: str
    wide: bool = False


@dataclass(frozen=True, eq=False)
class Section:
    """What the page says about one response."""

    label: str
    role: str
    stopped: str
    timeline: Figure
    answers: tuple[dict[str, str], ...] = ()
    comparisons: Table | None = None
    interval_figure: Figure | None = None
    figures: tuple[Figure, ...] = ()
    interactions: tuple[str, ...] = ()
    flagged: tuple[str, ...] = ()
    scatter: str = ""
    promised: Table | None = None
    with_and_without: str = ""
    sensitivity: Table | None = None
    details: tuple[Table, ...] = ()
    checks: Table | None = None
    residuals: Figure | None = None
    equation: str = ""
    method: tuple[str, ...] = ()


def build(parts: ReportInput) -> str:
    """The report as the text of one HTML file.

    Parameters
    ----------
    parts : ReportInput

    Returns
    -------
    str
        A whole page: answers first, then what they rest on, then how they were made.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    found = parts.analysis
    brief, runs = found.brief, found.records.runs
    made = Environment(
        loader=FileSystemLoader(shipped.folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    sections = [_section(parts, item) for item in found.responses.values()]
    first = next((item for item in found.responses.values() if item.fit is not None), None)
    main = runs[runs["phase"] == "main"]
    page: dict[str, Any] = {
        "brief": brief,
        "title": f"{brief.id}: report",
        "headline": found.counted,
        "banner": _banner(found),
        "notes": found.notes,
        "sections": sections,
        "not_used": tables.not_used(runs, brief) if (runs["verdict"] != "valid").any() else None,
        "findings": tables.findings(found.records.findings) if len(found.records.findings) else None,
        "planned": None if found.planned is None else tables.as_planned(found.planned, main, brief),
        "sizing": words.sizing(parts.sizing, brief),
        "scope": words.scope(brief, first.fit.strata if first is not None and first.fit is not None else None),
        "families": words.families(brief),
        "cautions": cautions.lines(),
        "stamp": stamp_table(parts.stamp),
    }
    return made.get_template(TEMPLATE).render(page)


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


def _banner(found: Analysis) -> str:
    """The interim line; empty when no run is pending."""
    if not found.interim:
        return ""
    main = found.records.runs[found.records.runs["phase"] == "main"]
    ids = set(main["run_id"]) | (set() if found.planned is None else set(found.planned["run_id"]))
    done = int((main["verdict"] != "pending").sum())
    return (
        f"INTERIM: {done} of {len(ids)} runs. The answers below can still change; every look is written into the log."
    )


def _section(parts: ReportInput, found: Answered) -> Section:
    """One response; only why it stopped where it could not be analysed."""
    brief, runs = parts.analysis.brief, parts.analysis.records.runs
    response = brief.response(found.response)
    timeline = _figure(
        records.timeline(runs, brief, response=response.name),
        records.alt_timeline(runs, brief, response=response.name),
        "Every run in the order it was run",
    )
    start = Section(measured_in.quantity(response.name), response.role, found.stopped, timeline)
    if found.fit is None:
        return start
    rows = answers.of(found.comparisons, found.verdicts, brief)
    return replace(
        start,
        answers=tuple(_answer(row) for row in rows),
        interactions=tuple(words.interaction(row, brief) for row in rows if row.interaction and row.estimable),
        figures=tuple(_figures(parts, found)),
        flagged=tuple(
            words.unit_words(row, brief) for row in found.fit.runs.to_dict("records") if row["run_id"] in found.flagged
        ),
        scatter=words.scatter(parts.sizing, found.fit),
        with_and_without=words.with_and_without(found.sensitivity, brief) if len(found.sensitivity) else "",
        equation=words.equation(found.fit),
        method=tuple(words.method(found.fit, brief)),
        **_compared(found, rows, brief),
        **_tables(parts, found, rows),
        **_checked(found, brief),
    )


def _answer(row: Answer) -> dict[str, str]:
    """One answer for the list at the top."""
    kind = next((kind for kind in ("gain", "loss") if kind in row.verdict), "open")
    return {"verdict": row.verdict or "no verdict", "kind": kind, "sentence": words.answer(row)}


def _compared(found: Answered, rows: list[Answer], brief: Brief) -> dict[str, Any]:
    """The comparisons as a table and as a picture; nothing when the brief asks for none."""
    if not rows or found.fit is None:
        return {}
    given, count = (found.comparisons, found.verdicts, brief), len(found.fit.runs)
    return {
        "comparisons": tables.comparisons(rows, found.comparisons, brief.response(found.response)),
        "interval_figure": _figure(
            effects.comparisons(*given, runs=count),
            effects.alt_comparisons(*given, runs=count),
            "Each comparison with its interval on the band of changes too small to matter",
        ),
    }


def _tables(parts: ReportInput, found: Answered, rows: list[Answer]) -> dict[str, Any]:
    """What was promised, the answers with other runs, and the tables behind the answers."""
    brief = parts.analysis.brief
    response = brief.response(found.response)
    promised = words.promised(parts.sizing, rows, response)
    head = ("comparison", "true change assumed", "chance to be shown", "smallest change to be shown", "found")
    other_runs = len(found.sensitivity) and found.sensitivity["runs"].nunique() > 1
    return {
        "promised": tables.plain("Promised by the plan, and found", head, promised, head[1:]) if promised else None,
        "sensitivity": tables.sensitivity(found.sensitivity, brief, response) if other_runs else None,
        "details": (
            tables.anova(found.anova, response),
            tables.means(found.means, brief, response),
            tables.effects(answers.of(found.effects, None, brief), found.effects, response),
            tables.components(found.components, response),
        ),
    }


def _checked(found: Answered, brief: Brief) -> dict[str, Any]:
    """The residual checks as a table and as pictures."""
    if found.checks is None:
        return {}
    table, frame = found.checks.table, found.checks.residuals
    sentences = [str(item) for item in table["sentence"]]
    return {
        "checks": tables.plain(
            "Residual checks at run level",
            ("check", "result", "in words"),
            table[["check", "result", "sentence"]].to_numpy().tolist(),
        ),
        "residuals": _figure(
            residuals.panel(frame, brief, response=found.response)[0],
            residuals.alt_panel(frame, brief, response=found.response, sentences=sentences),
            "Residuals by fitted value, by order and by normal quantile; the runs furthest out are named",
        ),
    }


def _figures(parts: ReportInput, found: Answered) -> list[Figure]:
    """The combination means, and a picture of each answer while there are not too many."""
    brief: Brief = parts.analysis.brief
    name, used = found.response, found.fit.runs
    made = [
        _figure(
            means.means(found.means, used, brief, response=name),
            means.alt_means(found.means, used, brief, response=name),
            "Combinations: every run, and the mean with its interval",
            wide=True,
        )
    ]
    if len(brief.comparisons) * len(parts.analysis.responses) > MOST_SINGLE:
        return made
    for item in brief.comparisons:
        if item.interaction:
            given = (found.comparisons, found.means, found.verdicts, brief)
            drawn = means.interaction(*given, comparison=item.name)
            alt = means.alt_interaction(*given, comparison=item.name)
        else:
            pair = (found.comparisons, found.means, used, found.verdicts, brief)
            drawn = sides.sides(*pair, comparison=item.name)
            alt = sides.alt_sides(*pair, comparison=item.name)
        made.append(_figure(drawn, alt, item.name, wide=bool(item.interaction)))
    return made


def _figure(drawn: Any, alt: str, caption: str, *, wide: bool = False) -> Figure:
    """A figure with its image inside the page."""
    image = base64.b64encode(show.figure_png(drawn)).decode("ascii")
    return Figure(f"data:image/png;base64,{image}", show.checked_alt(alt), caption, wide)
