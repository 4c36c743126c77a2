"""The sealed plan as a printable page: runs in order, what was randomised, drift, cautions (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from markupsafe import Markup, escape

from toolkit import cautions, measured_in
from toolkit.brief import by_position
from toolkit.campaign import further_plan, order_words, plan_tells
from toolkit.design import units
from toolkit.design.orders import CORRELATIONS, Order
from toolkit.plot import look, rounding

_STYLE = """body{font:11pt/1.4 system-ui,sans-serif;max-width:52rem;margin:1.5rem auto;padding:0 1rem;color:#111}
table{border-collapse:collapse;width:100%;margin:.5rem 0 1.2rem}caption{text-align:left;font-weight:600;padding:.3rem 0}
th,td{border:1px solid #767676;padding:.25rem .5rem;text-align:left}th{background:#eee}
td,th{overflow-wrap:break-word}table.wide td,table.wide th{overflow-wrap:anywhere;font-size:9pt;padding:.2rem .35rem}
table.wide .k{overflow-wrap:normal}.k{width:1%}
tr.new td{border-top:3px solid #111}aside{border:2px solid #111;padding:.6rem 1rem;break-inside:avoid}
small{color:#444;overflow-wrap:anywhere}td.n,th.n{text-align:right}
.tells table{font-size:9pt;margin-bottom:.3rem}.tells small{font-size:9pt}.tells p{margin:.3rem 0}
td.n{white-space:nowrap}caption,h2{break-after:avoid}tr,table{break-inside:avoid}
.tells th.l{overflow-wrap:anywhere}.tells td,.tells th{padding:.1rem .35rem}
.tells td.n{white-space:normal}.tells td.s{white-space:nowrap}
@page{size:A4;margin:14mm;@bottom-right{content:"page " counter(page) " of " counter(pages);font:8pt sans-serif}}"""
# Letters that the columns of all factors may take beside each other on a printed page.
_WIDEST = 72


def page(order: Order, plan: Mapping[str, Any]) -> str:
    """The plan of a phase as one HTML page without scripts or outside requests.

    Parameters
    ----------
    order : Order
    plan : mapping
        What plan.json holds.
    """
    brief = order.design.brief
    title = f"{brief.id}: plan of the {order.design.phase} phase"
    rows = order.table
    late = (
        Markup("<p><strong>Sealed after records of this phase existed.</strong></p>")
        if plan["sealed_after_records"]
        else Markup("")
    )
    body = Markup("").join(
        [
            Markup("<h1>{}</h1><p>{}</p><p>{}: {} runs. Randomised: {} (seed {}).</p>").format(
                title, brief.question, look.capital(order.design.name), len(rows), order.drawn, order.seed
            ),
            late,
            _looked(order, plan),
            _amendment(plan),
            _runs_table(
                rows, by_position.columns(brief), order, {item["run_id"]: item for item in plan.get("lost", ())}
            ),
            _strata_table(plan),
            _unrepeated(plan),
            _gain(plan),
            _in_builds(plan),
            _aliases(plan),
            plan_tells.section(order, plan),
            _drift_table(order),
            Markup("").join(Markup("<p>{}</p>").format(text) for text in order_words.lines(brief, plan)),
            _held_table(order),
            Markup("<aside><h2>Cautions</h2><p>{}</p><ul>{}</ul></aside>").format(
                cautions.HEADER, Markup("").join(Markup("<li>{}</li>").format(line) for line in cautions.LINES)
            ),
            Markup("<p><small>seal {}<br>records head before sealing {}</small></p>").format(
                plan["seal"], plan["records_head_before"]
            ),
        ]
    )
    return str(
        Markup(
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta http-equiv='
            "\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
            "<title>{}</title><style>{}</style></head><body><main>{}</main></body></html>\n"
        ).format(title, Markup(_STYLE), body)
    )


def _looked(order: Order, plan: Mapping[str, Any]) -> Markup:
    """That an extension was sealed after results were looked at."""
    if order.design.phase != "extension" or not plan.get("looks_before"):
        return Markup("")
    return Markup(
        "<p><strong>Sealed after results of the main phase had been looked at.</strong> Intervals and p-values are at "
        "their nominal level only if this extension was planned before.</p>"
    )


def _amendment(plan: Mapping[str, Any]) -> Markup:
    """What the amendment did, why and who says so; nothing for a plan that was not amended."""
    if not plan.get("amendment"):
        return Markup("")
    told = [
        ("Taken up from campaign.toml", plan["changed"]),
        ("Added", plan["added"]),
        ("No longer planned", plan["dropped"]),
        (f"Drawn anew (seed {', '.join(map(str, plan['amendment_seed']))})", plan["redrawn"]),
        ("In another place, because of runs before them", plan["moved"]),
        ("Rows left as they are (made or set up)", plan["stayed"]),
    ]
    lines = [Markup("<li>{}: {}</li>").format(what, ", ".join(names)) for what, names in told if names]
    return Markup(
        "<aside><h2>Amendment {}</h2><p>{} ({})</p><ul>{}</ul><p><small>in the place of seal {}, kept in amended-{}"
        "</small></p></aside>"
    ).format(
        plan["amendment"], plan["reason"], plan["role"], Markup("").join(lines), plan["replaces"], plan["amendment"]
    )


def _runs_table(
    rows: pd.DataFrame, factors: tuple[str, ...], order: Order, lost: Mapping[str, Mapping[str, Any]]
) -> Markup:
    """The run list; a thick line above each new build; what became of lost runs."""
    brief = by_position.as_recorded(order.design.brief)
    kept = units.id_columns(brief)
    labels = {column: units.NAMES[unit] for unit, column in units.COLUMNS.items()}
    names = ("planned order", "run", *(labels[name] for name in kept), *factors, *(["lost runs"] if lost else []))
    # Where a page does not hold what every level means beside each other it stands once, below the table.
    letters = sum(max(map(len, [name, *(_level(brief, name, each) for each in rows[name])])) for name in factors)
    short = letters > _WIDEST
    own = 2 + len(kept)
    sides = [Markup(' class="k"' if at < own else "") for at in range(len(names))]
    # Names of factors, which hold letters, digits and underscores alone, are broken after these.
    headings = [Markup(escape(name).replace("_", Markup("_<wbr>"))) if short else name for name in names]
    head = Markup("").join(
        Markup('<th scope="col"{}>{}</th>').format(side, name) for side, name in zip(sides, headings, strict=True)
    )
    lines, before = [], None
    for row in rows.to_dict("records"):
        cells = [row["planned_order"], row["run_id"], *(row[name] for name in kept)]
        cells += [row[name] if short else _level(brief, name, row[name]) for name in factors]
        if lost:
            again = lost.get(row["run_id"], {}).get("instead")
            cells.append("" if again is None else f"lost; made again as {again}" if again else "lost; not made again")
        lines.append(
            Markup("<tr{}>{}</tr>").format(
                Markup(' class="new"') if before not in (None, row["build_id"]) else "",
                Markup("").join(
                    Markup("<td{}>{}</td>").format(side, cell) for side, cell in zip(sides, cells, strict=True)
                ),
            )
        )
        before = row["build_id"]
    made = Markup(
        "<table{}><caption>Runs in the order they are made</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>"
    ).format(Markup(' class="wide"') if short else "", head, Markup("").join(lines))
    return made + _meanings(brief, factors, rows) if short else made


def _meanings(brief: Any, factors: tuple[str, ...], rows: pd.DataFrame) -> Markup:
    """What every level of the plan means, a line a level."""
    lines = [
        {"factor": name, "level": level, "meaning": brief.factor(name).label_of(level)}
        for name in factors
        for level in dict.fromkeys([*brief.factor(name).names, *map(str, rows[name])])
    ]
    return _plain(pd.DataFrame(lines), "What the levels mean", ("factor", "level", "meaning"))


def _level(brief: Any, factor: str, level: str) -> str:
    """A level with what it means."""
    label = brief.factor(factor).label_of(level)
    # Of a number what it means is the number with its unit; a name may be all that a level means.
    return label if level == label or level in label.split(" ")[:1] else f"{level} ({label})"


def _strata_table(plan: Mapping[str, Any]) -> Markup:
    """Which unit judges which term, and with how many degrees of freedom."""
    table = pd.DataFrame(plan["strata"])
    return _plain(table, "Strata: what is judged against what", ("stratum", "units", "role", "terms", "error_df"))


def _unrepeated(plan: Mapping[str, Any]) -> Markup:
    """That nothing in the plan tells the scatter, where that is so."""
    if not any(line["error_df"] == 0 and line["terms"] for line in plan["strata"]):
        return Markup("")
    return Markup(
        "<p><strong>Nothing is repeated in this plan</strong> that would tell the scatter: effects will be judged by "
        "the size of each other, most of which are taken to be nil. There will be no intervals and no verdicts.</p>"
    )


def _in_builds(plan: Mapping[str, Any]) -> Markup:
    """What incomplete blocks or a Latin square take out of the comparisons; what an optimal set is worth."""
    held = plan.get("incomplete_blocks") or plan.get("latin_square") or plan.get("optimal")
    return Markup("<p>{}</p>").format(held["sentence"]) if held else Markup("")


def _aliases(plan: Mapping[str, Any]) -> Markup:
    """What each effect could also be, where the plan runs a part of the combinations."""
    if not plan.get("aliases"):
        return Markup("")
    table = pd.DataFrame(plan["aliases"])
    clear = table.loc[table["clear"], "term"].tolist()
    mixed = table[~table["clear"]].rename(columns={"term": "effect", "sentence": "in words"})
    parts = []
    if clear:
        parts.append(
            Markup("<p>Clear of every main effect and every interaction of two factors: {}.</p>").format(
                ", ".join(clear)
            )
        )
    if plan.get("given_up_to_builds"):
        parts.append(Markup("<p>{}</p>").format(plan["given_up_to_builds"]))
    parts += [Markup("<p>{}</p>").format(line) for line in plan.get("taken_up_by_units", ())]
    if len(mixed):
        parts.append(_plain(mixed, "What an effect could also be", ("effect", "in words")))
    return Markup("").join(parts)


def _gain(plan: Mapping[str, Any]) -> Markup:
    """What an extension adds to the phases before it."""
    held = plan.get(further_plan.KEY)
    if not held:
        return Markup("")
    said = Markup("").join(Markup("<li>{}</li>").format(line) for line in held["sentences"])
    parts = [Markup("<h2>With the phases before</h2><ul>{}</ul>").format(said)]
    if held["comparisons"]:
        table = pd.DataFrame(held["comparisons"])
        for name in ("half_width_before", "half_width_after"):
            table[name] = ["not told" if pd.isna(value) else f"{value:.3g}" for value in table[name].astype(float)]
        for name in ("error_df_before", "error_df_after"):
            table[name] = ["none" if pd.isna(value) else f"{value:.3g}" for value in table[name].astype(float)]
        caption = "Before and after: df of error, and half-width expected (a factor up and down on the log scale)"
        parts.append(_plain(table, caption, tuple(table.columns)))
    return Markup("").join(parts)


def _drift_table(order: Order) -> Markup:
    """How far each comparison follows the calendar."""
    table = order.drift
    if table.empty:
        return Markup("")
    told = table.copy()
    for name in CORRELATIONS:
        told[name] = ["not told" if pd.isna(value) else _signed(value) for value in table[name].astype(float)]
    caption = "Correlation of each comparison with run order (0: a steady drift does not touch it)"
    pointed = order_words.pointer(order)
    return _plain(told, caption, tuple(told.columns)) + (Markup("<p>{}</p>").format(pointed) if pointed else Markup(""))


def _held_table(order: Order) -> Markup:
    """What is kept constant, with its windows."""
    brief = order.design.brief
    held = [*brief.held, *([brief.protocol.run_time_h] if brief.protocol.run_time_h else [])]
    if not held:
        return Markup("")
    table = pd.DataFrame(
        [
            {
                "held": measured_in.quantity(item.name),
                "target": f"{item.target:g}",
                "window (outside: review)": f"{item.window[0]:g} to {item.window[1]:g}",
                "limits (outside: invalid)": f"{item.limits[0]:g} to {item.limits[1]:g}"
                if item.limits
                else "none stated",
            }
            for item in held
        ]
    )
    return _plain(table, "Kept constant", tuple(table.columns))


def _plain(table: pd.DataFrame, caption: str, columns: tuple[str, ...]) -> Markup:
    """A table with column headings as they are, underscores taken out."""
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(name.replace("_", " ")) for name in columns)
    body = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup("").join(
                Markup("<td>{}</td>").format(
                    escape("–" if pd.isna(row[name]) or row[name] == "" else _number(row[name]))
                )
                for name in columns
            )
        )
        for row in table.to_dict("records")
    )
    return Markup("<table><caption>{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>").format(
        caption, head, body
    )


def _signed(value: float) -> str:
    """A correlation with its sign, nought without one."""
    return "0" if round(value, 2) == 0 else rounding.fixed(value, 2, sign=True)


def _number(value: object) -> object:
    """Whole numbers without a decimal point."""
    return int(value) if isinstance(value, float) and value.is_integer() else value
