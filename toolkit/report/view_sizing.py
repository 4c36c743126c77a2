"""What a notebook shows of a sizing: recommendation, price, choices, splits, routes, lines to paste (rank 10)."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from toolkit.plot import rounding
from toolkit.report import tables
from toolkit.report.view import Shown
from toolkit.size import chosen_lines, money
from toolkit.size.options import Options


def advice(sizing: Options) -> Shown:
    """The recommendation to be read out, why it is this plan where promises are out of reach, what it cannot show."""
    told = sizing.advice
    if told is None:
        return Shown([sizing.sentence])
    why = ["Why this plan:" if told.recommended else "What it would take:", _list(sizing.why)] if sizing.why else []
    return Shown([_list(told.spoken), *why, f"What {told.plan.name} cannot show:", _list(told.cannot)])


def price(sizing: Options, plan: str) -> Shown:
    """What one plan costs, item by item."""
    design = sizing.option(plan).design
    lines = money.of_items(design)
    if lines.empty:
        return Shown(["[cost] of campaign.toml has no items, so that hours and money are not told."])
    currency = sizing.brief.cost.currency or "money"
    head = ("item", "per", "as planned", "with repeats", "hours", f"cost ({currency})")
    rows = [
        (
            row["what"],
            row["per"],
            f"{row['count']:.4g}",
            f"{row['count_with_repeats']:.4g}",
            f"{row['hours']:,.0f}",
            f"{row['cost']:,.0f}",
        )
        for row in lines.to_dict("records")
    ]
    rows.append(("in all", "", "", "", f"{lines['hours'].sum():,.0f}", f"{lines['cost'].sum():,.0f}"))
    return Shown([tables.plain(f"What {plan} costs", head, rows, head[2:])])


def picks(sizing: Options) -> Shown:
    """The chance to pick the best level, plan by plan."""
    if sizing.picks.empty:
        return Shown(["No [[best_of]] is asked for in campaign.toml."])
    head = ("plan", "runs", "choice", "lead", "chance to pick it", "if the scatter is known", "a pair shown")
    head = (*head, "flattered by")
    rows = []
    for row in sizing.picks.to_dict("records"):
        response = sizing.brief.response(row["response"])
        log = response.scale == "log"
        lead, more = (row["gap_pct"], row["overstated_pct"]) if log else (row["gap"], row["overstated"])
        unit = "%" if log else response.measured_in
        rows.append(
            (
                row["name"],
                row["runs"],
                f"best of {row['levels']} {row['factor']} ({row['response']})",
                _figure(lead, unit),
                _share(row["chance"]),
                _share(row["chance_if_known"]),
                _share(row["proof"]),
                _figure(more, unit),
            )
        )
    told = (
        "Chance that the truly best level comes out best if it leads each other by the lead. A choice is no proof: 'a "
        "pair shown' is the chance that a difference of that size between two levels is shown. 'Flattered by' is how "
        "much better the winner looks than it is, on average, if all are equal."
    )
    return Shown([tables.plain("Picking the best", head, rows, head[3:]), told])


def sharing(sizing: Options) -> Shown:
    """Runs, stations and readings shared out, and the kept route beside the fully randomised one."""
    told = sizing.advice
    if told is None:
        return Shown(["Nothing is told beside the plans."])
    parts: list[object] = []
    if told.split is not None:
        parts.append(_list(told.split.sentences))
        head = ("stations", "readings", "SD of a run value", "times the least")
        rows = [
            (
                row["stations"],
                row["readings"],
                f"{row['sd_of_run_value']:.3g}",
                "–" if row["times_least"] is None else f"{row['times_least']:.3f}",
            )
            for row in told.split.curve.to_dict("records")
        ]
        parts.append(tables.plain("What more stations buy", head, rows, head))
    if told.routes is not None:
        parts.append(told.routes.sentence)
    return Shown([*parts, *told.notes] or ["Nothing can be shared out."])


def to_paste(sizing: Options) -> Shown:
    """The lines that choose the recommended plan, as they lie in derived/chosen-plan.toml."""
    text = chosen_lines.toml(sizing)
    lines = [line for line in text.splitlines() if not line.startswith("#")] or text.splitlines()
    return Shown([Markup("<pre>{}</pre>").format("\n".join(lines))])


def _list(lines: Sequence[str]) -> Markup:
    """Sentences as a list."""
    told = Markup("").join(Markup("<li>{}</li>").format(rounding.minus(line)) for line in lines)
    return Markup("<ul>{}</ul>").format(told)


def _figure(value: object, unit: str) -> str:
    """A figure with its unit; a dash where there is none."""
    return "–" if value is None or value != value else f"{float(str(value)):.3g} {unit}".rstrip()


def _share(value: object) -> str:
    """A chance in per cent; a dash where there is none."""
    return "–" if value is None or value != value else f"{100 * float(str(value)):.0f} %"
