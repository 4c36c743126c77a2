"""The set of runs behind the brief's design, and the terms that set can tell: in one place for plan, size and analysis.

Rank 3. A full factorial has every combination and every term. The other designs run a part of the combinations; their
terms are those that are told apart, one for each contrast, and ``design.alias_words`` says what else each could be.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from toolkit.brief import arrays, axial_points, designs, extensions, plots
from toolkit.brief import optimal as optimal_brief
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import further_runs
from toolkit.design import optimal as optimal_design
from toolkit.errors import DesignError
from toolkit.numeric import fraction_blocks, screening, surfaces
from toolkit.numeric.fractions import Fraction
from toolkit.numeric.plot_fractions import PlotFraction

Term = tuple[str, ...]
Line = tuple[str, ...]

_ROMAN = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII", 8: "VIII"}
_MOST_KEPT = 64


@dataclass(frozen=True, eq=False)
class Base:
    """One set of runs, before it is repeated.

    Attributes
    ----------
    name : str
        What the design is called: 'two-level fraction 2^(7-4), resolution III'.
    lines : tuple of tuple of str
        The level of each factor, a line a run; runs may stand several times (centre runs).
    builds : tuple of int
        The build of each run within the set, from 0 up; all 0 where a build holds the whole set.
    terms : tuple of Term
        What the set can tell, main effects first; without those that the brief declares nil.
    centres : int
        Centre runs that belong to the set itself.
    fraction : Fraction or None
        Behind a two-level fraction.
    plots : PlotFraction or None
        The same with its units, where a factor is kept over several runs.
    further, further_builds : tuple
        One set of the runs of an extension that tells more than the main phase, and the build of each within it; the
        terms are then those that both phases tell together.
    """

    name: str
    lines: tuple[Line, ...]
    builds: tuple[int, ...]
    terms: tuple[Term, ...]
    centres: int = 0
    fraction: Fraction | None = None
    plots: PlotFraction | None = None
    further: tuple[Line, ...] = ()
    further_builds: tuple[int, ...] = ()

    @property
    def spread(self) -> int:
        """Over how many builds one set is spread."""
        return max(self.builds) + 1


_kept: OrderedDict[str, Base] = OrderedDict()


def alone(brief: Brief) -> Brief:
    """The brief without its extension: what the phases before it are laid out and told by."""
    return replace(brief, extension=None)


def joined(brief: Brief) -> bool:
    """True where the main phase and its extension together tell more than the main phase does."""
    return brief.extension is not None and brief.extension.design in extensions.JOINED


def with_axial_points(brief: Brief) -> bool:
    """True where the extension adds axial points to two levels."""
    return axial_points.there(brief)


def part(brief: Brief) -> bool:
    """True where the brief's design runs a part of the combinations, or axial points beside them."""
    return brief.plan.design not in (designs.FULL, *designs.IN_BUILDS) or with_axial_points(brief)


def second_order(brief: Brief) -> bool:
    """True where factors stand in the model as slope and square, and interactions as a product of slopes."""
    return brief.plan.design in (*designs.SECOND_ORDER, designs.THREE_LEVELS) or with_axial_points(brief)


def of_brief(brief: Brief) -> Base:
    """The set of runs of the brief's design; not for a full factorial.

    Raises
    ------
    DesignError
        When the brief has no such set (``brief.checks`` tells it with its line in the file).

    Notes
    -----
    Checked against: tests/unit/design/test_base.py (sizes, orthogonality, what is estimable by rank).
    """
    # As text, since a brief built in Python may hold lists.
    further = brief.extension if joined(brief) else None
    key = repr((brief.plan, brief.factors, [item.interaction for item in brief.comparisons], further))
    if optimal_design.used(brief):
        key += optimal_design.key(brief)
    if key not in _kept:
        _kept[key] = _made(brief) if further is None else _with_extension(brief)
        if len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    return _kept[key]


def sloped(brief: Brief) -> frozenset[str]:
    """The factors that stand in the model as slope and square; interactions then hold their slope.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py, tests/unit/design/test_terms.py.
    """
    return frozenset(brief.factor_names) if second_order(brief) else optimal_brief.sloped(brief)


