"""What the report says of each response: answers, figures, tables, checks (rank 10)."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.campaign.looking import Look
from toolkit.decide.analysis import Analysis, Answered
from toolkit.plot import answers, effects, half_normal, means, records, residuals, sides
from toolkit.plot.answers import Answer
from toolkit.report import (
    as_run_tables,
    beside_tables,
    detail_tables,
    method_words,
    model_table,
    otherwise_tables,
    show,
    surface_table,
    tables,
    unrepeated_tables,
    weighed_tables,
    words,
)
from toolkit.report.tables import Table

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
    log : sequence of mapping
        The rows of the campaign's log: looks, notes, amendments, files taken in.
    looks : sequence of Look
        What each sealed plan that counts was like before it was run.
    dates : Table or None
        When the main phase was booked for, where campaign.toml says when the test cell works.
    plans : mapping of str to mapping
        Each sealed phase that counts to what its plan.json holds: how its order was drawn, lost runs dealt with.
    """

    analysis: Analysis
    stamp: Mapping[str, Any]
    sizing: Mapping[str, Any] | None = None
    log: Sequence[Mapping[str, str]] = ()
    looks: Sequence[Look] = ()
    dates: Table | None = None
    plans: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


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
    interim: str = ""
    comparisons: Table | None = None
    worst_cases: Table | None = None
    interval_figure: Figure | None = None
    figures: tuple[Figure, ...] = ()
    interactions: tuple[str, ...] = ()
    flagged: tuple[str, ...] = ()
    scatter: str = ""
    promised: Table | None = None
    as_run: tuple[Table, ...] = ()
    with_and_without: str = ""
    sensitivity: Table | None = None
    details: tuple[Table, ...] = ()
    checks: Table | None = None
    beside: tuple[Table, ...] = ()
    residuals: Figure | None = None
    no_residuals: str = ""
    unrepeated: tuple[str, ...] = ()
    unrepeated_table: Table | None = None
    weighed: Table | None = None
    in_detail: tuple[Table, ...] = ()
    model: Table | None = None
    model_words: str = ""
    equation: str = ""
    method: tuple[str, ...] = ()


def section(parts: ReportInput, found: Answered) -> Section:
    """What is said of one response; only why it stopped where it could not be analysed.

    Parameters
    ----------
    parts : ReportInput
    found : Answered
    """
    brief, runs = parts.analysis.brief, parts.analysis.records.runs
    response = brief.response(found.response)
    whole = by_position.whole(brief)
    timeline = figure_of(
        records.timeline(runs, whole, response=response.name),
        records.alt_timeline(runs, whole, response=response.name),
        f"Runs {records.ordered_by(records.in_order(runs)[0])}",
    )
    start = Section(
        measured_in.quantity(response.name),
        response.role,
        found.stopped,
        timeline,
        interim=found.interim,
        as_run=_beside(parts, response.name),
        beside=otherwise_tables.tables(found.otherwise, brief) if found.otherwise else (),
    )
    if found.fit is None:
        return start
    rows = answers.of(found.comparisons, found.verdicts, brief)
    # The first page is for whoever decides: what is exploratory stands there in short.
    more = weighed_tables.lines(found) if response.role == "primary" else {}
    return replace(
        start,
        answers=tuple(
            _answer(row, sentence, more.get(row.name, ""))
            for row, sentence in zip(rows, words.said_once(rows), strict=True)
        ),
        interactions=()
        if found.interim
        else tuple(words.interaction(row, brief) for row in rows if row.interaction and row.estimable),
        figures=tuple(_figures(parts, found)),
        flagged=tuple(
            words.unit_words(row, found.fit.brief)
            for row in found.fit.runs.to_dict("records")
            if row["run_id"] in found.flagged
        ),
        scatter=words.scatter(parts.sizing, found.fit),
        with_and_without=words.with_and_without(found.sensitivity, brief, interim=found.interim)
        if len(found.sensitivity)
        else "",
        unrepeated=found.unrepeated.sentences if found.unrepeated else (),
        unrepeated_table=unrepeated_tables.table(found.unrepeated, response) if found.unrepeated else None,
        weighed=weighed_tables.table(found),
        in_detail=(*surface_table.tables(found), *detail_tables.tables(found, brief)),
        model=model_table.table(found.model) if found.model else None,
        model_words=found.model.words if found.model else "",
        equation=found.model.equation if found.model else "",
        method=tuple(filter(None, (*words.method(found.fit, brief), method_words.squares(found)))),
        **_compared(found, rows, brief),
        **_tables(parts, found, rows),
        **_checked(found, by_position.judged(brief, response)),
        beside=(*(beside_tables.tables(found.beside, response) if found.beside else ()), *start.beside),
    )


def _answer(row: Answer, sentence: str, more: str) -> dict[str, str]:
    """One answer for the list at the top, with its chance and what would settle it in small."""
    kind = next((kind for kind in ("gain", "loss") if kind in row.verdict), "open")
    return {"verdict": row.verdict or "no verdict", "kind": kind, "sentence": sentence, "more": more}


