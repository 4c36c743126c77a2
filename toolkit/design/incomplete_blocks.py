"""Balanced incomplete blocks over builds: which combinations each build holds, and what that leaves (rank 3)."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from toolkit.brief import check_blocked
from toolkit.brief.designs import BALANCED
from toolkit.brief.model import Brief
from toolkit.errors import DesignError
from toolkit.numeric import incomplete_blocks
from toolkit.numeric.incomplete_blocks import IncompleteBlocks


def used(brief: Brief) -> bool:
    """True where the brief's design is balanced incomplete blocks."""
    return brief.plan.design == BALANCED


def of_brief(brief: Brief) -> IncompleteBlocks:
    """One set of blocks of the combinations, by their numbers; the baseline is number 0.

    Raises
    ------
    DesignError
        When none are found (``brief.checks`` tells it with its line in the file).

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    found = check_blocked.blocks_of(brief)
    if found is None:
        size = check_blocked.runs_in_build(brief)
        raise DesignError(f"no {BALANCED} of {len(brief.combinations)} in builds of {size} are found.")
    return found


def rows(brief: Brief, draw: np.random.Generator) -> list[list[int]]:
    """The combinations of each build of a set: numbers allotted to the blocks, and blocks to builds, at random.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    found = of_brief(brief)
    fixed = int(brief.plan.baseline_in_every_build)
    to = [*range(fixed), *(fixed + draw.permutation(found.treatments - fixed)).tolist()]
    blocks = [found.blocks[at] for at in draw.permutation(len(found.blocks))]
    return [sorted(to[at] for at in block) for block in blocks]


def efficiencies(brief: Brief) -> dict[str, Fraction]:
    """What is compared to the share of it that is left within builds: 'every two', or 'with the baseline' and 'others'.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    found = of_brief(brief)
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
    held = efficiencies(brief)
    if "every two" in held:
        return f"efficiency {held['every two']}"
    return f"efficiency {held['with the baseline']} against the baseline, {held['others']} among the others"


def sentence(brief: Brief) -> str:
    """What the efficiency means for the runs, in words.

    Notes
    -----
    Checked against: tests/unit/design/test_incomplete_blocks.py.
    """
    found, held = of_brief(brief), efficiencies(brief)
    things = "levels" if len(brief.factors) == 1 else "combinations"
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


def as_plain(brief: Brief) -> dict[str, object]:
    """The set as plain data: treatments, blocks, replications, block size, meetings, efficiency as text and number.

    Notes
    -----
    Checked against: tests/unit/campaign/test_blocked_designs.py.
    """
    found, held = of_brief(brief), efficiencies(brief)
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
