"""Two-level fractions in blocks: which interactions are given up to the differences between blocks.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric.fraction_classes import BASICS
from toolkit.numeric.fractions import Effect, Fraction, Pair


@dataclass(frozen=True, eq=False)
class Blocking:
    """A fraction laid out in blocks of equal size.

    Attributes
    ----------
    fraction : Fraction
    blocks : ndarray of int, shape (runs,)
        The block of each run of ``fraction.levels``, from 0 up.
    confounded : tuple of tuple of effects
        For each degree of freedom between blocks: the effects of up to three factors that are the same as it. Longer
        ones are left out; a degree of freedom without shorter ones has none.
    """

    fraction: Fraction
    blocks: NDArray[np.int64]
    confounded: tuple[tuple[Effect, ...], ...]

    @property
    def confounded_pairs(self) -> tuple[Pair, ...]:
        """Two-factor interactions that cannot be told from the differences between blocks."""
        return tuple(sorted(effect for group in self.confounded for effect in group if len(effect) == 2))


def in_blocks(fraction: Fraction, blocks: int, *, keep: Iterable[Pair] = ()) -> Blocking:
    """Give back a fraction in blocks that give up as few two-factor interactions as can be.

    Parameters
    ----------
    fraction : Fraction
    blocks : int
        2, 4, 8 ...; each block then holds runs / blocks runs, two or more.
    keep : pairs of int
        Interactions that must not be given up to the blocks.

    Returns
    -------
    Blocking
        No main effect is the same as a difference between blocks. Of all ways: fewest clear two-factor interactions
        given up, then fewest two-factor interactions, then fewest of three factors.

    Raises
    ------
    ModelError
        When the number of blocks is no power of two that leaves two runs a block, or every way gives up a main effect
        or an interaction that is to be kept.

    Notes
    -----
    Every subspace of columns that can stand for the blocks is gone through (textbook confounding).

    Checked against: a 2^3 in two and four blocks (ABC; AB, AC, BC) and a 2^4 in two (ABCD), textbook; the 2^3 in
    blocks of k03-npk-confounded; tests/unit/numeric/test_fraction_blocks.py.
    """
    possible = [2**bit for bit in range(1, BASICS[fraction.runs])]
    if blocks not in possible:
        fault = Fault("blocks", f"{blocks} for {fraction.runs} runs", " or ".join(map(str, possible)))
        raise_all(ModelError, "The fraction cannot be laid out in blocks.", [fault])
    columns = fraction.columns
    kept = {columns[one] ^ columns[other] for one, other in keep}
    closed = set(columns) | kept
    clear = {columns[one] ^ columns[other] for one, other in fraction.clear_pairs}
    pairs = _products(columns, 2)
    triples = _products(columns, 3)
    ways = _subspaces(fraction.runs, blocks, closed)
    if not ways:
        what = "a main effect or an interaction to be kept" if kept else "a main effect"
        fewer = [count for count in possible if count < blocks and _subspaces(fraction.runs, count, closed)]
        fault = Fault(
            "blocks",
            f"every way to make {blocks} blocks of {fraction.runs // blocks} runs gives up {what}",
            f"{max(fewer)} blocks" if fewer else "no blocks, or more runs",
        )
        raise_all(ModelError, "The fraction cannot be laid out in blocks.", [fault])
    best = min(
        ways,
        key=lambda way: (
            len(way & clear),
            sum(len(pairs.get(one, ())) for one in way),
            sum(len(triples.get(one, ())) for one in way),
            sorted(way),
        ),
    )
    chosen: list[int] = []
    spanned = {0}
    for one in sorted(best):
        if one not in spanned:
            chosen.append(one)
            spanned |= {one ^ other for other in spanned}
    label = np.zeros(fraction.runs, dtype=np.int64)
    for place, one in enumerate(chosen):
        label += [((one & run).bit_count() & 1) << place for run in range(fraction.runs)]
    groups = tuple((*pairs.get(one, ()), *triples.get(one, ())) for one in sorted(best))
    return Blocking(fraction, label, groups)


def _products(columns: tuple[int, ...], size: int) -> dict[int, list[Effect]]:
    """The interactions of ``size`` factors by the column that is their product."""
    found: dict[int, list[Effect]] = {}
    for effect in combinations(range(len(columns)), size):
        product = 0
        for at in effect:
            product ^= columns[at]
        found.setdefault(product, []).append(effect)
    return found


def _subspaces(runs: int, blocks: int, closed: set[int]) -> list[frozenset[int]]:
    """Sets of columns, closed under products, that can stand for the blocks: none of ``closed`` among them."""
    found = {frozenset[int]()}
    while len(next(iter(found), frozenset[int]())) < blocks - 1:
        larger = set()
        for way in found:
            for one in range(1, runs):
                if one not in way and one not in closed:
                    made = way | {one} | {one ^ other for other in way}
                    if not made & closed:
                        larger.add(made)
        if not larger:
            return []
        found = larger
    return sorted(found, key=sorted)
