"""Two-level regular fractions whose factors belong to units of several runs: builds, parts, fills, then runs.

May import numpy and the error classes. Factors are numbers from 0 up; the layer of a factor is 0 for the coarsest unit,
and the last for the run.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import fractions
from toolkit.numeric.fraction_classes import BASICS, PROVED, Columns, classes
from toolkit.numeric.fractions import Effect, Fraction, Pair

Layers = tuple[int, ...]


@dataclass(frozen=True)
class PlotFraction:
    """A fraction whose coarser factors stay the same within units.

    Attributes
    ----------
    fraction : Fraction
        Columns by factor.
    layers : tuple of int
        The layer of each factor.
    spaces : tuple of frozenset of int
        For each layer but the last the columns that are constant within its units, 0 among them: the coarsest first.
    """

    fraction: Fraction
    layers: Layers
    spaces: tuple[frozenset[int], ...]

    @property
    def units(self) -> tuple[int, ...]:
        """How many units of each layer one set takes; of the last: its runs."""
        return (*(len(space) for space in self.spaces), self.fraction.runs)

    def layer_of(self, column: int) -> int:
        """The layer in which a column is judged: the coarsest within whose units it stays the same."""
        return next((at for at, space in enumerate(self.spaces) if column in space), len(self.spaces))

    def unit_of(self, layer: int) -> tuple[int, ...]:
        """The number of the unit of a layer that each run belongs to, in standard order, from 0 up."""
        basis = _basis(self.spaces[layer])
        marks = [tuple((column & run).bit_count() & 1 for column in basis) for run in range(self.fraction.runs)]
        number = {mark: at for at, mark in enumerate(dict.fromkeys(marks))}
        return tuple(number[mark] for mark in marks)

    @property
    def words_of_units(self) -> tuple[Effect, ...]:
        """Defining words of factors of the coarsest layer alone: what these are a fraction of."""
        own = {at for at, layer in enumerate(self.layers) if layer == 0}
        return tuple(word for word in self.fraction.words if set(word) <= own)

    @property
    def taken_up(self) -> tuple[Pair, ...]:
        """Interactions of two with a factor of a finer layer that are the same within units of a coarser one."""
        held = self.fraction.columns
        return tuple(
            pair
            for pair in combinations(range(len(held)), 2)
            if self.layer_of(held[pair[0]] ^ held[pair[1]]) < max(self.layers[at] for at in pair)
        )

    @property
    def proved(self) -> bool:
        """True where every other such fraction was gone through."""
        return self.fraction.runs <= PROVED or not self.fraction.words


@lru_cache(maxsize=128)
def in_plots(
    layers: Layers, runs: int, units: tuple[int, ...], *, clear: tuple[Pair, ...] = (), apart: tuple[Pair, ...] = ()
) -> PlotFraction | None:
    """Give back the fraction of least aberration whose coarser factors stay the same within so many units.

    Parameters
    ----------
    layers : tuple of int
        The layer of each factor: 0 for the coarsest unit, the last for the run; none is left out.
    runs : int
        8, 16, 32 or 64.
    units : tuple of int
        Units of each layer but the last in one set: powers of 2, rising.
    clear, apart : tuple of pairs of int
        As ``pairs`` and ``apart`` of ``fractions.keeping``.

    Returns
    -------
    PlotFraction or None
        None when there is none (up to 32 runs by going through all). Of several with as few short words the one whose
        coarsest factors have the fewest short words among themselves, then the one with the fewest interactions of two
        given up to coarser units.

    Raises
    ------
    ModelError
        When the numbers are out of range.

    Notes
    -----
    Minimum aberration for split-plot fractions as D. Bingham and R. R. Sitter (Technometrics 41 (1999) 62-70, from
    memory): words of all factors count alike; a generator of a coarser factor holds coarser factors alone, since its
    column must be constant within units. Every kind of fraction is gone through with every chain of spaces of columns.

    Checked against: every choice of generators for 8 and 16 runs, tests/unit/numeric/test_plot_fractions.py.
    """
    raise_all(ModelError, "The fraction cannot be looked for.", _faults(layers, runs, units))
    wanted_clear = sorted({(min(pair), max(pair)) for pair in clear})
    wanted_apart = sorted({(min(pair), max(pair)) for pair in apart} - set(wanted_clear))
    sizes = [layers.count(layer) for layer in range(len(units) + 1)]
    best: tuple[object, PlotFraction] | None = None
    lengths: tuple[int, ...] | None = None
    for held in classes(runs, factors=len(layers)):
        own = Fraction(runs, held).word_lengths if best is not None else ()
        if best is not None and own != lengths:
            break
        for spaces in _chains(BASICS[runs], units):
            found = _layered(held, spaces, sizes)
            if found is None:
                continue
            among = [{at for at, layer in enumerate(found) if layer == wanted} for wanted in layers]
            given = fractions.placed(wanted_clear, wanted_apart, held, among=among)
            if given is None:
                continue
            made = _based(runs, tuple(held[at] for at in given), spaces, layers)
            rank = (_lengths(made.words_of_units, len(layers)), len(made.taken_up))
            if best is None or rank < best[0]:
                best, lengths = (rank, made), made.fraction.word_lengths
    return None if best is None else best[1]


def most_units(layers: Layers, runs: int) -> tuple[int, ...]:
    """Give back how many units of each layer a set takes where coarser factors are run in all their combinations.

    Parameters
    ----------
    layers : tuple of int
    runs : int

    Returns
    -------
    tuple of int
        No more than leave every unit two of the next finer ones.

    Notes
    -----
    Checked against: counts by hand, tests/unit/numeric/test_plot_fractions.py.
    """
    basics, last = BASICS[runs], max(layers)
    made: list[int] = []
    for layer in range(last):
        factors = sum(1 for one in layers if one <= layer)
        made.append(min(factors, basics - (last - layer)))
    return tuple(1 << one for one in made)


def _layered(held: Columns, spaces: Sequence[frozenset[int]], sizes: Sequence[int]) -> list[int] | None:
    """The layer of each column; None where a layer has another number of them, or they do not span its space."""
    found = [next((at for at, space in enumerate(spaces) if column in space), len(spaces)) for column in held]
    if any(found.count(layer) != size for layer, size in enumerate(sizes)):
        return None
    for at, space in enumerate(spaces):
        if 1 << len(_basis([column for column, layer in zip(held, found, strict=True) if layer <= at])) != len(space):
            return None
    return found


def _based(runs: int, held: Columns, spaces: Sequence[frozenset[int]], layers: Layers) -> PlotFraction:
    """The fraction with basic columns of its own, those of coarser factors first."""
    order = sorted(range(len(held)), key=lambda at: (layers[at], at))
    turned = fractions.based(runs, tuple(held[at] for at in order), keep=True)
    columns = [0] * len(held)
    for place, at in enumerate(order):
        columns[at] = turned.columns[place]
    made = Fraction(runs, tuple(columns))
    own = []
    for layer in range(len(spaces)):
        space = {0}
        for at, column in enumerate(columns):
            if layers[at] <= layer:
                space |= {one ^ column for one in space}
        own.append(frozenset(space))
    return PlotFraction(made, layers, tuple(own))


@lru_cache(maxsize=64)
def _chains(basics: int, units: tuple[int, ...]) -> tuple[tuple[frozenset[int], ...], ...]:
    """Every chain of spaces of columns of these sizes, each in the next."""
    chains: list[tuple[frozenset[int], ...]] = [()]
    for size in units:
        chains = [
            (*chain, space)
            for chain in chains
            for space in _spaces(basics, size.bit_length() - 1)
            if not chain or chain[-1] < space
        ]
    return tuple(chains)


@lru_cache(maxsize=64)
def _spaces(basics: int, dimension: int) -> tuple[frozenset[int], ...]:
    """Every space of so many dimensions, as the columns in it, 0 among them."""
    if dimension == 0:
        return (frozenset({0}),)
    larger: dict[frozenset[int], None] = {}
    for space in _spaces(basics, dimension - 1):
        for column in range(1, 1 << basics):
            if column not in space:
                larger[space | {one ^ column for one in space}] = None
    return tuple(larger)


def _basis(columns: Iterator[int] | Sequence[int] | frozenset[int]) -> list[int]:
    """Columns that span the others, the lowest first."""
    basis: list[int] = []
    kept: list[int] = []
    for value in sorted(columns):
        left = value
        for one in basis:
            left = min(left, left ^ one)
        if left:
            basis.append(left)
            kept.append(value)
    return kept


def _lengths(words: Sequence[Effect], factors: int) -> tuple[int, ...]:
    """How many words have 3, 4, ... letters."""
    sizes = [len(word) for word in words]
    return tuple(sizes.count(size) for size in range(3, factors + 1))


def _faults(layers: Layers, runs: int, units: tuple[int, ...]) -> list[Fault]:
    """Numbers out of range."""
    if runs not in BASICS:
        return [Fault("runs", f"{runs} were given", "4, 8, 16, 32 or 64")]
    made = fractions.size_faults(len(layers), runs)
    if sorted(set(layers)) != list(range(len(units) + 1)):
        made.append(Fault("layers", f"{sorted(set(layers))} for {len(units) + 1} units", "a factor of every unit"))
        return made
    for at, (size, above) in enumerate(zip(units, (1, *units), strict=False)):
        own = sum(1 for layer in layers if layer <= at)
        most = min(own, BASICS[runs] - (len(units) - at))
        fit = [1 << power for power in range(1, most + 1) if 1 << power > above]
        if size not in fit:
            expected = " or ".join(map(str, fit)) or "more runs in a set"
            made.append(Fault(f"units {at + 1}", f"{size} for {own} factors in {runs} runs", expected))
    return made
