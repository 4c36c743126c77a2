"""Balanced incomplete blocks: which can exist, how they are made, and how much of the comparisons they keep.

May import the standard library and the error classes. Treatments are numbers from 0 up; a block is a tuple of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import combinations
from math import comb, gcd, isqrt

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _developed_blocks as search

Block = tuple[int, ...]
MOST_TREATMENTS = 16
# No more blocks are looked for.
MOST_BLOCKS = 60


@dataclass(frozen=True)
class IncompleteBlocks:
    """Blocks that hold a part of the treatments each, every two treatments together in as many blocks.

    Attributes
    ----------
    treatments : int
    size : int
        Treatments in a block.
    blocks : tuple of tuple of int
    made : str
        How it was made: all combinations, developed, left out (complement) or the treatments one by one.
    """

    treatments: int
    size: int
    blocks: tuple[Block, ...]
    made: str

    @property
    def replications(self) -> int:
        """In how many blocks each treatment is."""
        return len(self.blocks) * self.size // self.treatments

    @property
    def meetings(self) -> int:
        """In how many blocks every two treatments are together."""
        return self.replications * (self.size - 1) // (self.treatments - 1)

    @property
    def efficiency(self) -> Fraction:
        """v times the meetings over replications times block size: see ``efficiency``."""
        return Fraction(self.treatments * self.meetings, self.replications * self.size)

    @cached_property
    def table(self) -> dict[tuple[int, int], int]:
        """Two treatments, the lower first, to the blocks in which they are together."""
        return dict(concurrences(self.blocks))


def concurrences(blocks: Sequence[Block]) -> Counter[tuple[int, int]]:
    """Give back in how many blocks every two treatments are together.

    Parameters
    ----------
    blocks : sequence of tuple of int

    Returns
    -------
    Counter
        (lower, higher) to the number; pairs that never meet stand under nought.

    Notes
    -----
    Checked against: counts by hand, tests/unit/numeric/test_incomplete_blocks.py.
    """
    return Counter(pair for block in blocks for pair in combinations(sorted(block), 2))


def smallest(treatments: int, size: int) -> tuple[int, int, int]:
    """Give back blocks, replications and meetings of the smallest set that counting allows.

    Parameters
    ----------
    treatments : int
        2 to 16.
    size : int
        Treatments in a block, from 2 to one less than there are.

    Returns
    -------
    tuple of int
        Every balanced set has a multiple of these.

    Notes
    -----
    blocks x size = treatments x replications, and replications x (size - 1) = meetings x (treatments - 1): counting
    runs, and the partners of one treatment (F. Yates, Annals of Eugenics 7 (1936) 121-140).

    Checked against: the index of Fisher and Yates's tables, from memory, tests/unit/numeric/test_incomplete_blocks.py.
    """
    raise_all(ModelError, "There are no such blocks.", _size_faults(treatments, size))
    # The fewest meetings that leave whole replications and whole blocks.
    need = treatments - 1
    meetings = (size - 1) // gcd(size - 1, need)
    step = meetings * need // (size - 1)
    times = size // gcd(size, treatments * step)
    meetings, replications = meetings * times, step * times
    return treatments * replications // size, replications, meetings


def impossible(treatments: int, size: int, blocks: int) -> str:
    """Give back why no balanced set of so many blocks can be; empty where nothing that is known forbids it.

    Parameters
    ----------
    treatments, size : int
        As for ``smallest``.
    blocks : int

    Returns
    -------
    str
        Counting, Fisher's inequality, or the theorem on as many blocks as treatments.

    Notes
    -----
    Fisher's inequality: no fewer blocks than treatments (R. A. Fisher, Annals of Eugenics 10 (1940) 52-75). As many
    blocks as an even number of treatments: replications less meetings must be a square (M. P. Schutzenberger, Annals of
    Eugenics 14 (1949) 286-287).

    Checked against: parameters known not to exist, from memory, tests/unit/numeric/test_incomplete_blocks.py.
    """
    fewest, _, meetings = smallest(treatments, size)
    if blocks % fewest or blocks < 1:
        return (
            f"{treatments} in blocks of {size}: every one in as many blocks, and every two together as often, takes "
            f"{fewest} blocks or a multiple of that"
        )
    replications, meetings = blocks * size // treatments, meetings * (blocks // fewest)
    if blocks < treatments:
        return f"{blocks} blocks for {treatments}: Fisher's inequality, no fewer blocks than there are to compare"
    left = replications - meetings
    if blocks == treatments and treatments % 2 == 0 and isqrt(left) ** 2 != left:
        return (
            f"{blocks} blocks for as many to compare, an even number: {replications} less {meetings} would have to be "
            f"a square"
        )
    return ""


@lru_cache(maxsize=256)
def balanced(treatments: int, size: int) -> IncompleteBlocks | None:
    """Give back the balanced incomplete blocks with the fewest blocks that are found.

    Parameters
    ----------
    treatments : int
        2 to 16.
    size : int
        Treatments in a block, from 1 to one less than there are; 1 gives every treatment a block of its own.

    Returns
    -------
    IncompleteBlocks or None
        None when none of 60 blocks or fewer is found.

    Raises
    ------
    ModelError
        When the numbers are out of range.

    Notes
    -----
    All combinations where they are the fewest that counting allows; blocks above half the treatments are those left
    out of another set; all else is developed: a few blocks are moved round a group (cyclic, with one treatment fixed,
    products of cyclic groups), which is the method of differences (R. C. Bose, Annals of Eugenics 9 (1939) 353-399).
    What is found is proved by counting how often every two meet.

    Checked against: the index of Fisher and Yates's tables, from memory; the meetings counted,
    tests/unit/numeric/test_incomplete_blocks.py.
    """
    raise_all(ModelError, "There are no such blocks.", _size_faults(treatments, size, least=1))
    if size == 1:
        return IncompleteBlocks(treatments, 1, tuple((at,) for at in range(treatments)), "one by one")
    if 2 * size > treatments and size < treatments - 1:
        other = balanced(treatments, treatments - size)
        if other is None:
            return None
        blocks = tuple(tuple(at for at in range(treatments) if at not in block) for block in other.blocks)
        return _proved(treatments, size, blocks, f"what is left out of blocks of {treatments - size}")
    fewest, _, meetings = smallest(treatments, size)
    every = comb(treatments, size)
    for times in range(1, MOST_BLOCKS // fewest + 1):
        if every <= fewest * times:
            break
        if impossible(treatments, size, fewest * times):
            continue
        for points, moves, words in search.groups(treatments):
            blocks = search.developed(points, moves, size, meetings * times, fewest * times)
            if blocks is not None:
                return _proved(treatments, size, blocks, words)
    if every > MOST_BLOCKS:
        return None
    return _proved(treatments, size, tuple(combinations(range(treatments), size)), "all combinations")


def with_baseline(treatments: int, size: int) -> IncompleteBlocks | None:
    """Give back blocks that all hold treatment 0, beside balanced incomplete blocks of the others.

    Parameters
    ----------
    treatments : int
        3 to 16, the baseline among them.
    size : int
        Treatments in a block, the baseline among them: 2 to one less than there are.

    Returns
    -------
    IncompleteBlocks or None
        Not balanced as a whole: the baseline meets every other in as many blocks, the others each other in as many, and
        ``replications``, ``meetings`` and ``efficiency`` of it mean nothing. See ``efficiency``.

    Notes
    -----
    Supplemented balance (T. N. Hoblyn, S. C. Pearce and G. H. Freeman, Biometrics 10 (1954) 503-515, from memory).

    Checked against: least squares on the blocks, tests/unit/numeric/test_incomplete_blocks.py.
    """
    raise_all(ModelError, "There are no such blocks.", _size_faults(treatments, size))
    others = balanced(treatments - 1, size - 1) if size < treatments else None
    if others is None:
        return None
    blocks = tuple((0, *(at + 1 for at in block)) for block in others.blocks)
    return IncompleteBlocks(treatments, size, blocks, f"the baseline beside {others.made}")


def efficiency(blocks: Sequence[Block], treatments: int, one: int, other: int) -> Fraction:
    """Give back the share of a comparison that is left when blocks are taken out: exact.

    Parameters
    ----------
    blocks : sequence of tuple of int
    treatments : int
    one, other : int
        The two that are compared.

    Returns
    -------
    Fraction
        Variance of their difference with as many runs of each and no blocks, over that within blocks, at the same
        scatter: from 0 up to 1.

    Raises
    ------
    ModelError
        When the blocks do not join the two.

    Notes
    -----
    From the normal equations within blocks, solved in fractions; of balanced incomplete blocks it is treatments times
    meetings over replications times block size, for every two (F. Yates, 1936).

    Checked against: that formula, and least squares in floating point, tests/unit/numeric/test_incomplete_blocks.py.
    """
    counts = Counter(at for block in blocks for at in block)
    table = [[Fraction(0)] * treatments for _ in range(treatments)]
    for block in blocks:
        for at in block:
            table[at][at] += 1
            for beside in block:
                table[at][beside] -= Fraction(1, len(block))
    wanted = [Fraction(0)] * treatments
    wanted[one], wanted[other] = Fraction(1), Fraction(-1)
    solved = _solved([row[1:] for row in table[1:]], wanted[1:])
    if solved is None:
        raise ModelError(f"{one} and {other} are not joined by blocks. Take more blocks.")
    found = [Fraction(0), *solved]
    within = found[one] - found[other]
    return (Fraction(1, counts[one]) + Fraction(1, counts[other])) / within


def _solved(rows: list[list[Fraction]], wanted: list[Fraction]) -> list[Fraction] | None:
    """The answer of linear equations in fractions; None where there is not just one."""
    lines = [[*row, value] for row, value in zip(rows, wanted, strict=True)]
    for at in range(len(lines)):
        pivot = next((place for place in range(at, len(lines)) if lines[place][at]), None)
        if pivot is None:
            return None
        lines[at], lines[pivot] = lines[pivot], lines[at]
        lines[at] = [value / lines[at][at] for value in lines[at]]
        for place in range(len(lines)):
            if place != at and lines[place][at]:
                factor = lines[place][at]
                lines[place] = [one - factor * two for one, two in zip(lines[place], lines[at], strict=True)]
    return [line[-1] for line in lines]


def _proved(treatments: int, size: int, blocks: tuple[Block, ...], made: str) -> IncompleteBlocks:
    """The set, once every two were counted to meet equally often."""
    held = concurrences(blocks)
    if len(held) != comb(treatments, 2) or len(set(held.values())) != 1:
        raise ModelError(
            f"{treatments} in blocks of {size}: the set that was made is not balanced; this is a fault of the program. "
            f"Please report it."
        )
    return IncompleteBlocks(treatments, size, blocks, made)


def _size_faults(treatments: int, size: int, least: int = 2) -> list[Fault]:
    """Numbers out of range."""
    if not 2 <= treatments <= MOST_TREATMENTS:
        return [Fault("treatments", str(treatments), f"2 to {MOST_TREATMENTS}")]
    if not least <= size < treatments:
        return [Fault("block size", str(size), f"{least} to {treatments - 1}, fewer than there are to compare")]
    return []
