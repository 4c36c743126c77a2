"""Plans that run every combination over builds that are blocks: incomplete blocks and Latin squares (rank 3).

A set is laid out for so many builds; a plan is one set or more, each drawn by itself from the brief's seed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief import check_blocked
from toolkit.brief.designs import IN_BUILDS, INCOMPLETE
from toolkit.brief.model import PHASES, Brief
from toolkit.design import _refused, factorial, incomplete_blocks, latin, strata
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.numeric import efficient_blocks
from toolkit.numeric import incomplete_blocks as counting
from toolkit.wording import counted

_STREAM = 11


def used(brief: Brief) -> bool:
    """True where the brief's design is laid out here."""
    return brief.plan.design in IN_BUILDS


def spread(brief: Brief) -> int:
    """Builds of one set.

    Notes
    -----
    Checked against: tests/unit/design/test_in_builds.py.
    """
    return latin.builds_in_set(brief) if latin.used(brief) else len(incomplete_blocks.of_brief(brief).blocks)


def set_size(brief: Brief) -> int:
    """Runs of one set.

    Notes
    -----
    Checked against: tests/unit/design/test_in_builds.py.
    """
    size = len(brief.combinations) if latin.used(brief) else check_blocked.runs_in_build(brief)
    return spread(brief) * size


