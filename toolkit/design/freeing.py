"""The fewest further runs that tell named effects of a two-level plan apart from their aliases (rank 3)."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product

import numpy as np

from toolkit.brief.model import Brief
from toolkit.errors import DesignError
from toolkit.numeric import contrasts

Term = tuple[str, ...]
Line = tuple[str, ...]

_EVERY = 8
_ROUNDS = 8
_RIDGE = 1e-6


def runs(
    brief: Brief, main: Sequence[Line], builds: Sequence[int], model: Sequence[Term], named: Sequence[Term]
) -> tuple[Line, ...]:
    """Runs of one new block that make the named effects estimable, as few as can be.

    Parameters
    ----------
    brief : Brief
        Every factor with two levels.
    main : sequence of tuple of str
        One set of the main phase, levels by name.
    builds : sequence of int
        The build of each of its runs.
    model : sequence of Term
        What is to be told: what the main phase tells, and the named effects.
    named : sequence of Term

    Returns
    -------
    tuple of tuple of str
        One more than the model lacks in rank, since the first run of a new block tells nothing but the block.

    Raises
    ------
    DesignError
        When the main phase tells the named effects already, or no runs tell them apart.

    Notes
    -----
    Each run in turn is exchanged for the one that makes the sum over the named effects of their variance and of the
    squares of what they take in of interactions of two left out smallest (bias and variance weighed alike, after
    G. E. P. Box and N. R. Draper, J. Am. Stat. Assoc. 54 (1959) 622-654), until no exchange helps. Nothing is drawn.

    Checked against: ranks counted by numpy alone, and every choice of runs of a small plan gone through,
    tests/unit/design/test_freeing.py.
    """
    model = list(dict.fromkeys(model))
    others = [pair for pair in combinations(brief.factor_names, 2) if pair not in model]
    blocks = np.eye(max(builds) + 1)[list(builds)]
    held = _columns(brief, main, model)
    design = np.hstack([blocks, np.zeros((len(main), 1)), held])
    lacking = design.shape[1] - 1 - contrasts.rank(design)
    if lacking == 0:
        raise DesignError("[extension] free: the main phase tells these effects apart already. Leave them out.")
    tried = _tried(brief, main)
    rows = np.hstack([np.zeros((len(tried), blocks.shape[1])), np.ones((len(tried), 1)), _columns(brief, tried, model)])
    left = (_columns(brief, main, others), _columns(brief, tried, others))
    first = blocks.shape[1] + 1
    places = [first + model.index(term) for term in named]
    chosen = _chosen(design, rows, left, places, lacking + 1)
    whole = np.vstack([design, rows[chosen]])
    if contrasts.rank(whole) < whole.shape[1]:
        raise DesignError("[extension] free: no few runs were found that tell these effects apart; name fewer.")
    return tuple(tried[at] for at in chosen)


def _chosen(
    design: np.ndarray, rows: np.ndarray, left: tuple[np.ndarray, np.ndarray], places: list[int], count: int
) -> list[int]:
    """The rows to add, by exchange."""
    size = design.shape[1]
    square = design.T @ design + _RIDGE * np.eye(size)
    cross = design.T @ left[0]
    chosen: list[int] = []
    for _ in range(count):
        added, mixed = _with(square, cross, rows, left[1], chosen)
        chosen.append(int(np.argmin(_losses(added, mixed, rows, left[1], places))))
    for _ in range(_ROUNDS):
        before = list(chosen)
        for at in range(count):
            rest = chosen[:at] + chosen[at + 1 :]
            added, mixed = _with(square, cross, rows, left[1], rest)
            losses = _losses(added, mixed, rows, left[1], places)
            best = int(np.argmin(losses))
            if losses[best] < losses[chosen[at]] * (1.0 - 1e-9):
                chosen[at] = best
        if chosen == before:
            break
    return sorted(chosen)


def _with(
    square: np.ndarray, cross: np.ndarray, rows: np.ndarray, others: np.ndarray, chosen: Sequence[int]
) -> tuple[np.ndarray, np.ndarray]:
    """The inverse of the information of the runs made and those chosen, and their products with what is left out."""
    own = rows[list(chosen)]
    return np.linalg.inv(square + own.T @ own), cross + own.T @ others[list(chosen)]


def _losses(
    inverse: np.ndarray, mixed: np.ndarray, rows: np.ndarray, others: np.ndarray, places: list[int]
) -> np.ndarray:
    """For each row that could be added: variance and squared aliases of the named effects, summed."""
    reach = rows @ inverse
    scale = 1.0 + np.einsum("ij,ij->i", reach, rows)
    named = inverse[places]
    taken = reach[:, places]
    variance = np.diag(named[:, places]).sum() - (taken**2).sum(axis=1) / scale
    # Aliases of the named effects once the row is in: the inverse is corrected by one outer product.
    plain = named @ mixed
    through = reach @ mixed
    weight = (taken / scale[:, None])[:, :, None]
    shares = plain[None] + weight * (others - through)[:, None, :]
    return variance + (shares**2).sum(axis=(1, 2))


def _columns(brief: Brief, lines: Sequence[Line], terms: Sequence[Term]) -> np.ndarray:
    """Columns of -1 and 1, one a term."""
    names = brief.factor_names
    signs = np.array(
        [[1.0 if level == item.names[1] else -1.0 for item, level in zip(brief.factors, line, strict=True)]
         for line in lines]
    )  # fmt: skip
    made = [signs[:, [names.index(name) for name in term]].prod(axis=1) for term in terms]
    return np.array(made).T.reshape(len(lines), len(terms))


def _tried(brief: Brief, main: Sequence[Line]) -> list[Line]:
    """The combinations that may be added: all of few factors, else those of the main phase with one factor swapped, or
    the factors of an effect to be freed."""
    if len(brief.factors) <= _EVERY:
        return list(product(*(item.names for item in brief.factors)))
    other = [dict(zip(item.names, reversed(item.names), strict=True)) for item in brief.factors]
    made = dict.fromkeys(main)
    names = brief.factor_names
    effects = [tuple(names.index(name) for name in effect) for effect in brief.extension.free]
    for swapped in dict.fromkeys([*combinations(range(len(other)), 1), *effects]):
        for line in main:
            made[tuple(other[at][level] if at in swapped else level for at, level in enumerate(line))] = None
    return list(made)