def terms(brief: Brief) -> tuple[Term, ...]:
    """What the brief's set can tell; of an optimal design by its stated model, without searching for it.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    if optimal_design.used(brief) and not joined(brief):
        return optimal_brief.terms(brief)
    return of_brief(brief).terms


def unit_of_contrast(brief: Brief, term: Term) -> str | None:
    """The coarser unit within which a term of a two-level fraction is the same in all runs; None where there is none.

    Notes
    -----
    Checked against: tests/unit/design/test_plots_fraction.py (columns looked at in every unit).
    """
    laid = of_brief(brief).plots if plots.used(brief) else None
    if laid is None or any(name not in brief.factor_names for name in term):
        return None
    column = 0
    for name in term:
        column ^= laid.fraction.columns[brief.factor_names.index(name)]
    layer = laid.layer_of(column)
    return None if layer == len(laid.spaces) else plots.chain(brief)[layer]


def lines(brief: Brief) -> tuple[Line, ...]:
    """The different combinations that the brief's design runs, centre points left out, each once.

    Notes
    -----
    Checked against: tests/unit/design/test_base.py.
    """
    if not part(brief):
        return brief.combinations
    held = of_brief(brief)
    return tuple(dict.fromkeys((*held.lines, *(line for line in held.further if set(line) != {CENTRE}))))


def steps(brief: Brief) -> dict[str, dict[str, float]]:
    """Factor to level to its coded value, where factors stand in the model as slope and square.

    Notes
    -----
    Checked against: tests/unit/design/test_base.py.
    """
    made = {}
    if with_axial_points(brief):
        for factor in brief.factors:
            names = dict.fromkeys((*factor.names, *axial_points.levels(brief, factor)))
            made[factor.name] = {name: axial_points.coded(factor, name) for name in names} | {CENTRE: 0.0}
        return made
    slopes = optimal_brief.sloped(brief)
    for factor in brief.factors:
        values = arrays.coded(factor) if factor.numeric else (-1.0, 0.0, 1.0)
        if optimal_design.used(brief):
            if factor.name not in slopes:
                continue
            values = optimal_brief.coded(factor)
        made[factor.name] = {**dict(zip(factor.names, values, strict=True)), CENTRE: 0.0}
    return made


def _with_extension(brief: Brief) -> Base:
    """The set of the main phase with that of the extension beside it, and what both tell together."""
    if brief.plan.design == designs.FULL:
        lines = brief.combinations
        held = Base("full factorial", lines, (0,) * len(lines), _allowed(brief, len(brief.factors)))
    else:
        held = _made(brief)
    further = further_runs.lines(brief, held.lines, held.builds, held.terms)
    allowed = _allowed(brief, len(brief.factors))
    terms = further_runs.terms(brief, (held.lines, held.builds), further, held.terms, allowed)
    return replace(held, terms=terms, further=further[0], further_builds=further[1])


def _made(brief: Brief) -> Base:
    """The set, by the word of the design."""
    kind = brief.plan.design
    if kind == designs.FRACTION:
        return _fraction(brief)
    if kind == designs.PLACKETT_BURMAN:
        runs = arrays.plackett_burman_runs(brief)
        if runs is None:
            raise DesignError(
                f"{len(brief.factors)} factors: more than a Plackett-Burman plan of 24 runs holds. Leave some out, or "
                f"choose another design."
            )
        levels = screening.plackett_burman(len(brief.factors), runs)
        return Base(f"Plackett-Burman, {runs} runs a set", _two_level(brief, levels), (0,) * runs, _allowed(brief, 1))
    if kind == designs.THREE_LEVELS:
        points = screening.three_level(len(brief.factors))
        name = f"three-level screening, {len(points)} runs a set"
        return Base(name, _three_level(brief, points), (0,) * len(points), _allowed(brief, 1))
    if kind == designs.EIGHTEEN:
        return _eighteen(brief)
    if kind == designs.OPTIMAL:
        held = optimal_design.searched(brief)
        return Base(held.name, held.lines, held.builds, optimal_brief.terms(brief))
    return _surface(brief)


def _fraction(brief: Brief) -> Base:
    """A two-level fraction, over builds where it is spread."""
    found = arrays.fraction_of(brief)
    if found is None:
        raise DesignError(
            f"no fraction of {len(brief.factors)} factors in {brief.plan.runs} runs keeps what [plan] keep_clear and "
            f"the comparisons ask to keep apart; take more runs, or keep fewer."
        )
    blocks, lost = (0,) * found.runs, frozenset[int]()
    laid_out = arrays.in_units(brief)
    if laid_out is not None and plots.chain(brief)[0] == "build":
        blocks = laid_out.unit_of(0)
    elif brief.plan.split_over > 1:
        keep = (*arrays.kept_pairs(brief), *arrays.asked_pairs(brief))
        laid = fraction_blocks.in_blocks(found, brief.plan.split_over, keep=keep)
        blocks, lost = tuple(int(one) for one in laid.blocks), _spanned(found, laid)
    dropped = found.factors - (found.runs.bit_length() - 1)
    name = f"two-level fraction 2^({found.factors}-{dropped})" if dropped else f"2^{found.factors}"
    if found.resolution is not None:
        name += f", resolution {_ROMAN.get(found.resolution, str(found.resolution))}"
    return Base(
        f"{name}, {found.runs} runs a set",
        _two_level(brief, found.levels),
        blocks,
        _contrasts(brief, found, lost, laid_out),
        fraction=found,
        plots=laid_out,
    )


def _spanned(found: Fraction, laid: fraction_blocks.Blocking) -> frozenset[int]:
    """The columns that are the same as a difference between builds."""
    return frozenset(
        column
        for column in range(1, found.runs)
        if len({(laid.blocks[run], (column & run).bit_count() & 1) for run in range(found.runs)})
        == len(set(laid.blocks.tolist()))
    )


def _contrasts(
    brief: Brief, found: Fraction, lost: frozenset[int], laid: PlotFraction | None
) -> tuple[Term, ...]:
    """One term for each contrast of a fraction: the shortest that is not declared nil, those asked for first.

    Of several names as short a contrast between units takes one of the factors that are changed with them.
    """
    asked = [*arrays.kept_pairs(brief), *arrays.asked_pairs(brief)]
    allowed = _allowed(brief, found.factors)
    names = brief.factor_names
    first = [tuple(names[at] for at in pair) for pair in asked]
    layer = {name: 0 if laid is None else laid.layers[at] for at, name in enumerate(names)}
    order = sorted(
        allowed, key=lambda term: (len(term), term not in first, max(layer[name] for name in term))
    )
    taken: dict[int, Term] = {}
    for term in order:
        column = 0
        for name in term:
            column ^= found.columns[names.index(name)]
        if column and column not in lost:
            taken.setdefault(column, term)
    chosen = set(taken.values())
    return tuple(term for term in allowed if term in chosen)


def _eighteen(brief: Brief) -> Base:
    """The 18-run array; the interaction of the two-level with a three-level factor where it is to be kept clear."""
    two = [item for item in brief.factors if len(item.levels) == 2]
    kept = [frozenset(pair) for pair in brief.plan.keep_clear]
    three = [item for item in brief.factors if len(item.levels) == 3]
    if len(two) > 1 or len(two) + len(three) < len(brief.factors):
        raise DesignError(
            "the 18-run array takes one factor of two levels at most, the others of three. Choose another design "
            "([plan] design), or give the factors so many levels."
        )
    # The first three-level column is the one whose interaction with the two-level column is free.
    free = [item for item in three if two and frozenset((two[0].name, item.name)) in kept]
    if len(free) < len(kept) or len(free) > 1:
        raise DesignError(
            "keep_clear in an 18-run array: only one interaction, of the two-level factor with one factor of three "
            "levels, can be told. Leave the others out of [plan] keep_clear."
        )
    order = [*two, *free, *(item for item in three if item not in free)]
    array = screening.eighteen(len(three), two=bool(two))
    at = [order.index(item) for item in brief.factors]
    rows = tuple(
        tuple(factor.names[row[place]] for factor, place in zip(brief.factors, at, strict=True)) for row in array
    )
    terms = _allowed(brief, 1)
    if free:
        terms = (*terms, tuple(name for name in brief.factor_names if name in (two[0].name, free[0].name)))
    return Base("18-run array of two and three levels", rows, (0,) * 18, terms)


def _surface(brief: Brief) -> Base:
    """A central composite or Box-Behnken plan."""
    laid = arrays.surface_of(brief)
    where = arrays.steps_of(brief)
    rows = tuple(
        tuple(
            factor.names[int(np.argmin(np.abs(np.array(where) - value)))]
            for factor, value in zip(brief.factors, point, strict=True)
        )
        for point in laid.points
    )
    kind = brief.plan.design
    if kind == designs.COMPOSITE:
        told = {surfaces.BLOCKED: "in orthogonal blocks"}.get(brief.plan.axial, brief.plan.axial)
        kind = f"central composite, {told}"
    name = f"{kind}, {len(rows)} runs a set"
    blocks = tuple(int(one) for one in laid.blocks)
    if brief.plan.split_over == 1:
        blocks = (0,) * len(rows)
    return Base(name, rows, blocks, _allowed(brief, 2), centres=laid.part.count("centre"))


def _two_level(brief: Brief, levels: np.ndarray) -> tuple[Line, ...]:
    """Runs of -1 and 1 by level names, the second level being the high one."""
    return tuple(
        tuple(factor.names[int(value > 0)] for factor, value in zip(brief.factors, row, strict=True)) for row in levels
    )


def _three_level(brief: Brief, points: np.ndarray) -> tuple[Line, ...]:
    """Runs of -1, 0 and 1 by level names."""
    return tuple(
        tuple(factor.names[int(value) + 1] for factor, value in zip(brief.factors, row, strict=True)) for row in points
    )


def _allowed(brief: Brief, most: int) -> tuple[Term, ...]:
    """Terms of up to ``most`` factors that the brief does not declare nil, main effects first."""
    top = min(most, brief.plan.interactions_up_to or most)
    nil = [frozenset(item) for item in brief.plan.nil_interactions]
    every: Sequence[Term] = [
        term for size in range(1, top + 1) for term in combinations(brief.factor_names, size)
    ]
    return tuple(term for term in every if not any(item <= frozenset(term) for item in nil))

