"""Incomplete blocks where no balanced ones exist at the size that is asked for: the most efficient a search finds.

May import numpy, the standard library and the error classes. Treatments are numbers from 0 up; a block is a tuple of
them. Nothing here is balanced, and nothing is said to be: pairs that meet less often are told less well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric.incomplete_blocks import MOST_BLOCKS, MOST_TREATMENTS, Block, concurrences

# Swaps that are weighed in all, over the starts: what bounds the time.
_WEIGHED = 120_000
_STARTS = (6, 60)
# Swaps that are weighed at once; the best of them is made if it is one to the better.
_AT_ONCE = 128
_GAIN = 1e-10
# Below it the information on some difference is nil.
_JOINED = 1e-9


@dataclass(frozen=True)
class EfficientBlocks:
    """Blocks of one size, the most efficient that were found.

    Attributes
    ----------
    treatments, size : int
    blocks : tuple of tuple of int
    efficiency : float
        On average over all pairs: variance of a difference with as many runs, each treatment as often, and no blocks,
        over its mean within blocks; from 0 up to ``bound``.
    lowest, highest : float
        The same of the pair that is told least well, and of the one that is told best, each with its own runs.
    bound : float
        Treatments times (size - 1) over (treatments - 1) times size: no plan in blocks of that size is above it.
    """

    treatments: int
    size: int
    blocks: tuple[Block, ...]
    efficiency: float
    lowest: float
    highest: float
    bound: float

    @property
    def meetings(self) -> tuple[int, ...]:
        """In how many blocks two treatments are together: the numbers that occur, from the lowest up."""
        held = concurrences(self.blocks)
        return tuple(sorted({held[pair] for pair in combinations(range(self.treatments), 2)}))


def fewest(treatments: int, size: int) -> int:
    """Give back the fewest blocks that join all treatments and leave an error to judge them by.

    Notes
    -----
    Runs less blocks less treatments plus 1 are the degrees of freedom of the error within blocks; one at least.

    Checked against: counts by hand, tests/unit/numeric/test_efficient_blocks.py.
    """
    return -(-treatments // (size - 1))


@lru_cache(maxsize=128)
def search(
    treatments: int, size: int, blocks: int, *, seed: tuple[int, ...], beside: tuple[Block, ...] = ()
) -> EfficientBlocks:
    """Give back the most efficient blocks that a seeded search finds.

    Parameters
    ----------
    treatments : int
        3 to 16.
    size : int
        Treatments in a block, from 2 to one less than there are.
    blocks : int
        How many are looked for, 60 at most.
    seed : tuple of int
        No default: the same seed gives the same blocks.
    beside : tuple of tuple of int
        Blocks that are there already: the search is for those that are best beside them, and the efficiencies are
        those of all.

    Returns
    -------
    EfficientBlocks
        Its ``blocks`` without those that are there already.

    Raises
    ------
    ModelError
        When the numbers are out of range, or so few blocks cannot join all treatments.

    Notes
    -----
    From each random start treatments of two blocks change places as long as the mean variance of a difference within
    blocks gets smaller, the best of some such changes each time; replications, those there already counted, stay as
    equal as can be. The bound: the eigenvalues of the information within blocks add to blocks times (size - 1) at most,
    and their harmonic mean is no more than their mean (J. A. John and E. R. Williams, Cyclic and Computer Generated
    Designs, 1995, chapter 2, from memory).

    Checked against: square lattices of two and three replicates, (k + 1) / (k + 3) and (2 k + 2) / (2 k + 5) as Yates
    gave them; balanced sets found where they exist; every set of small sizes gone through,
    tests/unit/numeric/test_efficient_blocks.py.
    """
    raise_all(ModelError, "There are no such blocks.", _faults(treatments, size, blocks, beside))
    draw = np.random.default_rng(seed)
    fixed = np.array(beside, dtype=np.intp).reshape(-1, size)
    pairs = max(comb(blocks * size, 2), 1)
    starts = min(max(_WEIGHED // (12 * pairs), _STARTS[0]), _STARTS[1])
    best, least = None, np.inf
    # The trace of the inverse where every eigenvalue is their mean: no blocks are below it.
    lowest = (treatments - 1) ** 2 / ((blocks + len(fixed)) * (size - 1))
    for _ in range(starts):
        made = _start(treatments, size, blocks, fixed, draw)
        made, value = _improved(made, fixed, treatments, draw)
        if value < least - _GAIN:
            best, least = made, value
        if least <= lowest + _GAIN:
            break
    if best is None:
        raise ModelError(f"{blocks} blocks of {size} that join {treatments} were not found; take more blocks.")
    return _told(treatments, size, best, fixed)


def efficiencies(blocks: Sequence[Block], treatments: int) -> tuple[float, float, float]:
    """Give back the efficiency of blocks on average, of the pair told least well and of the one told best.

    Raises
    ------
    ModelError
        When the blocks do not join all treatments.

    Notes
    -----
    Checked against: ``incomplete_blocks.efficiency`` in exact fractions,
    tests/unit/numeric/test_efficient_blocks.py.
    """
    table = _incidence(np.array(blocks, dtype=np.intp)[None], treatments)[0]
    information = _information(table[None], len(blocks[0]))[0]
    if np.linalg.eigvalsh(information)[0] <= _JOINED:
        raise ModelError("the blocks do not join all treatments. Take more blocks.")
    inverse = np.linalg.inv(information)
    runs = table.sum(axis=1)
    at, other = np.triu_indices(treatments, 1)
    variance = inverse[at, at] + inverse[other, other] - 2.0 * inverse[at, other]
    own = (1.0 / runs[at] + 1.0 / runs[other]) / variance
    whole = 2.0 * treatments / float(runs.sum()) / float(variance.mean())
    return whole, float(own.min()), float(own.max())


def _told(treatments: int, size: int, made: NDArray[np.intp], fixed: NDArray[np.intp]) -> EfficientBlocks:
    """The blocks with what they are worth."""
    own = tuple(sorted(tuple(sorted(int(at) for at in block)) for block in made))
    there = tuple(tuple(int(at) for at in block) for block in fixed)
    whole, lowest, highest = efficiencies((*own, *there), treatments)
    bound = treatments * (size - 1) / ((treatments - 1) * size)
    return EfficientBlocks(treatments, size, own, whole, lowest, highest, bound)


def _start(
    treatments: int, size: int, blocks: int, fixed: NDArray[np.intp], draw: np.random.Generator
) -> NDArray[np.intp]:
    """Random blocks, every treatment as often as can be with those there already, and never twice in one block."""
    left = np.bincount(fixed.ravel(), minlength=treatments)
    made = []
    for _ in range(blocks):
        # Those that were taken least often first, in random order among themselves.
        order = np.lexsort((draw.random(treatments), left))
        chosen = order[:size]
        left[chosen] += 1
        made.append(chosen)
    return np.array(made, dtype=np.intp)


def _improved(
    made: NDArray[np.intp], fixed: NDArray[np.intp], treatments: int, draw: np.random.Generator
) -> tuple[NDArray[np.intp], float]:
    """Blocks after all swaps that make them better, the best of some each time, with the sum of their variances."""
    count, size = made.shape
    at, other = np.triu_indices(count * size, 1)
    apart = at // size != other // size
    at, other = at[apart], other[apart]
    value = float(_values(made[None], fixed, treatments)[0])
    while True:
        one, two = made[at // size, at % size], made[other // size, other % size]
        twice = (made[at // size] == two[:, None]).any(axis=1) | (made[other // size] == one[:, None]).any(axis=1)
        free = draw.permutation(np.flatnonzero(~twice))
        for first in range(0, len(free), _AT_ONCE):
            some = free[first : first + _AT_ONCE]
            here, there = at[some], other[some]
            tried = np.repeat(made[None], len(some), axis=0)
            turn = np.arange(len(some))
            tried[turn, here // size, here % size] = two[some]
            tried[turn, there // size, there % size] = one[some]
            found = _values(tried, fixed, treatments)
            best = int(found.argmin())
            if found[best] < value - _GAIN:
                made, value = tried[best], float(found[best])
                break
        else:
            return made, value


def _values(blocks: NDArray[np.intp], fixed: NDArray[np.intp], treatments: int) -> NDArray[np.float64]:
    """The trace of the inverse information within blocks of many sets; infinite where they do not join all."""
    whole = np.concatenate([blocks, np.repeat(fixed[None], len(blocks), axis=0)], axis=1)
    roots = np.linalg.eigvalsh(_information(_incidence(whole, treatments), whole.shape[2]))
    joined = roots[:, 0] > _JOINED
    found = np.full(len(blocks), np.inf)
    # The mean, which is no difference, adds 1.
    found[joined] = (1.0 / roots[joined]).sum(axis=1) - 1.0
    return found


def _incidence(blocks: NDArray[np.intp], treatments: int) -> NDArray[np.float64]:
    """Which treatment is in which block, shape (sets, treatments, blocks)."""
    sets, count, size = blocks.shape
    made = np.zeros((sets, treatments, count))
    which = np.arange(sets)[:, None, None], blocks, np.arange(count)[None, :, None]
    made[which] = 1.0
    return made


def _information(incidence: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """What blocks tell of the treatments within them, set by set, with 1 for their mean; singular: not all joined."""
    treatments = incidence.shape[1]
    runs = incidence.sum(axis=2)
    within = runs[:, :, None] * np.eye(treatments) - incidence @ incidence.transpose(0, 2, 1) / size
    return within + 1.0 / treatments


def _faults(treatments: int, size: int, blocks: int, beside: Sequence[Block]) -> list[Fault]:
    """Numbers out of range."""
    if not 3 <= treatments <= MOST_TREATMENTS:
        return [Fault("treatments", str(treatments), f"3 to {MOST_TREATMENTS}")]
    if not 2 <= size < treatments:
        return [Fault("block size", str(size), f"2 to {treatments - 1}, fewer than there are to compare")]
    least = 1 if beside else -(-(treatments - 1) // (size - 1))
    if not least <= blocks <= MOST_BLOCKS:
        why = ", since fewer do not join all of them" if blocks < least else ""
        return [Fault("blocks", str(blocks), f"{least} to {MOST_BLOCKS}{why}")]
    return []
