"""Two-level regular fractions: least aberration, what they keep apart, and those that keep named interactions clear.

May import numpy and the error classes. Factors are numbers from 0 up; a word or an effect is a tuple of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric.fraction_classes import BASICS, MOST_FACTORS, PROVED, Columns, classes

Effect = tuple[int, ...]
Pair = tuple[int, int]


@dataclass(frozen=True)
class Fraction:
    """A regular fraction (or the full factorial) in factors at two levels.

    Attributes
    ----------
    runs : int
        4, 8, 16, 32 or 64.
    columns : tuple of int
        The column of each factor; binary digits say which basic columns are multiplied. Basic columns stand first.
    """

    runs: int
    columns: Columns

    @property
    def factors(self) -> int:
        """How many factors there are."""
        return len(self.columns)

    @cached_property
    def levels(self) -> NDArray[np.float64]:
        """The runs in standard order, the first factor changing fastest: shape (runs, factors), -1 and 1.

        An even number of basic columns is multiplied by -1, so that the run with every factor high is among them.
        """
        at = np.arange(self.runs)
        made = [
            [1.0 if (column & run).bit_count() % 2 == column.bit_count() % 2 else -1.0 for run in at.tolist()]
            for column in self.columns
        ]
        return np.array(made).T

    @property
    def generators(self) -> tuple[tuple[int, Effect], ...]:
        """Each factor that is not a basic column, with the basic factors whose product it is."""
        place = {column: at for at, column in enumerate(self.columns)}
        return tuple(
            (at, tuple(place[1 << bit] for bit in range(BASICS[self.runs]) if column >> bit & 1))
            for at, column in enumerate(self.columns)
            if column.bit_count() > 1
        )

    @cached_property
    def words(self) -> tuple[Effect, ...]:
        """Every defining word: effects that are the same in every run; the shortest first."""
        made = [frozenset({at, *word}) for at, word in self.generators]
        found = {frozenset[int]()}
        for word in made:
            found |= {one ^ word for one in found}
        return tuple(sorted((tuple(sorted(word)) for word in found if word), key=lambda word: (len(word), word)))

    @cached_property
    def word_lengths(self) -> tuple[int, ...]:
        """How many words have 3, 4, ..., factors letters; empty for two factors."""
        sizes = [len(word) for word in self.words]
        return tuple(sizes.count(size) for size in range(3, self.factors + 1))

    @property
    def resolution(self) -> int | None:
        """The length of the shortest word; None for the full factorial."""
        return len(self.words[0]) if self.words else None

    @cached_property
    def clear_main(self) -> tuple[int, ...]:
        """Factors whose main effect is aliased with no main effect and no two-factor interaction."""
        short = {letter for word in self.words if len(word) <= 3 for letter in word}
        return tuple(at for at in range(self.factors) if at not in short)

    @cached_property
    def clear_pairs(self) -> tuple[Pair, ...]:
        """Two-factor interactions that are aliased with no main effect and no other two-factor interaction."""
        short = {pair for word in self.words if len(word) <= 4 for pair in combinations(word, 2)}
        return tuple(pair for pair in combinations(range(self.factors), 2) if pair not in short)

    @property
    def proved(self) -> bool:
        """True where every other fraction of the size was gone through."""
        return self.runs <= PROVED or not self.words


def minimum_aberration(factors: int, runs: int) -> Fraction:
    """Give back the fraction with the fewest short defining words.

    Parameters
    ----------
    factors : int
        From 2 to 15.
    runs : int
        4, 8, 16, 32 or 64; 2^factors gives the full factorial.

    Returns
    -------
    Fraction
        ``proved`` up to 32 runs: every kind of fraction of the size was gone through. In 64 runs the best found.

    Raises
    ------
    ModelError
        When there is no such fraction; with the nearest that there is.

    Notes
    -----
    Minimum aberration (A. Fries and W. G. Hunter, Technometrics 22 (1980) 601-608): fewest words of three letters, of
    those fewest of four, and so on.

    Checked against: k05-minimum-aberration-16-runs, k05-fraction-resolution-table; words counted over every choice of
    generators for 8 and 16 runs, tests/unit/numeric/test_fractions.py.
    """
    raise_all(ModelError, "There is no such fraction.", size_faults(factors, runs))
    return based(runs, classes(runs, factors=factors)[0])


@lru_cache(maxsize=256)
def keeping(
    factors: int, runs: int, pairs: tuple[Pair, ...], *, apart: tuple[Pair, ...] = ()
) -> Fraction | None:
    """Give back the fraction of least aberration that keeps the named two-factor interactions apart.

    Parameters
    ----------
    factors, runs : int
        As in ``minimum_aberration``.
    pairs : tuple of pairs of int
        The interactions that are to be clear: aliased with no main effect and no other two-factor interaction.
    apart : tuple of pairs of int
        Interactions for which less is enough: aliased with no main effect and none of the other named ones, for those
        who take every other interaction as nil.

    Returns
    -------
    Fraction or None
        None when no fraction of that size does (up to 32 runs by going through all of them).

    Raises
    ------
    ModelError
        When the size or a pair is out of range.

    Notes
    -----
    Kinds of fractions are gone through from the least aberration up; in each, factors are given columns one by one so
    that every named pair is kept, until that succeeds or every way was tried.

    Checked against: fractions tried one by one over all columns of 8 and 16 runs, tests/unit/numeric/test_fractions.py.
    """
    faults = size_faults(factors, runs)
    for one, other in (*pairs, *apart):
        if not (0 <= one < factors and 0 <= other < factors) or one == other:
            expected = f"two of the factors 0 to {factors - 1}"
            faults.append(Fault("interactions", f"({one}, {other}) was given", expected))
    raise_all(ModelError, "The fraction cannot be looked for.", faults)
    clear = sorted({(min(pair), max(pair)) for pair in pairs})
    weak = sorted({(min(pair), max(pair)) for pair in apart} - set(clear))
    for held in classes(runs, factors=factors):
        given = placed(clear, weak, held)
        if given is not None:
            return based(runs, tuple(held[at] for at in given), keep=True)
    return None


def smallest(factors: int, resolution: int) -> int | None:
    """Give back the fewest runs in which so many factors can have a resolution; None when 64 do not do.

    Parameters
    ----------
    factors : int
        From 2 to 15.
    resolution : int
        3 or more; the full factorial has any.

    Checked against: the summary table of the NIST/SEMATECH e-Handbook (5.3.3.4.7), through
    k05-fraction-resolution-table, tests/reference/test_fraction_cases.py.
    """
    for runs in BASICS:
        if size_faults(factors, runs):
            continue
        found = minimum_aberration(factors, runs).resolution
        if found is None or found >= resolution:
            return runs
    return None


def _clear_of(held: Columns) -> tuple[Pair, ...]:
    """The clear two-factor interactions of a set of columns, by places in it."""
    taken = set(held)
    at: dict[int, list[Pair]] = {}
    for pair in combinations(range(len(held)), 2):
        at.setdefault(held[pair[0]] ^ held[pair[1]], []).append(pair)
    return tuple(pairs[0] for product, pairs in at.items() if len(pairs) == 1 and product not in taken)


def placed(
    clear: Sequence[Pair], apart: Sequence[Pair], held: Columns, *, among: Sequence[set[int]] | None = None
) -> list[int] | None:
    """Give back a place for each factor such that every pair asked for is kept; None when there is no way.

    Parameters
    ----------
    clear, apart : sequence of pairs of int
        As ``pairs`` and ``apart`` of ``keeping``.
    held : tuple of int
        The columns of a fraction.
    among : sequence of set of int, optional
        For each factor the places that it may take; alike or without a place in common. None: any.

    Returns
    -------
    list of int or None

    Notes
    -----
    Checked against: fractions tried one by one, tests/unit/numeric/test_fractions.py, test_plot_fractions.py.
    """
    allowed = [set(range(len(held)))] * len(held) if among is None else among
    factors, main = len(held), set(held)
    every = [pair for pair in combinations(range(factors), 2) if held[pair[0]] ^ held[pair[1]] not in main]
    beside = {True: _neighbours(factors, _clear_of(held)), False: _neighbours(factors, every)}
    wanted = {True: _neighbours(factors, clear), False: _neighbours(factors, apart)}
    order = _connected({at: wanted[True][at] | wanted[False][at] for at in range(factors)})
    place: dict[int, int] = {}

    def settle(step: int, taken: frozenset[int]) -> bool:
        """Places for the factors from ``step`` on; ``taken`` are the columns of pairs already placed."""
        if step == len(order):
            return True
        factor = order[step]
        near = {kind: [place[other] for other in wanted[kind][factor] if other in place] for kind in wanted}
        free = allowed[factor] - set(place.values())
        for kind, places in near.items():
            free = free.intersection(*(beside[kind][at] for at in places))
        for at in sorted(free):
            own = [held[at] ^ held[other] for places in near.values() for other in places]
            short = any(len(beside[kind][at]) < len(wanted[kind][factor]) for kind in wanted)
            if short or len(set(own) - taken) < len(own):
                continue
            place[factor] = at
            if settle(step + 1, taken | set(own)):
                return True
            del place[factor]
        return False

    if not settle(0, frozenset()):
        return None
    for factor in range(factors):
        if factor not in place:
            place[factor] = min(allowed[factor] - set(place.values()))
    return [place[factor] for factor in range(factors)]


def _neighbours(factors: int, pairs: Sequence[Pair]) -> dict[int, set[int]]:
    """Which factors each is paired with."""
    made: dict[int, set[int]] = {at: set() for at in range(factors)}
    for one, other in pairs:
        made[one].add(other)
        made[other].add(one)
    return made


def _connected(wanted: dict[int, set[int]]) -> list[int]:
    """The factors of the pairs, each next to one before it where there is one, those in most pairs first."""
    left = [at for at in sorted(wanted, key=lambda at: (-len(wanted[at]), at)) if wanted[at]]
    order: list[int] = []
    while left:
        step = next((at for at in left if wanted[at] & set(order)), left[0])
        order.append(step)
        left.remove(step)
    return order


def based(runs: int, held: Columns, *, keep: bool = False) -> Fraction:
    """Give back the fraction of a set of columns with basic columns 1, 2, 4, ... of its own.

    Parameters
    ----------
    runs : int
    held : tuple of int
    keep : bool
        True leaves the factors where they are; otherwise the basic columns are given to the first factors.

    Notes
    -----
    Checked against: word lengths before and after, tests/unit/numeric/test_plot_fractions.py.
    """
    basis: list[tuple[int, int]] = []
    mine: list[int] = []
    for at, column in enumerate(held):
        left, made = column, 0
        for one, sums in basis:
            if left ^ one < left:
                left, made = left ^ one, made ^ sums
        if left:
            made ^= 1 << len(basis)
            basis.append((left, made))
            basis.sort(reverse=True)
            mine.append(at)
    made = [_in_basis(column, basis) for column in held]
    if keep:
        return Fraction(runs, tuple(made))
    first = [made[at] for at in mine]
    return Fraction(runs, (*first, *sorted(value for value in made if value not in first)))


def _in_basis(column: int, basis: Sequence[tuple[int, int]]) -> int:
    """A column as a sum of basic columns."""
    left, made = column, 0
    for one, sums in basis:
        if left ^ one < left:
            left, made = left ^ one, made ^ sums
    return made


def size_faults(factors: int, runs: int) -> list[Fault]:
    """Give back why there is no fraction of a size, with the nearest there is; nothing when there is one.

    Notes
    -----
    Checked against: tests/unit/numeric/test_fractions.py.
    """
    if not 2 <= factors <= MOST_FACTORS:
        return [Fault("factors", f"{factors} at two levels", f"2 to {MOST_FACTORS}")]
    fit = [count for count in BASICS if factors < count <= 2**factors]
    if runs in fit:
        return []
    if runs not in BASICS:
        why = f"{runs} runs; a regular fraction has 4, 8, 16, 32 or 64"
    elif runs <= factors:
        why = f"{runs} runs for {factors} main effects and the mean, which are {factors + 1} terms"
    else:
        why = f"{runs} runs, but all {factors} factors have only {2**factors} combinations"
    return [Fault("runs", why, " or ".join(map(str, fit)) or "a full factorial")]
