"""The lines of campaign.toml that choose a plan, to be pasted by the person who owns the file (rank 5)."""

from __future__ import annotations

import json

from toolkit.brief import by_position
from toolkit.brief.designs import OPTIMAL, SECOND_ORDER
from toolkit.brief.extensions import SAME
from toolkit.brief.model import CENTRE, PlanChoice
from toolkit.design import chosen, strata
from toolkit.size.option import Option
from toolkit.size.options import Options

_WIDTH = 116


def keys(found: Options, option: Option) -> dict[str, object]:
    """The keys of [plan], or of [extension], that choose a plan: {'builds': 3}.

    Notes
    -----
    Checked against: reading them back and laying the plan out again, tests/unit/size/test_chosen_lines.py.
    """
    design = option.design
    plan = design.brief.plan
    if found.phase == "extension" and found.brief.extension.design != SAME:
        return {"builds": design.builds} if _blocked(found) else {"replicates": _sets(found, option)}
    names = [item.name for item in by_position.of_whole_runs(found.brief)]
    corners = design.table[~design.table[names].isin([CENTRE]).any(axis=1)]
    if strata.layout_of_builds(found.brief) == strata.RANDOMISED:
        repeated = _repeated(option) or int(corners["replicate"].max())
        made: dict[str, object] = {"replicates": repeated}
    elif found.phase == "extension":
        return {"builds": design.builds}
    else:
        within = _repeated(option) or int(corners.groupby(["build_id", *names]).size().max())
        made = {"builds": design.builds} | ({"replicates": within} if within > 1 else {})
    if found.phase == "main" and plan.design != found.brief.plan.design:
        made = _design(plan) | made
    if found.phase == "main" and plan.centre_points != found.brief.plan.centre_points:
        made["centre_points"] = plan.centre_points
    return made


def _design(plan: PlanChoice) -> dict[str, object]:
    """The keys of a design that the brief does not have."""
    if plan.design != OPTIMAL:
        clear = [list(pair) for pair in plan.keep_clear]
        return {"design": plan.design, "runs": plan.runs, "resolution": plan.resolution, "keep_clear": clear}
    made: dict[str, object] = {"design": plan.design, "runs": plan.runs, "model": plan.model}
    made |= {"interactions": [list(pair) for pair in plan.interactions]} if plan.interactions else {}
    made |= {"split_over": plan.split_over} if plan.split_over > 1 else {}
    return made | ({"plots": dict(plan.plots)} if plan.plots else {})


def _repeated(option: Option) -> int:
    """How often a set is made, or its part in each build, where a set holds runs that repeat each other; else 0."""
    brief = option.design.brief
    if brief.plan.design not in (OPTIMAL, *SECOND_ORDER):
        return 0
    sets = option.design.runs // chosen.set_size(brief)
    blocked = strata.layout_of_builds(brief) != strata.RANDOMISED
    return sets * chosen.spread(brief) // option.design.builds if blocked else sets


def _blocked(found: Options) -> bool:
    """True where a plan grows by builds."""
    return strata.layout_of_builds(found.brief) == strata.BLOCKS


def _sets(found: Options, option: Option) -> int:
    """How often an extension runs its set."""
    return option.design.runs // chosen.extension(found.brief, builds=1, replicates=1).runs


def in_a_line(found: Options, option: Option) -> str:
    """The same in one line: 'builds = 3, replicates = 2'.

    Notes
    -----
    Checked against: tests/unit/size/test_chosen_lines.py.
    """
    return ", ".join(f"{key} = {_value(value)}" for key, value in keys(found, option).items())


def toml(found: Options) -> str:
    """The lines to paste as a small TOML file, with what they choose in remarks; only remarks where none is advised.

    Notes
    -----
    Checked against: reading them back and laying the plan out again, tests/unit/size/test_chosen_lines.py.
    """
    section = "extension" if found.phase == "extension" else "plan"
    option = found.recommended
    if option is None:
        remarks = ["No plan is advised.", found.sentence, *found.why]
        return "".join(f"{line}\n" for text in remarks for line in _remark(text))
    spoken = found.advice.spoken if found.advice is not None else (found.sentence,)
    cannot = found.advice.cannot if found.advice is not None else ()
    remarks = [
        f"Put these lines into [{section}] of campaign.toml, in place of the keys of the same names: {option.name}.",
        *spoken,
        *found.why,
        *cannot,
    ]
    lines = [line for text in remarks for line in _remark(text)]
    lines += [f"[{section}]", *(f"{key} = {_value(value)}" for key, value in keys(found, option).items())]
    return "".join(f"{line}\n" for line in lines)


def _value(value: object) -> str:
    """A value as TOML writes it."""
    # Factor names are plain names; JSON writes text, numbers and lists of them as TOML does.
    return json.dumps(value)


def _remark(text: str) -> list[str]:
    """A text as remarks of TOML: one line each, nothing in it that ends a line."""
    words = text.split()
    lines, line = [], "#"
    for word in words:
        if len(line) + 1 + len(word) > _WIDTH and line != "#":
            lines.append(line)
            line = "#"
        line += f" {word}"
    return [*lines, line]
