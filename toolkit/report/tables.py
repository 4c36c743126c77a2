"""Result frames as plain HTML tables: display names, units and rounding live here, nowhere else (rank 10)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from markupsafe import Markup

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.decide import verdict
from toolkit.plot import answers, combinations, look, rounding
from toolkit.plot.answers import Answer

NONE = "–"
# A table with more rows may be broken over pages in print.
LONG = 25
# Columns that need a width of their own.
_KEPT = {"verdict": Markup(' class="v"'), "what is compared": Markup(' class="w"')}
_SOURCES = {
    "run value": "run values (what judges comparisons)",
    "build": "between builds",
    "run": "between runs",
    "station": "between stations of a run",
    "reading": "between readings of a station",
}


@dataclass(frozen=True)
class Table:
    """A table as it is printed: every cell is text already.

    Attributes
    ----------
    caption : str
    head : tuple of str
        Display names, with units.
    rows : tuple of tuple of str
        The first cell of a row is its name.
    numbers : tuple of str
        The columns that hold numbers, set to the right.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[str, ...] = ()

    def __html__(self) -> str:
        """The table as HTML, every cell escaped."""
        right = [Markup(' class="n"') if name in self.numbers else _KEPT.get(name, Markup("")) for name in self.head]
        head = Markup("").join(
            Markup('<th scope="col"{}>{}</th>').format(side, name) for side, name in zip(right, self.head, strict=True)
        )
        body = Markup("").join(_row(cells, right) for cells in self.rows)
        long = Markup(' class="long"') if len(self.rows) > LONG else Markup("")
        return Markup("<table{}><caption>{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>").format(
            long, self.caption, head, body
        )


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
                worthwhile(row),
                row.verdict or NONE,
            )
        )
    kind = "ratios as changes in per cent" if response.scale == "log" else "differences"
    caption = f"Comparisons of {measured_in.label(response.name)}: {kind}"
    return Table(caption, head, tuple(made), ("change", interval, "p", "error df"))


def effects(rows: Sequence[Answer], frame: pd.DataFrame, response: Response) -> Table:
    """The effects of the terms of one response."""
    interval = rows[0].interval_name if rows else "interval"
    head = ("term", "what is compared", "change", interval, "p", "error df", "judged between")
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
            )
        )
    caption = f"Effects on {measured_in.label(response.name)}, term by term"
    return Table(caption, head, tuple(made), ("change", interval, "p", "error df"))


def anova(frame: pd.DataFrame, response: Response) -> Table:
    """The analysis of variance of one response."""
    head = ("term", "df", "sum of squares", "mean square", "F", "p", "judged between", "error df")
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
            )
        )
    label = measured_in.label(response.name)
    scale = f"ln {label}" if response.scale == "log" else f"{label} ({response.measured_in or 'no unit'})"
    return Table(
        f"Analysis of variance of {scale}, Type II",
        head,
        tuple(made),
        ("df", "sum of squares", "mean square", "F", "p", "error df"),
    )


def means(frame: pd.DataFrame, brief: Brief, response: Response) -> Table:
    """The means of levels and combinations of one response."""
    known = [level for level in frame["conf_level"].tolist() if answers.value(level) is not None]
    interval = f"{answers.level_text(float(known[0]))} interval" if known else "interval"
    what = combinations.mean_name(response)
    unit = f" ({response.measured_in})" if response.measured_in else ""
    head = ("levels", f"{what}{unit}", f"{interval}{unit}", "error df", "runs")
    made = []
    for row in frame.to_dict("records"):
        error = combinations.error_of(row, response) if answers.value(row["estimate"]) is not None else None
        edges = [answers.value(row[key]) for key in ("estimate", "conf_low", "conf_high")]
        shown = [NONE if edge is None else rounding.estimate(edge, error) for edge in edges]
        made.append(
            (
                combinations.name(brief, row["levels"]),
                shown[0],
                NONE if edges[1] is None else f"{shown[1]} to {shown[2]}",
                df(row["df"]),
                str(row["runs"]),
            )
        )
    caption = f"Means of {measured_in.label(response.name)}, levels of the other factors equally weighted"
    return Table(caption, head, tuple(made), (head[1], head[2], "error df", "runs"))


def components(frame: pd.DataFrame, response: Response) -> Table:
    """The scatter of one response by source; in per cent where it is that of ln."""
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
                NONE if sd is None else rounding.significant(factor * sd),
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


def not_used(runs: pd.DataFrame, brief: Brief) -> Table:
    """Runs that are void or pending, with the reason and who judged."""
    rows = runs[runs["verdict"] != "valid"].to_dict("records")
    made = tuple(
        (
            str(row["run_id"]),
            str(row["build_id"]),
            combinations.name(brief, row),
            row["verdict"],
            answers.text(row["reason"]) or NONE,
            answers.text(row["role"]) or NONE,
        )
        for row in rows
    )
    return Table(
        "Runs that no answer rests on",
        ("run", "build", "combination", "verdict", "reason", "judged by"),
        made,
    )


