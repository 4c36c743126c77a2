"""Results as plain tables: display names, units and rounding live here and nowhere else (rank 10)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response, gain_sign
from toolkit.decide import stated, verdict
from toolkit.plot import answers, combinations, look, rounding
from toolkit.plot.answers import Answer
from toolkit.report.record_tables import findings, not_used, pending
from toolkit.report.table import LONG, NONE, Table, df, number, p_value, plain, units

__all__ = [
    "LONG",
    "Table",
    "anova",
    "comparisons",
    "components",
    "df",
    "effects",
    "findings",
    "means",
    "not_used",
    "pending",
    "plain",
    "sensitivity",
    "told",
    "units",
    "worst_cases",
]

_SOURCES = {
    "run value": "run values (what judges comparisons)",
    "build": "between builds",
    "position value": "values of positions (what judges comparisons within runs)",
    "run": "between runs",
    "position": "between positions of a run",
    "station": "between stations of a run",
    "reading": "between readings of a station",
}
_ERRORS = ("error (", "lack of fit", "pure error")
# More combinations than this that were not run and of which nothing is told are counted and not listed.
MOST_IDLE = 8
# A note names no more rows than these where they can be told in a word.
MOST_NAMED = 5
# Notes that a column says already.
_SAID = ("a ratio of ratios", "a difference of differences", "median (geometric mean)", "mean")


def comparisons(rows: Sequence[Answer], frame: pd.DataFrame, response: Response) -> Table:
    """The comparisons of one response, each with its change, interval, p value, error and verdict."""
    interval = rows[0].interval_name if rows else "interval"
    head = (
        "comparison",
        "what is compared",
        "change",
        interval,
        "p",
        "error df",
        "judged between",
        "worthwhile",
        "verdict",
    )
    made = []
    for row, line in zip(rows, frame.to_dict("records"), strict=True):
        made.append(
            (
                row.name,
                row.contrast,
                row.change,
                _interval(row),
                p_value(line["p_value"]),
                df(line["df"]),
                units(line["error_stratum"]),
                worthwhile(row, response),
                row.verdict or NONE,
            )
        )
    kind = "ratios as changes in per cent" if response.scale == "log" else "differences"
    caption = f"Comparisons of {measured_in.label(response.name)}: {kind}{adjusted(frame)}"
    return Table(caption, head, tuple(made), ("change", interval, "p", "error df"), notes_of(frame, "comparison"))


def worst_cases(rows: Sequence[Answer], frame: pd.DataFrame, response: Response) -> Table:
    """Where each comparison would end if every pending run came out far against it, and for it."""
    made = []
    untold: dict[str, list[str]] = {}
    for row, line in zip(rows, frame.to_dict("records"), strict=True):
        ends = []
        for name in ("against", "for"):
            edges = [answers.value(line[f"{name}_{key}"]) for key in ("estimate", "low", "high")]
            end = replace(row, estimate=edges[0], low=edges[1], high=edges[2])
            ends.append(f"{end.change} ({_interval(end)})" if end.estimable else NONE)
        if ends == [NONE, NONE]:
            untold.setdefault(str(line["sentence"]).removeprefix(f"{row.name}: "), []).append(row.name)
        else:
            made.append((row.name, f"{row.change} ({_interval(row)})" if row.estimable else row.change, *ends))
    count = int(frame["pending"].iloc[0])
    which = "the pending run" if count == 1 else f"all {count} pending runs"
    head = ("comparison", "so far", "2 error SDs against it", "2 error SDs for it")
    caption = (
        f"Where {which} could take {measured_in.label(response.name)}: each comparison fitted again with values 2 "
        f"error SDs from what is expected, all against it or all for it"
    )
    notes = [f"{'; '.join(names)}: {why}" for why, names in untold.items()]
    taken = dict.fromkeys((answers.value(line["error_sd"]), line["error_sd_from"]) for line in frame.to_dict("records"))
    factor, unit = (100.0, "%") if response.scale == "log" else (1.0, response.measured_in)
    notes += [
        f"Error SD taken: {rounding.significant(factor * sd)} {unit}".rstrip() + f", {source}."
        for sd, source in taken
        if sd is not None
    ]
    return Table(caption, head, tuple(made), head[1:], tuple(notes))


def effects(rows: Sequence[Answer], frame: pd.DataFrame, response: Response) -> Table:
    """The effects of the terms of one response."""
    interval = rows[0].interval_name if rows else "interval"
    head = ("term", "what is compared", "change", interval, "p", "error df", "judged between", "in the plan")
    made = []
    for row, line in zip(rows, frame.to_dict("records"), strict=True):
        made.append(
            (
                row.name,
                row.contrast,
                row.change,
                _interval(row),
                p_value(line["p_value"]),
                df(line["df"]),
                units(line["error_stratum"]),
                _in_plan(row.name, line.get("term_planned")),
            )
        )
    caption = f"Effects on {measured_in.label(response.name)}, term by term, each judged alone"
    return Table(caption, head, tuple(made), ("change", interval, "p", "error df"), notes_of(frame, "term"))


def anova(frame: pd.DataFrame, response: Response) -> Table:
    """The analysis of variance of one response.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> from toolkit.model import anova as model_anova
    >>> made = anova(model_anova.table(found), found.response).without("mean square", "in the plan")
    >>> made
    Analysis of variance of ln elongation, Type II
    term | df | sum of squares | F | p | judged between | error df
    sprocket | 1 | 0.2679 | 12.46 | 0.012 | builds | 6
    error (build) | 6 | 0.1290 | – | – | builds | 6
    oil | 1 | 0.1193 | 14.97 | 0.0083 | runs | 6
    sprocket × oil | 1 | 0.01947 | 2.442 | 0.169 | runs | 6
    error (run) | 6 | 0.04783 | – | – | runs | 6
    """
    head = ("term", "df", "sum of squares", "mean square", "F", "p", "judged between", "error df", "in the plan")
    made = []
    for row in frame.to_dict("records"):
        made.append(
            (
                row["term"],
                df(row["df"]),
                number(row["sum_sq"]),
                number(row["mean_sq"]),
                number(row["f"]),
                p_value(row["p_value"]),
                units(row["error_stratum"]),
                df(row["error_df"]),
                _in_plan(row["term"], row.get("planned")),
            )
        )
    label = measured_in.label(response.name)
    scale = f"ln {label}" if response.scale == "log" else f"{label} ({response.measured_in or 'no unit'})"
    return Table(
        f"Analysis of variance of {scale}, Type II",
        head,
        tuple(made),
        ("df", "sum of squares", "mean square", "F", "p", "error df"),
        notes_of(frame, "term"),
    )


def means(frame: pd.DataFrame, brief: Brief, response: Response) -> Table:
    """The means of levels and combinations of one response."""
    known = [level for level in frame["conf_level"].tolist() if answers.value(level) is not None]
    interval = f"{answers.level_text(float(known[0]))} interval" if known else "interval"
    what = combinations.mean_name(response)
    unit = f" ({response.measured_in})" if response.measured_in else ""
    head = ("levels", f"{what}{unit}", f"{interval}{unit}", "error df", "runs")
    made = []
    idle = [row["runs"] == 0 and answers.value(row["estimate"]) is None for row in frame.to_dict("records")]
    unlisted = sum(idle) if sum(idle) > MOST_IDLE else 0
    listed = frame[[not each for each in idle]] if unlisted else frame
    for row in listed.to_dict("records"):
        error = combinations.error_of(row, response) if answers.value(row["estimate"]) is not None else None
        edges = [answers.value(row[key]) for key in ("estimate", "conf_low", "conf_high")]
        shown = [NONE if edge is None else rounding.estimate(edge, error) for edge in edges]
        made.append(
            (
                combinations.name(brief, row["levels"]),
                shown[0],
                _ends(shown[1], shown[2]),
                df(row["df"]),
                str(row["runs"]),
            )
        )
    caption = f"Means of {measured_in.label(response.name)}, levels of the other factors equally weighted"
    notes = notes_of(listed, "contrast")
    if unlisted:
        notes += (f"{unlisted} combinations without a run and without an estimate are not listed.",)
    return Table(caption, head, tuple(made), (head[1], head[2], "error df", "runs"), notes)


def _ends(low: str, high: str) -> str:
    """An interval as text; an end that is open is left out."""
    if low == NONE:
        return NONE if high == NONE else f"at most {high}"
    return f"at least {low}" if high == NONE else f"{low} to {high}"


def components(frame: pd.DataFrame, response: Response) -> Table:
    """The scatter of one response by source; in per cent where it is that of ln.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("tappet-finish", place, phases=("pilot", "main"))
    ...     records = campaign.records()
    >>> from toolkit.model import components as model_components
    >>> made = model_components.table(campaign.brief, records.runs, "mass_loss_mg", stations=records.stations)
    >>> components(made, campaign.brief.response("mass_loss_mg")).without("note")
    Scatter of mass loss (95 % intervals)
    source | SD (%, of ln) | interval | df
    run values (what judges comparisons) | 21.6 | 15.3 to 36.7 | 11
    between runs | 19.5 | 11.6 to 35.6 | 11
    between stations of a run | 18.4 | 15.0 to 23.6 | 39
    """
    percent = response.scale == "log"
    factor = 100.0 if percent else 1.0
    unit = "%, of ln" if percent else response.measured_in
    head = ("source", f"SD ({unit})" if unit else "SD", "interval", "df", "note")
    made = []
    for row in frame.to_dict("records"):
        low, high = answers.value(row["conf_low"]), answers.value(row["conf_high"])
        sd = answers.value(row["sd"])
        made.append(
            (
                _SOURCES.get(row["source"], str(row["source"])),
                NONE if sd is None else _signed_sd(row, factor, sd),
                NONE
                if low is None or high is None
                else f"{rounding.significant(factor * low)} to {rounding.significant(factor * high)}",
                df(row["df"]),
                answers.text(row["note"]),
            )
        )
    level = next((row["conf_level"] for row in frame.to_dict("records") if answers.value(row["conf_level"])), None)
    told = f" ({answers.level_text(level)} intervals)" if level is not None else ""
    return Table(f"Scatter of {measured_in.label(response.name)}{told}", head, tuple(made), (head[1], "interval", "df"))


def _signed_sd(row: Mapping[str, Any], factor: float, sd: float) -> str:
    """An SD; where its variance comes out negative that is said, and nothing is hidden behind a nought."""
    variance = answers.value(row["variance"])
    if variance is None or variance >= 0.0:
        return rounding.significant(factor * sd)
    return f"0 (variance {rounding.significant(variance * factor**2)})"


def sensitivity(frame: pd.DataFrame, brief: Brief, response: Response, *, interim: str = "") -> Table:
    """The comparisons as judged, without flagged runs, and with void runs that have a value, each with its verdict.

    ``interim`` as for ``decide.verdict.verdicts``.
    """
    rows = answers.of(frame, None, brief)
    judged = verdict.verdicts(frame, brief, interim=interim)["verdict"]
    interval = rows[0].interval_name if rows else "interval"
    made = [
        (row.name, line["runs"], row.change, _interval(row), p_value(line["p_value"]), name, _why_not(row))
        for row, line, name in zip(rows, frame.to_dict("records"), judged, strict=True)
    ]
    names = [row.name for row in rows]
    table = Table(
        f"{look.capital(measured_in.label(response.name))} with other runs",
        ("comparison", "which runs", "change", interval, "p", "verdict", "note"),
        tuple(sorted(made, key=lambda cells: names.index(cells[0]))),
        ("change", interval, "p"),
    )
    return table if any(cells[-1] for cells in made) else table.without("note")


def _in_plan(term: str, planned: object) -> str:
    """Whether a term stands in the sealed plan's model; a dash for error lines and where there is no plan."""
    return NONE if planned is None or term.startswith(_ERRORS) else stated.planned_word(planned)