def _compared(found: Answered, rows: list[Answer], brief: Brief) -> dict[str, Any]:
    """The comparisons as a table and as a picture; nothing when the brief asks for none."""
    if not rows or found.fit is None:
        return {}
    given, count = (found.comparisons, found.verdicts, brief), found.fit.strata.run_count
    response = brief.response(found.response)
    return {
        "comparisons": tables.told(tables.comparisons(rows, found.comparisons, response), found.interim),
        "worst_cases": tables.worst_cases(rows, found.worst_cases, response) if len(found.worst_cases) else None,
        "interval_figure": figure_of(
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
    others = None
    if len(found.sensitivity) and found.sensitivity["runs"].nunique() > 1:
        others = tables.sensitivity(found.sensitivity, brief, response, interim=found.interim)
    return {
        "promised": tables.plain("Promised by the plan, and found", head, promised, head[1:]) if promised else None,
        "sensitivity": others and tables.told(others, found.interim),
        "details": _details(found, brief, response),
    }


def _details(found: Answered, brief: Brief, response: Response) -> tuple[Table, ...]:
    """The tables behind the answers, without those that values below a limit leave empty."""
    made = [tables.told(tables.anova(found.anova, response), found.interim)] if len(found.anova) else []
    made.append(tables.means(found.means, brief, response))
    if len(found.effects):
        rows = answers.of(found.effects, None, brief)
        made.append(tables.told(tables.effects(rows, found.effects, response), found.interim))
    return (*made, *([tables.components(found.components, response)] if len(found.components) else []))


def _beside(parts: ReportInput, response: str) -> tuple[Table, ...]:
    """What one response rests on, planned and as run: strata where responses differ, power, what is confounded."""
    beside, brief = parts.analysis.as_run, parts.analysis.brief
    made = [] if as_run_tables.same_strata(beside) else [as_run_tables.strata(beside, response)]
    made += [as_run_tables.power(beside, brief.response(response))] if brief.comparisons else []
    told_once = as_run_tables.same_aliases(beside, [item.name for item in brief.responses])
    confounded = None if told_once else as_run_tables.aliases(beside, response)
    return tuple(made if confounded is None else [*made, confounded])


def _checked(found: Answered, brief: Brief) -> dict[str, Any]:
    """The residual checks as a table and as pictures."""
    if found.checks is None:
        return {}
    table, frame = found.checks.table, found.checks.residuals
    sentences = [str(item) for item in table["sentence"]]
    sentences += [] if found.shape is None else [str(item) for item in found.shape["sentence"]]
    made: dict[str, Any] = {
        "checks": tables.plain(
            "Residual checks at run level",
            ("check", "result", "in words"),
            [*_lines(table), *([] if found.shape is None else _lines(found.shape))],
        ),
    }
    if found.envelope is None or not len(found.envelope):
        return {**made, "no_residuals": words.NO_RESIDUALS}
    asked: dict[str, Any] = {"response": found.response, "envelope": found.envelope, "sentences": sentences}
    return {
        **made,
        "residuals": figure_of(
            residuals.panel(frame, brief, **asked)[0],
            residuals.alt_panel(frame, brief, **asked),
            "Residuals by fitted value, by order and build, and by normal quantile with the band of drawn campaigns; "
            "the runs furthest out are named",
        ),
    }


def _lines(checks: pd.DataFrame) -> list[list[Any]]:
    """Checks as they stand in the report."""
    return checks[["check", "result", "sentence"]].to_numpy().tolist()


def _figures(parts: ReportInput, found: Answered) -> list[Figure]:
    """The combination means, and a picture of each answer while there are not too many."""
    # What is measured once a run is shown without what changes from position to position.
    brief = by_position.judged(parts.analysis.brief, parts.analysis.brief.response(found.response))
    name, used = found.response, found.fit.runs
    made = [
        figure_of(
            means.means(found.means, used, brief, response=name, interim=found.interim),
            means.alt_means(found.means, used, brief, response=name, interim=found.interim),
            "Combinations: every run, and the mean with its interval",
            wide=True,
        )
    ]
    if found.unrepeated is not None and found.unrepeated.effects is not None and found.unrepeated.judged:
        effects_found = found.unrepeated.effects
        made.insert(
            0,
            figure_of(
                half_normal.half_normal(effects_found, brief, response=name)[0],
                half_normal.alt_half_normal(effects_found, brief, response=name),
                "Effects by size: what nothing but scatter would give lies within the band",
                wide=True,
            ),
        )
    if len(brief.comparisons) * len(parts.analysis.responses) > MOST_SINGLE:
        return made
    for item in brief.comparisons:
        if item.interaction and not _any_mean(found, brief):
            continue
        if item.interaction:
            given = (found.comparisons, found.means, found.verdicts, brief)
            drawn = means.interaction(*given, comparison=item.name)
            alt = means.alt_interaction(*given, comparison=item.name)
        else:
            pair = (found.comparisons, found.means, used, found.verdicts, brief)
            drawn = sides.sides(*pair, comparison=item.name)
            alt = sides.alt_sides(*pair, comparison=item.name)
        made.append(figure_of(drawn, alt, item.name, wide=bool(item.interaction)))
    return made


def _any_mean(found: Answered, brief: Brief) -> bool:
    """True when the mean of any combination is known: else a picture of an interaction would be empty."""
    known = found.means[found.means["estimate"].notna()]
    return any(len(levels) == len(brief.factors) for levels in known["levels"])


def figure_of(drawn: Any, alt: str, caption: str, *, wide: bool = False) -> Figure:
    """A figure with its image inside the page."""
    image = base64.b64encode(show.figure_png(drawn)).decode("ascii")
    return Figure(f"data:image/png;base64,{image}", show.checked_alt(alt), caption, wide)