def phase(brief: Brief, name: str, builds: int) -> Design:
    """The main phase, or further builds beside it.

    Parameters
    ----------
    brief : Brief
    name : str
        main or extension.
    builds : int
        A multiple of those of one set.

    Returns
    -------
    Design

    Raises
    ------
    DesignError
        When the number of builds is not chosen, or is no multiple.

    Notes
    -----
    Checked against: tests/unit/design/test_in_builds.py.
    """
    section = "plan" if name == "main" else name
    if not builds:
        raise _refused.not_chosen("builds", name)
    if incomplete_blocks.searched(brief):
        return _searched(brief, name, builds)
    each = spread(brief)
    if builds % each:
        raise DesignError(f"[{section}] builds = {builds}: {_no_multiple(brief, builds, each)}")
    _refused.beyond(builds * set_size(brief) // each, factorial.LARGEST)
    held: list[list[int]] = []
    for turn in range(builds // each):
        held += (latin if latin.used(brief) else incomplete_blocks).rows(brief, _draw(brief, name, turn))
    return _made(brief, name, held, _name(brief, builds, builds // each))


def _searched(brief: Brief, name: str, builds: int) -> Design:
    """The most efficient blocks over so many builds; of an extension those beside the main phase."""
    size = check_blocked.runs_in_build(brief)
    _refused.beyond(builds * size, factorial.LARGEST)
    main = builds if name == "main" else brief.plan.builds
    if not main:
        raise _refused.not_chosen("builds", "main")
    first = incomplete_blocks.of_builds(brief, main)
    held = incomplete_blocks.placed(brief, first, _draw(brief, "main", 0))
    told = f"incomplete blocks, {counted(builds, 'build')} of {size} runs"
    if name == "main":
        return _made(brief, name, held, f"{told}, {incomplete_blocks.told(first)}")
    more = incomplete_blocks.of_builds(brief, builds, beside=tuple(tuple(block) for block in held))
    order = _draw(brief, name, 0).permutation(builds)
    further = [list(more.blocks[at]) for at in order]
    return _made(brief, name, further, f"{told}, with the main phase {incomplete_blocks.told(more)}")


def _draw(brief: Brief, name: str, turn: int) -> np.random.Generator:
    """The random numbers of one set of a phase."""
    return np.random.default_rng([brief.seed, _STREAM, PHASES.index(name), turn])


def _made(brief: Brief, name: str, held: list[list[int]], told: str) -> Design:
    """A phase from the combinations of each of its builds."""
    letter = "B" if name == "main" else "X"
    rows = [dict(zip(brief.factor_names, brief.combinations[at], strict=True)) for block in held for at in block]
    table = pd.DataFrame(rows)
    table.insert(0, "build_id", [f"{letter}{build + 1}" for build, block in enumerate(held) for _ in block])
    table.insert(1, "replicate", table[list(brief.factor_names)].groupby(list(brief.factor_names)).cumcount() + 1)
    lead = "" if name == "main" else "extension, "
    return Design(brief, name, f"{lead}{told}", strata.of_runs(brief, table))


def drawn(brief: Brief) -> str:
    """What is drawn at random, in words; empty for other designs."""
    if latin.used(brief):
        if brief.plan.balance_carry_over:
            return "levels and builds of the square at random; places as they are: they balance what follows what"
        return "levels, builds and places of each square at random"
    if incomplete_blocks.used(brief):
        return "levels allotted to the blocks and blocks to builds at random, then the runs within each build at random"
    return ""


def _name(brief: Brief, builds: int, sets: int) -> str:
    """What the design is called."""
    if latin.used(brief):
        squares = sets * (spread(brief) // len(brief.combinations))
        what = f"Latin square{'s' * (squares != 1)}{', balanced for carry-over' * brief.plan.balance_carry_over}"
        return f"{what}, {counted(squares, 'square')}, {counted(builds, 'build')} of {len(brief.combinations)} runs"
    size = check_blocked.runs_in_build(brief)
    what = "baseline in every build, " * brief.plan.baseline_in_every_build
    return (
        f"balanced incomplete blocks, {what}{counted(builds, 'build')} of {size} runs, "
        f"{incomplete_blocks.described(brief)}"
    )


def _no_multiple(brief: Brief, builds: int, each: int) -> str:
    """Why so many builds cannot be, and the nearest that can."""
    nearest = " or ".join(str(one) for one in (builds - builds % each, builds - builds % each + each) if one)
    if latin.used(brief):
        what, take = ("two squares", "take") if each > len(brief.combinations) else ("a square", "takes")
        return (
            f"{what} of {len(brief.combinations)} {take} {each} builds, so their number is a multiple of it; choose "
            f"{nearest}."
        )
    beside = int(brief.plan.baseline_in_every_build)
    of, size = len(brief.combinations) - beside, check_blocked.runs_in_build(brief) - beside
    why = counting.impossible(of, size, builds) if size > 1 else ""
    if not why:
        why = f"the set that is known takes {each} builds"
    told = f"{why.replace('blocks', 'builds')}; choose {nearest}"
    if beside or builds < efficient_blocks.fewest(of, size):
        return f"{told}."
    return f"{told}; or design = '{INCOMPLETE}', which takes {builds} builds too."


def layout(brief: Brief) -> str:
    """What builds are, in words: incomplete blocks, or rows of a Latin square; for other designs as ``strata`` has it.

    Notes
    -----
    Checked against: tests/unit/design/test_in_builds.py.
    """
    if latin.used(brief):
        return "builds by places in a Latin square"
    return brief.plan.design if incomplete_blocks.used(brief) else strata.layout_of(brief)


def sentence(brief: Brief) -> str:
    """What the design takes out of the comparisons, and what that leaves, in words; empty for other designs.

    Notes
    -----
    Checked against: tests/unit/design/test_in_builds.py.
    """
    if incomplete_blocks.used(brief):
        return incomplete_blocks.sentence(brief)
    if not latin.used(brief):
        return ""
    count = len(brief.combinations)
    told = f"Every build runs all {count}, and in a square each stands once at every place in the order of a build"
    if brief.plan.balance_carry_over:
        times = spread(brief) // count
        squares = "a square" if times == 1 else "two squares"
        told = (
            f"Every build runs all {count}, each as often at every place in the order of a build; in {squares} each "
            f"follows every other one {'once' if times == 1 else 'twice'}"
        )
    return f"{told}: differences between builds, and between places, touch no comparison."


def as_plain(brief: Brief) -> dict[str, object]:
    """What plan.json holds of the design: a table incomplete_blocks or latin_square; empty for other designs.

    Notes
    -----
    Checked against: tests/unit/campaign/test_blocked_designs.py.
    """
    if incomplete_blocks.used(brief):
        return {"incomplete_blocks": incomplete_blocks.as_plain(brief)}
    if not latin.used(brief):
        return {}
    own = {"levels": len(brief.combinations), "builds_in_set": spread(brief)}
    followed = brief.plan.balance_carry_over
    return {"latin_square": {**own, "followed_equally": followed, "sentence": sentence(brief)}}
