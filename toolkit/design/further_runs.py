"""The runs of an extension that tells more than the main phase, and the terms that both together can tell (rank 3).

Runs are levels by name, a line a run. A phase is a block of its own (each of its builds, where builds are blocks), so a
term counts as told only where the differences between blocks are taken out.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from toolkit.brief import arrays, axial_points, designs, extensions
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import freeing

Term = tuple[str, ...]
Line = tuple[str, ...]

_NIL = 1e-8


def lines(
    brief: Brief, main: Sequence[Line], builds: Sequence[int], told: Sequence[Term]
) -> tuple[tuple[Line, ...], tuple[int, ...]]:
    """One set of runs of the extension, and the build of each within it, from 0 up.

    Parameters
    ----------
    brief : Brief
        With an extension of one of ``brief.extensions.JOINED``.
    main : sequence of tuple of str
        One set of the main phase, centre points left out.
    builds : sequence of int
        The build of each of its runs.
    told : sequence of Term
        What the main phase tells by itself.

    Returns
    -------
    lines : tuple of tuple of str
        Fold-over: the runs of the main phase with the levels of ``swap`` (all) swapped. Semifold: those of them with
        the level of ``half``. Axial points: each factor at its two axial levels, the others at the centre, then the
        centre points. Freeing runs: as ``freeing.runs``.
    builds : tuple of int

    Notes
    -----
    Checked against: k05-bike-2-7-4-foldover, k05-foldover-resolution, tests/reference/test_extended_cases.py.
    """
    given = brief.extension
    if given.design == extensions.AXIAL:
        made = _axial(brief) + [(CENTRE,) * len(brief.factors)] * given.centre_points
        return tuple(made), (0,) * len(made)
    if given.design == extensions.FREEING:
        made = freeing.runs(brief, main, builds, [*told, *named(brief)], named(brief))
        return made, (0,) * len(made)
    swapped = given.swap or brief.factor_names
    kept = dict(given.half) if given.design == extensions.SEMIFOLD else {}
    other = {item.name: dict(zip(item.names, reversed(item.names), strict=True)) for item in brief.factors}
    found, where = [], []
    for line, build in zip(main, builds, strict=True):
        turned = tuple(
            other[name][level] if name in swapped else level
            for name, level in zip(brief.factor_names, line, strict=True)
        )
        if all(turned[brief.factor_names.index(name)] == level for name, level in kept.items()):
            found.append(turned)
            where.append(build)
    return tuple(found), tuple(where)


def named(brief: Brief) -> tuple[Term, ...]:
    """The effects that freeing runs are to tell apart: those named and, of a regular fraction, the main effects and
    interactions of two on their alias chains.

    Notes
    -----
    Checked against: chains by hand, tests/unit/design/test_freeing.py.
    """
    names = brief.factor_names
    asked = [tuple(name for name in names if name in effect) for effect in brief.extension.free]
    found = arrays.fraction_of(brief) if brief.plan.design == designs.FRACTION else None
    if found is None:
        return tuple(dict.fromkeys(asked))
    effects = [one for size in (1, 2) for one in combinations(names, size)]
    chains = {_column(found.columns, names, one) for one in asked}
    return tuple(one for one in effects if _column(found.columns, names, one) in chains)


def terms(
    brief: Brief,
    main: tuple[Sequence[Line], Sequence[int]],
    further: tuple[Sequence[Line], Sequence[int]],
    told: Sequence[Term],
    allowed: Sequence[Term],
) -> tuple[Term, ...]:
    """What the main phase and the extension tell together: one term for each contrast, the shortest first.

    Parameters
    ----------
    brief : Brief
    main, further : (lines, builds)
        One set of each phase.
    told : sequence of Term
        What the main phase tells by itself.
    allowed : sequence of Term
        Every term that the brief does not declare nil, main effects first.

    Returns
    -------
    tuple of Term
        In the order of ``allowed``. A term is taken in when every degree of freedom of it is told apart from the
        blocks and from the terms before it; named interactions go before others of their length.

    Notes
    -----
    Checked against: chains counted over every product of columns, tests/reference/test_extended_cases.py.
    """
    runs, blocks = _together(brief, main, further)
    basis, _ = _taken_in(np.zeros((len(runs), 0)), np.eye(max(blocks) + 1)[blocks])
    parts, found = _parts(brief, runs), []
    for term in _candidates(brief, told, allowed):
        if basis.shape[1] == len(runs):
            break
        # A square belongs to its main effect; interactions are products of slopes.
        block = parts[term[0]] if len(term) == 1 else np.prod([parts[name][:, :1] for name in term], axis=0)
        basis, whole = _taken_in(basis, block)
        if whole:
            found.append(term)
    return tuple(term for term in allowed if term in found)


def words(brief: Brief) -> tuple[tuple[int, ...], ...] | None:
    """The defining words of a regular fraction with its whole mirror image, by number of factor; None elsewhere.

    Returns
    -------
    tuple of tuple of int or None
        The words of the main phase that keep their sign: those with an even number of the factors that are swapped.

    Notes
    -----
    G. E. P. Box and J. S. Hunter, Technometrics 3 (1961) 311-351.

    Checked against: k05-foldover-resolution, tests/reference/test_extended_cases.py.
    """
    if brief.extension.design != extensions.FOLD or brief.plan.design != designs.FRACTION:
        return None
    found = arrays.fraction_of(brief)
    swapped = {brief.factor_names.index(name) for name in brief.extension.swap or brief.factor_names}
    return None if found is None else tuple(word for word in found.words if len(swapped.intersection(word)) % 2 == 0)


def asked(brief: Brief) -> tuple[Term, ...]:
    """Interactions of two that comparisons or ``keep_clear`` name, and what the extension is to free.

    Notes
    -----
    Checked against: as ``terms``.
    """
    pairs = [tuple(item.interaction) for item in brief.comparisons if item.interaction] + list(brief.plan.keep_clear)
    own = named(brief) if brief.extension.design == extensions.FREEING else ()
    return (*own, *(tuple(name for name in brief.factor_names if name in pair) for pair in pairs))


def _candidates(brief: Brief, told: Sequence[Term], allowed: Sequence[Term]) -> list[Term]:
    """The terms that may be told, in the order they are tried."""
    kind, wanted = brief.extension.design, asked(brief)
    ordered = sorted(allowed, key=lambda term: (len(term), term not in wanted))
    if kind == extensions.AXIAL:
        return [term for term in ordered if len(term) <= 2 or term in wanted]
    if kind == extensions.FREEING:
        return [term for term in ordered if len(term) == 1 or term in wanted or term in told]
    if brief.plan.design != designs.FRACTION:
        # What is aliased in part is left to the error, but for interactions of a factor that is swapped alone.
        alone = set(brief.extension.swap if len(brief.extension.swap) == 1 else ())
        return [term for term in ordered if len(term) == 1 or term in wanted or (len(term) == 2 and alone & set(term))]
    if kind == extensions.SEMIFOLD:
        return [term for term in ordered if len(term) <= 2 or term in told]
    return ordered


def _together(
    brief: Brief, main: tuple[Sequence[Line], Sequence[int]], further: tuple[Sequence[Line], Sequence[int]]
) -> tuple[list[Line], list[int]]:
    """The runs of one set of both phases with their blocks, numbered from 0."""
    runs, blocks = list(main[0]), list(main[1])
    if brief.extension.design == extensions.AXIAL and brief.plan.centre_points:
        first = min(blocks)
        runs, blocks = [*runs, (CENTRE,) * len(brief.factors)], [*blocks, first]
    after = max(blocks) + 1
    return [*runs, *further[0]], [*blocks, *(after + build for build in further[1])]


def _parts(brief: Brief, runs: Sequence[Line]) -> dict[str, np.ndarray]:
    """The columns of each factor: -1 and 1; beside axial points slope and square."""
    made = {}
    for place, item in enumerate(brief.factors):
        steps = {item.names[0]: -1.0, item.names[1]: 1.0, CENTRE: 0.0}
        squared = brief.extension.design == extensions.AXIAL
        held = [line[place] for line in runs]
        column = np.array([steps[one] if one in steps else axial_points.coded(item, one) for one in held])
        made[item.name] = np.column_stack([column, column**2]) if squared else column[:, None]
    return made


def _taken_in(basis: np.ndarray, block: np.ndarray) -> tuple[np.ndarray, bool]:
    """An orthonormal basis with what is new of some columns; True where each of them is new."""
    whole = True
    made = basis
    for column in block.T:
        rest = column - made @ (made.T @ column)
        rest -= made @ (made.T @ rest)
        size = float(np.linalg.norm(rest))
        if size > _NIL * max(1.0, float(np.linalg.norm(column))):
            made = np.column_stack([made, rest / size])
        else:
            whole = False
    # A term that is told in part only is left out whole.
    return (made, True) if whole or not basis.shape[1] else (basis, False)


def _axial(brief: Brief) -> list[Line]:
    """Each factor at its two axial levels, the others at the centre."""
    made = []
    for place, item in enumerate(brief.factors):
        for level in axial_points.levels(brief, item):
            line = [CENTRE] * len(brief.factors)
            line[place] = level
            made.append(tuple(line))
    return made


def _column(columns: Sequence[int], names: Sequence[str], effect: Term) -> int:
    """The column of an effect of a regular fraction."""
    made = 0
    for name in effect:
        made ^= columns[names.index(name)]
    return made
