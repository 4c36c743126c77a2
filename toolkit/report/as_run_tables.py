"""Tables of the campaign as run beside as planned: runs, strata, what is confounded, what can be shown (rank 10)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.decide.as_run import AsRun
from toolkit.decide.states import AS_RUN, EXPECTED, PLANNED
from toolkit.design import units as design_units
from toolkit.plot import answers, combinations, rounding
from toolkit.report.table import NONE, Table, df, units

_ARROW = " → "


def runs(found: AsRun, brief: Brief) -> Table:
    """Every run as made, with what was planned in brackets where it was another thing."""
    factors = [combinations.factor_name(factor) for factor in brief.factors]
    parts = found.table[[f"part_id_{PLANNED}", f"part_id_{AS_RUN}"]].notna().any(axis=None)
    phases = found.table["phase"].nunique() > 1
    names = {column: design_units.NAMES[unit] for unit, column in design_units.COLUMNS.items()}
    placed = {column: names[column] for column in design_units.id_columns(brief)}
    head = ["run", *(["phase"] if phases else []), "planned order", "order as run", *placed.values(), *factors]
    head += [*(["part"] if parts else []), "hours", "verdict", "what differs"]
    rows = []
    for row in found.table.to_dict("records"):
        cells = [row["run_id"], *([row["phase"]] if phases else []), _whole(row["planned_order"])]
        cells += [_whole(row["actual_order"]), *(_both(row, name) for name in placed)]
        cells += [_both(row, factor.name) for factor in brief.factors]
        cells += [_both(row, "part_id")] if parts else []
        ran = answers.value(row[f"run_time_h_{AS_RUN}"])
        cells += [NONE if ran is None else f"{ran:g}", row["verdict"], row["differs"] or NONE]
        rows.append(tuple(str(cell) for cell in cells))
    told = "; in brackets what was planned, where it was another thing" if found.planned else ""
    numbers = ("planned order", "order as run", "hours")
    return Table(f"Runs as made{told}", tuple(head), tuple(rows), numbers, breaks=True)


def strata(found: AsRun, response: str) -> Table:
    """Units and error df of each stratum, planned and as run; without sub-samples, which are never an error."""
    mine = found.strata[found.strata["response"] == response] if len(found.strata) else found.strata
    names = _names(mine, "units")
    rows = [
        (
            row["stratum"],
            row["role"],
            row["terms"] or NONE,
            _states(row, "units", names, _whole),
            _states(row, "error_df", names, df),
        )
        for row in mine.to_dict("records")
        if not row["role"].startswith("sub-sample")
    ]
    head = ("stratum", "what it is for", "terms judged here", "units", "error df")
    return Table(f"Strata: {_legend(names)}", head, tuple(rows), ("units", "error df"))


def power(found: AsRun, response: Response) -> Table:
    """What each comparison rests on, planned and as run."""
    mine = found.power[found.power["response"] == response.name] if len(found.power) else found.power
    names = _names(mine, "error_df")
    unit = "%" if response.scale == "log" else response.measured_in
    sign = rounding.MINUS if response.better == "smaller" else "+"
    order = [name for name in names if name != EXPECTED]
    rows = []
    for row in mine.to_dict("records"):
        change = answers.value(row["assumed_change"])
        rows.append(
            (
                row["comparison"],
                units(row["stratum"]),
                _states(row, "error_df", names, df),
                _states(row, "std_error_factor", names, _factor),
                NONE if change is None else f"{sign}{abs(change):.3g} {unit}".rstrip(),
                _states(row, "chance_shown", names, _share),
                _states(row, "with_run_order", order, _signed),
            )
        )
    head = (
        "comparison",
        "judged between",
        "error df",
        "standard error, in error SDs",
        "true change assumed",
        "chance to be shown",
        "correlation with run order",
    )
    return Table(
        f"What comparisons of {measured_in.label(response.name)} rest on: {_legend(names)}",
        head,
        tuple(rows),
        head[2:],
        ("The chance to be shown is told at the scatter known before the runs, not at the one found in them.",),
    )


def aliases(found: AsRun, response: str) -> Table | None:
    """What is confounded with what, planned and as run; None when nothing is."""
    mine = found.aliases[found.aliases["response"] == response]
    if mine.empty:
        return None
    later = f"units_{EXPECTED}" in found.strata.columns
    # Runs that are still to come and change nothing need no column of their own.
    changed = later and any(row[AS_RUN] != row[EXPECTED] for row in mine.to_dict("records"))
    states = {PLANNED: "planned"} if found.planned else {}
    states |= {AS_RUN: "as run, and once pending runs are in" if later and not changed else "as run"}
    states |= {EXPECTED: "once pending runs are in"} if changed else {}
    head = ("comparison or term", *states.values(), "what helps")
    # What is said of a comparison and of a term alike is said once, and so is what helps all of them.
    alike: dict[tuple[str, ...], list[str]] = {}
    for row in mine.to_dict("records"):
        cells = (*(row[name] or "stands by itself" for name in states), row["helps"] or NONE)
        alike.setdefault(cells, []).append(row["comparison"] or f"term {row['term']}")
    rows = tuple(("; ".join(names), *cells) for cells, names in alike.items())
    table, helps = Table("What cannot be told apart", head, rows), {cells[-1] for cells in rows}
    if len(rows) == 1 or len(helps) > 1:
        return table
    told = helps.pop()
    return replace(table.without(head[-1]), notes=() if told == NONE else (f"For each of them: {told}",))


def same_strata(found: AsRun) -> bool:
    """True when every response rests on the same runs, so that one table of strata tells all."""
    if found.strata.empty:
        return True
    groups = found.strata.groupby("response", sort=False)
    each = [part.drop(columns="response").to_dict("records") for _, part in groups]
    return all(part == each[0] for part in each)


def same_aliases(found: AsRun, responses: Sequence[str]) -> bool:
    """True when the same is confounded for each of these responses, so that one table tells it for all."""
    table = found.aliases
    each = [table[table["response"] == name].drop(columns="response").to_dict("records") for name in responses]
    return all(part == each[0] for part in each)


def _names(frame: pd.DataFrame, key: str) -> list[str]:
    """The states that a table tells of."""
    return [name for name in (PLANNED, AS_RUN, EXPECTED) if f"{key}_{name}" in frame.columns]


def _legend(names: Sequence[str]) -> str:
    """What the arrows mean: 'planned → as run → once pending runs are in'."""
    words = {PLANNED: "planned", AS_RUN: "as run", EXPECTED: "once pending runs are in as planned"}
    return _ARROW.join(words[name] for name in names)


def _states(row: Mapping[str, Any], key: str, names: Sequence[str], shown: Any) -> str:
    """A figure in every state: '6 → 5'; one dash where none is known in any."""
    told = [shown(row[f"{key}_{name}"]) for name in names]
    return NONE if all(item == NONE for item in told) else _ARROW.join(told)


def _both(row: Mapping[str, Any], name: str) -> str:
    """A cell as run, with what was planned in brackets where it was another thing."""
    planned, made = row[f"{name}_{PLANNED}"], row[f"{name}_{AS_RUN}"]
    if made is None:
        return NONE if planned is None else f"({planned})"
    return str(made) if planned is None or planned == made else f"{made} ({planned})"


def _whole(value: object) -> str:
    """A whole number; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else str(int(found))


def _factor(value: object) -> str:
    """A standard error in error SDs, to two decimals."""
    found = answers.value(value)
    return NONE if found is None else rounding.fixed(found, 2)


def _share(value: object) -> str:
    """A chance in whole per cent, never rounded onto 0 or 100."""
    found = answers.value(value)
    if found is None:
        return NONE
    whole = f"{100.0 * found:.0f}"
    return "> 99 %" if whole == "100" else "< 1 %" if whole == "0" else f"{whole} %"


def _signed(value: object) -> str:
    """A correlation with its sign."""
    found = answers.value(value)
    return NONE if found is None else rounding.fixed(found, 2, sign=True)
