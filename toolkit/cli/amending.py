"""What amend prints for people: the ways on side by side, or what of the run list is another one now (rank 11)."""

from __future__ import annotations

from collections.abc import Sequence

from toolkit import cautions
from toolkit.campaign.amend import Amended
from toolkit.campaign.ways_on import WayOn, WaysOn
from toolkit.cli import words
from toolkit.size import options as size_options


def ways(found: WaysOn) -> str:
    """The ways on as a table, then what each means."""
    primary = next(item for item in found.brief.responses if item.role == "primary").name
    asked = [item.name for item in found.brief.comparisons]
    can = [way for way in found.options if not way.refused]
    lost = list(dict.fromkeys(name for way in found.options for name in way.lost))
    money = found.brief.cost.currency or "money"
    lines = [
        f"lost runs of the {found.phase} phase: {', '.join(lost)}",
        "",
        words.table(
            [_row(found, way, primary, asked) for way in can],
            ["way on", "runs that count", "made again", "hours", f"cost ({money})", *(f"{name} %" for name in asked)],
        ),
        "",
        "repeat: behind all others. replace: in the build it was lost from. without: not made again.",
        "Hours and cost are those of the runs made again, with the expected repeats. The last columns are the chance",
        f"that a comparison of {primary} is shown by the runs that would then count; asked: "
        f"{100 * found.brief.power:g} %.",
    ]
    lines += [f"  {way.option}: cannot be taken: {way.refused}" for way in found.options if way.refused]
    lines += [f"  {way.option}: {note}" for way in can for note in way.notes]
    untold = {claim.note for way in can for claim in way.claims if claim.assurance is None and claim.note}
    lines += [f"  note: {note}" for note in (*sorted(untold), *found.notes)]
    return "\n".join(lines)


def amended(made: Amended) -> str:
    """What changed and what was drawn anew, the run list, the cautions."""
    plan = made.plan
    lines = [
        f"amendment {plan['amendment']} of the {made.order.design.phase} phase: {plan['reason']} ({plan['role']})",
        *_told("taken up from campaign.toml", plan["changed"]),
        *_told("added", plan["added"]),
        *_told("no longer planned", plan["dropped"]),
        *_told(f"drawn anew (seed {', '.join(map(str, plan['amendment_seed']))})", plan["redrawn"]),
        *_told("in another place, because of runs before them", plan["moved"]),
        *_told("rows left as they are (made or set up)", plan["stayed"]),
        *(f"note: {note}" for note in made.notes),
    ]
    if not plan["redrawn"]:
        lines.append("nothing was drawn anew")
    now = {item["run_id"]: item for item in plan["lost"]}
    table = made.table.drop(columns=["replicate", "phase"])
    told = [_lost(now[run]) if run in now else "" for run in table["run_id"]]
    lines += [
        "",
        words.table(
            [[*row, word] for row, word in zip(table.to_numpy().tolist(), told, strict=True)], [*table.columns, ""]
        ),
    ]
    lines += ["", cautions.HEADER, *(f"  - {line}" for line in cautions.LINES)]
    return "\n".join([*lines, "", f"seal {plan['seal']}", f"in the place of {plan['replaces']}"])


def _row(found: WaysOn, way: WayOn, primary: str, asked: Sequence[str]) -> list[str]:
    """One way on."""
    chances = {claim.comparison: claim.assurance for claim in way.claims if claim.response == primary}
    told = [
        "not told" if chances.get(name) is None else size_options.chance(chances[name], found.brief.power)
        for name in asked
    ]
    return [way.option, str(way.runs), str(len(way.added)), f"{way.price.hours:.0f}", f"{way.price.cost:,.0f}", *told]


def _told(what: str, names: Sequence[str]) -> list[str]:
    """A line with names; none without them."""
    return [f"{what}: {', '.join(names)}"] if names else []


def _lost(item: dict[str, object]) -> str:
    """What became of a lost run."""
    return f"lost; made again as {item['instead']}" if item["instead"] else "lost; not made again"
