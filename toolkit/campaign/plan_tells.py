"""What the page of a sealed plan says that its design can tell, from what was sealed alone (rank 9).

The scatter is the sealed one, so that the page has the same bytes however many runs are on record when it is written.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
from markupsafe import Markup

from toolkit import measured_in
from toolkit.brief import by_position
from toolkit.brief.model import Response
from toolkit.campaign import design_tables, looking
from toolkit.campaign.design_tables import Told
from toolkit.design import properties, strata
from toolkit.design.orders import Order
from toolkit.size import half_widths

# So many terms fit as a triangle on a printed page, so many pairs in a list.
MOST_TERMS, MOST_PAIRS = 10, 15
# A number of so many letters stands on one line: '×/÷ 1.20'.
_SHORT = 10
# A word of a heading with more letters than this may be broken.
_LONG = 12
_NIL = 1e-9


def section(order: Order, plan: Mapping[str, Any]) -> Markup:
    """Half-widths with runs lost, efficiencies, correlations, coded runs of a main phase; nothing for other phases.

    Parameters
    ----------
    order : Order
        As it is sealed, amended or not.
    plan : mapping
        What plan.json holds.
    """
    if order.design.phase != "main":
        # A pilot is for the scatter; what an extension tells rests on the phases before it and stands on its own.
        return Markup("")
    brief = order.design.brief
    laid = strata.of_runs(brief, looking.counting(order, plan))
    found = properties.properties(laid)
    made: list[Told] = []
    if brief.comparisons:
        table, notes = _widths(looking.widths_of(laid, range(len(laid.runs)), None), brief, plan, bool(laid.plots))
        told = design_tables.widths(table)
        if "pilot" in brief.counted_phases:
            notes.append("Those of the runs of this phase alone; with the pilot, which counts as a block, less wide.")
        made.append(replace(design_tables.without_empty(told), notes=(*told.notes, *notes)))
    if (found.correlations["correlation"].abs() > _NIL).any():
        made.append(replace(design_tables.pairs(found, most_terms=MOST_TERMS, most=MOST_PAIRS), notes=()))
    made.append(design_tables.runs(found, natural=False))
    said = Markup("").join(Markup("<li>{}.</li>").format(design_tables.started(line, found)) for line in found.short)
    return Markup('<section class="tells"><h2>What this design can tell</h2><ul>{}</ul>{}</section>').format(
        said, Markup("").join(_html(told) for told in made)
    )


def _widths(table: pd.DataFrame, brief: Any, plan: Mapping[str, Any], kept: bool) -> tuple[pd.DataFrame, list[str]]:
    """Half-widths on the scale of each response at the sealed scatter; in SDs of the error where that cannot be."""
    lines = [item for item in ((plan.get("sizing") or {}).get("scatter") or ()) if item["used"]]
    known = {item["response"]: item["sd"] for item in lines if item["stratum"] == "run" and item["sd"] is not None}
    bounds = {item["response"] for item in lines if item.get("bound") is True}
    single = all(sum(item["response"] == name for item in lines) == 1 for name in known)
    if kept or by_position.divided(brief) or not known or not single:
        return table, ["Told in SDs of the error that each comparison is judged by, from the design alone."]
    parts, notes = [], []
    for response in (item for item in brief.responses if item.name in known):
        sd, log = float(known[response.name]), response.scale == "log"
        one = table.assign(response=response.name, told_in=half_widths.RATIO if log else response.measured_in)
        for name in ("every_run", "one_lost", "two_lost", "dearest_lost"):
            scaled = [None if value is None else math.exp(sd * value) if log else sd * value for value in table[name]]
            one[name] = pd.Series(scaled, dtype=object, index=one.index)
        parts.append(one)
        most = response.name in bounds
        why = ": values of the pilot lie below the laboratory's limit, so that the widths are the most too" * most
        notes.append(
            f"{measured_in.label(response.name)}: SD of a run {'at most ' * most}{_sd(sd, response)}, as sealed{why}."
        )
    return pd.concat(parts, ignore_index=True), notes


def _sd(sd: float, response: Response) -> str:
    """The sealed SD of a run: in per cent of ln, else in the unit of the response."""
    return f"{100.0 * sd:.3g} % (of ln)" if response.scale == "log" else f"{sd:.3g} {response.measured_in}".rstrip()


def _kept(cell: str) -> str:
    """A cell whose half-width is not broken before its number."""
    return cell.replace("×/÷ ", "×/÷\u00a0").replace("± ", "±\u00a0")


def _html(told: Told) -> Markup:
    """A table of the page, with what is to be known beside it."""
    sides = [Markup(' class="n"') if name in told.numbers else Markup("") for name in told.head]
    # Headings with long names are broken within a word; the others would be for no more than a narrow column.
    long = [Markup(' class="n l"') if side and max(map(len, name.split())) > _LONG else side
            for side, name in zip(sides, told.head, strict=True)]  # fmt: skip
    head = Markup("").join(
        Markup('<th scope="col"{}>{}</th>').format(side, name) for side, name in zip(long, told.head, strict=True)
    )
    body = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup("").join(
                Markup("<td{}>{}</td>").format(
                    Markup(' class="n s"') if side and len(cell) <= _SHORT else side, _kept(cell)
                )
                for side, cell in zip(sides, row, strict=True)
            )
        )
        for row in told.rows
    )
    notes = Markup("").join(Markup("<p><small>{}</small></p>").format(note) for note in told.notes)
    return Markup("<table><caption>{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>{}").format(
        told.caption, head, body, notes
    )
