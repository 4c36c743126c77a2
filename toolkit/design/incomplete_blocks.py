"""Incomplete blocks over builds: which combinations each build holds, and what that leaves (rank 3).

Balanced ones, or, where the number of builds is chosen freely, the most efficient that a seeded search finds.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from toolkit.brief import check_blocked
from toolkit.brief.designs import BALANCED, INCOMPLETE
from toolkit.brief.model import Brief
from toolkit.errors import DesignError, ModelError
from toolkit.numeric import efficient_blocks, incomplete_blocks
from toolkit.numeric.efficient_blocks import EfficientBlocks
from toolkit.numeric.incomplete_blocks import Block, IncompleteBlocks

# The stream of the search beside those of the orders.
_STREAM = 13


def used(brief: Brief) -> bool:
    """True where the brief's design is incomplete blocks, balanced or not."""
    return brief.plan.design in (BALANCED, INCOMPLETE)


def searched(brief: Brief) -> bool:
    """True where the blocks are the most efficient that a search finds, whatever the number of builds."""
    return brief.plan.design == INCOMPLETE


def of_builds(brief: Brief, builds: int, *, beside: tuple[Block, ...] = ()) -> EfficientBlocks:
    """The most efficient blocks over so many builds, beside those that are there already.

    Raises
    ------
    DesignError
        When so few builds do not join all combinations.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    count, size = len(brief.combinations), check_blocked.runs_in_build(brief)
    try:
        return efficient_blocks.search(count, size, builds, seed=(brief.seed, _STREAM), beside=beside)
    except ModelError as problem:
        low = efficient_blocks.fewest(count, size)
        raise DesignError(
            f"builds = {builds}: {str(problem).splitlines()[-1].strip()} Take {low} builds of {size} or more."
        ) from None


def of_brief(brief: Brief) -> IncompleteBlocks | EfficientBlocks:
    """One set of blocks of the combinations, by their numbers; the baseline is number 0.

    Raises
    ------
    DesignError
        When none are found (``brief.checks`` tells it with its line in the file).

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    if searched(brief):
        fewest = efficient_blocks.fewest(len(brief.combinations), check_blocked.runs_in_build(brief))
        return of_builds(brief, brief.plan.builds or fewest)
    return _balanced(brief)


def _balanced(brief: Brief) -> IncompleteBlocks:
    """One set of balanced blocks."""
    found = check_blocked.blocks_of(brief)
    if found is None:
        size = check_blocked.runs_in_build(brief)
        raise DesignError(
            f"no {BALANCED} of {len(brief.combinations)} in builds of {size} are found. Choose another runs_in_build."
        )
    return found


def rows(brief: Brief, draw: np.random.Generator) -> list[list[int]]:
    """The combinations of each build of a set: numbers allotted to the blocks, and blocks to builds, at random.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    return placed(brief, of_brief(brief), draw)


def placed(brief: Brief, found: IncompleteBlocks | EfficientBlocks, draw: np.random.Generator) -> list[list[int]]:
    """Blocks with their numbers allotted to the combinations, and their order, drawn at random.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    fixed = int(brief.plan.baseline_in_every_build)
    to = [*range(fixed), *(fixed + draw.permutation(found.treatments - fixed)).tolist()]
    blocks = [found.blocks[at] for at in draw.permutation(len(found.blocks))]
    return [sorted(to[at] for at in block) for block in blocks]


def efficiencies(brief: Brief) -> dict[str, Fraction]:
    """What is compared to the share of it that is left within builds: 'every two', or 'with the baseline' and 'others'.

    Of balanced blocks alone.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    found = _balanced(brief)
    if not brief.plan.baseline_in_every_build:
        return {"every two": found.efficiency}
    held = {"with the baseline": incomplete_blocks.efficiency(found.blocks, found.treatments, 0, 1)}
    if found.treatments > 2:
        held["others"] = incomplete_blocks.efficiency(found.blocks, found.treatments, 1, 2)
    return held


def described(brief: Brief) -> str:
    """The efficiency in brackets of a name: 'efficiency 7/9'.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    if searched(brief):
        return told(of_brief(brief))
    held = efficiencies(brief)
    if "every two" in held:
        return f"efficiency {held['every two']}"
    return f"efficiency {held['with the baseline']} against the baseline, {held['others']} among the others"


def told(found: IncompleteBlocks | EfficientBlocks) -> str:
    """The efficiency of searched blocks beside its bound: 'efficiency 0.667 of 0.750 at most'.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    bound = found.bound if isinstance(found, EfficientBlocks) else float(found.efficiency)
    return f"efficiency {float(found.efficiency):.3f} of {bound:.3f} at most"


def sentence(brief: Brief) -> str:
    """What the efficiency means for the runs, in words.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    things = "levels" if len(brief.factors) == 1 else "combinations"
    if searched(brief):
        return _of_searched(of_brief(brief), things) if brief.plan.builds else ""
    found, held = _balanced(brief), efficiencies(brief)
    size = f"Every build holds {found.size} of {found.treatments} {things}"
    if "every two" in held:
        share = held["every two"]
        return (
            f"{size}, every two together in {found.meetings} of {len(found.blocks)} builds: within builds a difference "
            f"is told as by {share} ({float(share):.2f}) of the runs in builds that hold all, at the same scatter."
        )
    return (
        f"{size}, the baseline in all of them: within builds a difference from the baseline is told as by "
        f"{held['with the baseline']} ({float(held['with the baseline']):.2f}) of the runs in builds that hold all, "
        f"one among the others as by {held['others']} ({float(held['others']):.2f}), at the same scatter."
    )


def _of_searched(found: IncompleteBlocks | EfficientBlocks, things: str) -> str:
    """What the efficiency of searched blocks means for the runs."""
    if not isinstance(found, EfficientBlocks):
        return ""
    met = " or ".join(str(number) for number in found.meetings)
    return (
        f"Every build holds {found.size} of {found.treatments} {things}, two together in {met} of {len(found.blocks)} "
        f"builds, the most efficient that a search found: within builds a difference is told on average as by "
        f"{found.efficiency:.3f} of the runs in builds that hold all ({found.lowest:.3f} to {found.highest:.3f}, "
        f"depending on which two are compared), at the same scatter; no plan in builds of {found.size} is "
        f"above {found.bound:.3f} on average."
    )


def as_plain(brief: Brief) -> dict[str, object]:
    """The set as plain data: treatments, blocks, replications, block size, meetings, efficiency as text and number.

    Notes
    -----
    Checked against: tests/unit/campaign/test_blocked_designs.py.
    """
    found = of_brief(brief)
    if isinstance(found, EfficientBlocks):
        shares = {"on average": found.efficiency, "lowest": found.lowest, "highest": found.highest}
        return {
            "treatments": found.treatments,
            "builds": len(found.blocks),
            "runs_in_build": found.size,
            "replications": None,
            "together": list(found.meetings),
            "made": "searched for",
            "efficiency": {
                name: {"exact": None, "value": share} for name, share in (shares | {"bound": found.bound}).items()
            },
            "sentence": sentence(brief),
        }
    held = efficiencies(brief)
    balanced = "every two" in held
    return {
        "treatments": found.treatments,
        "builds": len(found.blocks),
        "runs_in_build": found.size,
        "replications": found.replications if balanced else None,
        "together": found.meetings if balanced else None,
        "made": found.made,
        "efficiency": {name: {"exact": str(share), "value": float(share)} for name, share in held.items()},
        "sentence": sentence(brief),
    }