def findings(frame: pd.DataFrame, most: int = 100) -> Table:
    """What was noticed about the records, the gravest first; beyond ``most`` a count."""
    meaning = {"stop": "stop", "exclude": "left out", "note": "note"}
    made = [
        (
            answers.text(row["run_id"]) or NONE,
            answers.text(row["part_id"]) or NONE,
            answers.text(row["column"]) or NONE,
            meaning.get(row["severity"], str(row["severity"])),
            answers.text(row["rule"]),
            answers.text(row["found"]),
            answers.text(row["expected"]),
            answers.text(row["action"]),
        )
        for row in frame.to_dict("records")
    ]
    cut = made[:most]
    if len(made) > most:
        cut.append((f"and {len(made) - most} more", *[NONE] * 5, "see derived/findings.csv", NONE))
    head = ("run", "part", "column", "kind", "rule", "found", "expected", "action")
    return Table("What was noticed about the records", head, tuple(cut))


def as_planned(planned: pd.DataFrame, runs: pd.DataFrame, brief: Brief) -> Table:
    """The planned runs beside the runs as made: order, build and combination, differences marked."""
    made_by_id = {row["run_id"]: row for row in runs.to_dict("records")}
    rows = []
    for plan in planned.sort_values("planned_order").to_dict("records"):
        made = made_by_id.get(plan["run_id"])
        wanted = (str(plan["planned_order"]), str(plan["build_id"]), combinations.name(brief, plan))
        if made is None or made["verdict"] == "pending":
            rows.append((str(plan["run_id"]), *wanted, NONE, NONE, NONE, "pending"))
            continue
        order = answers.value(made["actual_order"])
        had = (
            NONE if order is None else str(int(order)),
            str(made["build_id"]),
            combinations.name(brief, made),
        )
        names = ("order", "build", "combination")
        differs = [name for name, one, other in zip(names, wanted, had, strict=True) if one != other and other != NONE]
        rows.append(
            (
                str(plan["run_id"]),
                *wanted,
                *had,
                f"{' and '.join(differs)} differ" if differs else "as planned",
            )
        )
    rows += [
        (
            str(row["run_id"]),
            NONE,
            NONE,
            "not in the plan",
            str(row["actual_order"]),
            str(row["build_id"]),
            combinations.name(brief, row),
            "added",
        )
        for row in runs.to_dict("records")
        if row["phase"] == "main" and row["run_id"] not in set(planned["run_id"])
    ]
    head = (
        "run",
        "planned order",
        "planned build",
        "planned combination",
        "order as run",
        "build as run",
        "combination as run",
        "result",
    )
    return Table("Planned against as run", head, tuple(rows))


def sensitivity(frame: pd.DataFrame, brief: Brief, response: Response) -> Table:
    """The comparisons as judged, without flagged runs, and with void runs that have a value, each with its verdict."""
    rows = answers.of(frame, None, brief)
    judged = verdict.verdicts(frame, brief)["verdict"]
    interval = rows[0].interval_name if rows else "interval"
    made = [
        (row.name, line["runs"], row.change, _interval(row), p_value(line["p_value"]), name, _why_not(row))
        for row, line, name in zip(rows, frame.to_dict("records"), judged, strict=True)
    ]
    names = [row.name for row in rows]
    return Table(
        f"{look.capital(measured_in.label(response.name))} with other runs",
        ("comparison", "which runs", "change", interval, "p", "verdict", "note"),
        tuple(sorted(made, key=lambda cells: names.index(cells[0]))),
        ("change", interval, "p"),
    )


def plain(caption: str, head: Sequence[str], rows: Sequence[Sequence[object]], numbers: Sequence[str] = ()) -> Table:
    """A table of values that are text already."""
    return Table(caption, tuple(head), tuple(tuple(str(cell) for cell in row) for row in rows), tuple(numbers))


def number(value: object) -> str:
    """A number to four significant digits; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else rounding.significant(found, 4)


def p_value(value: object) -> str:
    """A p value; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else rounding.p_value(found)


def df(value: object) -> str:
    """Degrees of freedom: whole ones as they are, others to one decimal; a dash where there are none."""
    found = answers.value(value)
    if found is None:
        return NONE
    return str(int(found)) if float(found).is_integer() else f"{found:.1f}"


def units(stratum: object) -> str:
    """The units of an error stratum: 'runs'; both where two are mixed."""
    words = answers.text(stratum)
    return " and ".join(f"{name}s" for name in words.split(" and ")) if words else NONE


def worthwhile(row: Answer) -> str:
    """The smallest change that matters, as text; a dash when none was stated."""
    if row.worthwhile is None:
        return NONE
    if row.ratio:
        return f"{-100.0 * math.expm1(-row.worthwhile):.3g} %"
    return f"{row.worthwhile:.3g} {row.unit}".rstrip()


def _why_not(row: Answer) -> str:
    """The note of what is not estimable; empty for the rest."""
    return "" if row.estimable else row.note


def _interval(row: Answer) -> str:
    """The limits of an answer; a dash where there are none."""
    return row.interval if row.low is not None and row.high is not None else NONE


def _row(cells: Sequence[str], right: Sequence[Markup]) -> Markup:
    """One row, its first cell as the row's name."""
    first = Markup('<th scope="row"{}>{}</th>').format(right[0], cells[0])
    rest = Markup("").join(
        Markup("<td{}>{}</td>").format(side, cell) for side, cell in zip(right[1:], cells[1:], strict=True)
    )
    return Markup("<tr>{}{}</tr>").format(first, rest)


def noted(frame: pd.DataFrame, key: str) -> list[Mapping[str, Any]]:
    """The rows of a result that carry a note, with their name."""
    return [row for row in frame.to_dict("records") if answers.text(row.get("note")) and answers.text(row.get(key))]
