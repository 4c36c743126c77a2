"""What stands beside the answers of a response, as tables: fragility, exact p, positions, next runs (rank 10)."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from toolkit.brief.model import Response
from toolkit.decide.beside import Beside
from toolkit.plot import look, rounding
from toolkit.report import race_tables
from toolkit.report import tables as report_tables
from toolkit.report.table import NONE, Table

MOST_BATCHES = 5
_EXACT = (
    "Exact p: the share of the orders that the draw could have given in which the levels compared would differ at "
    "least as much, each value staying at its place; no normal distribution is assumed. In brackets the smallest that "
    "the plan could give."
)


def tables(beside: Beside, response: Response) -> tuple[Table, ...]:
    """The tables that the report shows, as far as there is something to show.

    Parameters
    ----------
    beside : Beside
    response : Response
    """
    made = [] if beside.races is None else [race_tables.table(beside.races)]
    made.append(_carried(beside, response))
    if beside.positions is not None:
        made.append(_positions(beside, response))
    if beside.groups is not None or beside.no_groups:
        made.append(_groups(beside, response))
    if len(beside.next_runs.table):
        made.append(next_runs(beside))
    return tuple(made)


def _carried(beside: Beside, response: Response) -> Table:
    """The run that carries each answer, and the exact p beside it."""
    exact = beside.exact.set_index("comparison")
    unit = response.measured_in
    rows = []
    for name, part in beside.fragility.groupby("comparison", sort=False):
        row, p = part.iloc[0], exact.loc[name]
        moved = "" if row["shift"] is None else f"{row['value']:.3g} to {row['value_needed']:.3g} {unit}"
        then = moved and f"{row['run_id']}: {moved}"
        away = NONE if row["shift_in_sd"] is None else f"{abs(row['shift_in_sd']):.1f}"
        said = NONE if p["p_value"] is None else f"{p['p_value']:.3g} (at least {p['smallest_p']:.2g})"
        rows.append((name, row["verdict"] or "", then or row["note"], away, row["verdict_then"] or NONE, said))
    head = (
        "comparison",
        "verdict",
        "the run and how its value would have to move",
        "error SDs",
        "verdict then",
        "exact p",
    )
    made = report_tables.plain("How much one run would have to differ to change each verdict", head, rows, head[3:4])
    return replace(made, notes=(_EXACT,))


def _positions(beside: Beside, response: Response) -> Table:
    """The station positions."""
    log = response.scale == "log"
    head = (
        "station",
        f"{'median' if log else 'mean'} ({response.measured_in})",
        "ratio to all stations" if log else "difference from all stations",
        "interval",
        "worst in runs",
    )
    aside = partial(rounding.fixed, places=3) if log else rounding.significant
    found = beside.positions.means if beside.positions is not None else pd.DataFrame()
    rows = [
        (
            row["station_id"],
            rounding.significant(row["estimate"]),
            aside(row["ratio_to_all"]),
            NONE if row["conf_low"] is None else f"{aside(row['conf_low'])} to {aside(row['conf_high'])}",
            row["worst_in_runs"],
        )
        for row in found.to_dict("records")
    ]
    told = beside.positions
    said = () if told is None else (told.worst, *(str(text) for text in told.tests["sentence"]), *told.notes)
    notes = tuple(_sentence(text, response.name) for text in said)
    return replace(report_tables.plain("Where on the part the wear is", head, rows, head[1:]), notes=notes)


def _groups(beside: Beside, response: Response) -> Table:
    """The comparisons by each group of stations."""
    head = ("comparison", "stations", "change" if response.scale != "log" else "ratio", "interval", "p")
    if beside.groups is None:
        return replace(report_tables.plain("Groups of stations", head, [], head[2:]), notes=(beside.no_groups,))
    unit = "" if response.scale == "log" else f" {response.measured_in}".rstrip()
    rows = [
        (
            row["comparison"],
            row["group"],
            "not estimable" if row["estimate"] is None else f"{row['estimate']:.3g}{unit}",
            "" if row["conf_low"] is None else f"{row['conf_low']:.3g} to {row['conf_high']:.3g}{unit}",
            "" if row["p_value"] is None else f"{row['p_value']:.2g}",
        )
        for row in beside.groups.comparisons.to_dict("records")
    ]
    rows.sort(key=lambda cells: [item[0] for item in rows].index(cells[0]))
    held = tuple(f"{name}: {', '.join(ids)}" for name, ids in beside.groups.stations.items())
    notes = (*held, *beside.groups.sentences, "Exploratory: each group judged alone; stations add no runs.")
    made = report_tables.plain("The comparisons by groups of stations", head, rows, head[2:])
    return replace(made, notes=notes)


def next_runs(beside: Beside) -> Table:
    """The batches of further runs that take most for their price."""
    told, last = ("further runs", "where", "runs", "hours"), ("variance taken (%)", "would settle, if estimates stay")
    head = (*told, beside.next_runs.cost_head, *last)
    rows = [
        (
            row["what"],
            row["where"],
            row["runs"],
            "" if row["hours"] is None else f"{row['hours']:,.0f}",
            "" if row["cost"] is None else f"{row['cost']:,.0f}",
            f"{100.0 * row['variance_taken']:.0f}",
            beside.next_runs.settled_by(row) or "none",
        )
        for row in beside.next_runs.table.head(MOST_BATCHES).to_dict("records")
    ]
    made = report_tables.plain("Further runs, most for their price first", head, rows, head[2:6])
    return replace(made, notes=(_sentence(beside.next_runs.sentence, beside.next_runs.response),))


def _sentence(text: str, response: str) -> str:
    """A sentence for the page: without the column that it is about, with a capital letter and a full stop."""
    text = look.capital(text.removeprefix(f"{response}: "))
    return text if text.endswith(".") else f"{text}."