def told(table: Table, interim: str) -> Table:
    """A table of tests; without F and p while runs are pending (``interim``), since a test would be a claim."""
    return table.without("F", "p") if interim else table


def worthwhile(row: Answer, response: Response) -> str:
    """The smallest change that matters, as text; a dash when none was stated."""
    if row.worthwhile is None:
        return NONE
    if row.ratio:
        return f"{100.0 * abs(math.expm1(gain_sign(response) * row.worthwhile)):.3g} %"
    return f"{row.worthwhile:.3g} {row.unit}".rstrip()


def _why_not(row: Answer) -> str:
    """The note of what is not estimable; empty for the rest."""
    return "" if row.estimable else row.note


def _interval(row: Answer) -> str:
    """The limits of an answer; a dash where there are none."""
    return row.interval if row.low is not None and row.high is not None else NONE


def notes_of(frame: pd.DataFrame, key: str) -> tuple[str, ...]:
    """The notes of a result, each with the names of its rows; without those that a column says already."""
    rows: list[Mapping[str, Any]] = frame.to_dict("records")
    found: dict[str, list[str]] = {}
    sides: dict[str, list[str]] = {}
    for row in rows:
        note, known = _unsaid(answers.text(row["note"])), answers.value(row.get("estimate")) is not None
        sides.setdefault("every estimate" if known else "everything without an estimate", []).append(str(row[key]))
        if note:
            found.setdefault(note, []).append(str(row[key]))
    return tuple(f"{_named(names, sides)}: {note}" for note, names in found.items())


def _named(names: list[str], sides: Mapping[str, list[str]]) -> str:
    """The rows of a note; in a word where they are many, and all those with an estimate or all those without."""
    whole = next((word for word, held in sides.items() if held == names), "")
    return whole if whole and len(names) > MOST_NAMED else "; ".join(dict.fromkeys(names))


def _unsaid(note: str) -> str:
    """A note without its parts that a column says already."""
    for said in _SAID:
        note = "" if note == said else note.removesuffix(f"; {said}").removeprefix(f"{said}; ")
    return note


def adjusted(frame: pd.DataFrame) -> str:
    """What to add to a caption when intervals count a family; empty when none does."""
    how = {"multivariate_t": "intervals that hold together (multivariate t)", "holm": "Holm and Bonferroni"}
    pairs = dict.fromkeys(
        (row["family"], row["adjust"]) for row in frame.to_dict("records") if row.get("adjust") in how
    )
    return "".join(f"; family '{family}': {how[adjust]}" for family, adjust in pairs)
