"""All responses side by side: every answer in one table, and whether they agree run by run (rank 10)."""

from __future__ import annotations

from toolkit import measured_in
from toolkit.decide import together
from toolkit.decide.analysis import Analysis
from toolkit.plot import answers
from toolkit.report.table import NONE, Table

# What a role means for whoever decides.
ROLES = {"primary": "primary: decides", "secondary": "secondary: exploratory"}


def every_answer(found: Analysis) -> Table | None:
    """Every comparison of every response in one table, primary apart from exploratory; None for a single response."""
    told = {name: item for name, item in found.responses.items() if item.fit is not None}
    if len(told) < 2 or not found.brief.comparisons:
        return None
    roles = {item.name: item.role for item in found.brief.responses}
    runs = {name: item.fit.runs for name, item in told.items() if item.fit is not None}
    rows, level = [], ""
    for name, item in told.items():
        for row in answers.of(item.comparisons, item.verdicts, found.brief):
            level = row.interval_name
            interval = row.interval if row.low is not None and row.high is not None else NONE
            count = str(len(runs[name]))
            rows.append(
                (
                    measured_in.quantity(name),
                    ROLES.get(roles[name], roles[name]),
                    row.name,
                    row.change,
                    interval,
                    count,
                    row.verdict or NONE,
                )
            )
    head = ("response", "role", "comparison", "change", level, "runs", "verdict")
    notes = (
        "The decision rests on the primary response alone. The others are exploratory: each is judged by itself, and "
        "the more there are, the likelier one of them shows something by chance.",
    )
    return Table("Every answer of every response", head, tuple(rows), ("change", level, "runs"), notes)


def agreement(found: Analysis) -> Table | None:
    """The correlations of the responses within treatments; None where there is no pair."""
    if not len(found.agreement):
        return None
    rows = []
    for row in found.agreement.to_dict("records"):
        names = " and ".join(measured_in.label(row[key]) for key in ("response", "other"))
        if row["correlation"] is None:
            rows.append((names, NONE, NONE, str(row["runs"]), str(row["df"]), _said(row["sentence"])))
            continue
        shown = [f"{row[key]:.2f}".replace("-", "−") for key in ("correlation", "conf_low", "conf_high")]
        rows.append(
            (
                names,
                shown[0],
                f"{shown[1]} to {shown[2]}",
                str(row["runs"]),
                str(row["df"]),
                _said(row["sentence"]),
            )
        )
    level = answers.level_text(float(found.agreement["conf_level"].iloc[0]))
    head = ("responses", "correlation within treatments", f"{level} interval", "runs", "df", "in words")
    caption = "Whether responses go together run by run, treatments and builds taken out"
    return Table(caption, head, tuple(rows), head[1:5], (together.CAUTION,))


def _said(sentence: str) -> str:
    """What a sentence says after its numbers."""
    return str(sentence).rpartition("; ")[2] if "; " in str(sentence) else str(sentence).partition(": ")[2]
