"""How many orders of a phase there are, and how many keep limits on their drift: counted exactly, or not at all.

Rank 3. An order is a tree: builds that hold kept parts, fills and runs. Runs that are alike (the same levels; in blocks
also the same build) may stand in each other's place without making another order.
"""

from __future__ import annotations

from collections import Counter
from itertools import product
from math import prod
from typing import Any

import numpy as np

from toolkit.design import strata, units
from toolkit.design.design import Design
from toolkit.numeric import arrangements

# Up to this many arrangements of one part of an order are listed.
MOST_LISTED = 400_000
# Sums of builds are taken together up to this many.
_MOST_SUMS = 3_000_000
# Sums are the same when they agree to this many steps of a correlation.
_STEPS = 1e8

# A leaf is a tuple of runs, what holds more is a list of nodes.
Node = Any


def nodes(design: Design) -> list[Node]:
    """The parts of an order that stay in their place: builds; the whole phase where builds are drawn too."""
    runs, brief = design.strata.runs, design.brief
    blocked = design.strata.of_builds != strata.WHOLE_PLOTS
    first: dict[tuple[str, ...], int] = {}
    names = [*(["build_id"] if blocked else []), *brief.factor_names]
    alike = [first.setdefault(tuple(map(str, row)), at) for at, row in enumerate(runs[names].to_numpy().tolist())]
    chain = [units.codes(brief, runs, unit) for unit in ("build", *units.kept(brief))]
    made = [_node(np.flatnonzero(chain[0] == build), chain[1:], alike) for build in range(int(chain[0].max()) + 1)]
    return made if blocked else [made]


def ways(parts: list[Node]) -> int:
    """The number of orders."""
    return prod(_ways(node) for node in parts)


def kept(
    parts: list[Node], weights: np.ndarray, shapes: np.ndarray, lengths: np.ndarray, most: np.ndarray
) -> int | None:
    """How many orders keep the limits; None where there are too many to be counted.

    Parameters
    ----------
    parts : list
        As ``nodes`` gives them.
    weights, shapes, lengths
        As in ``order_sets.Followed``.
    most : ndarray, shape (4,)
        The limits, with room for rounding.
    """
    if any(_ways(node) > MOST_LISTED for node in parts):
        return None
    at, sums, times = 0, np.zeros((1, 4 * weights.shape[1])), np.ones(1)
    asked = np.repeat((most < 1.0)[:, None], weights.shape[1], axis=1) & np.isfinite(lengths)
    for node in parts:
        listed = arranged(node)
        here = shapes[:, at : at + listed.shape[1]]
        own = np.stack([column[listed] @ here.T for column in np.ascontiguousarray(weights.T)], axis=2) / lengths
        own = np.where(asked, own, 0.0).reshape(len(listed), -1)
        at += listed.shape[1]
        if len(sums) * len(own) > _MOST_SUMS:
            return None
        sums, times = _merged((sums[:, None] + own[None]).reshape(-1, own.shape[1]), np.repeat(times, len(own)))
    good = (np.abs(sums) <= np.repeat(most, weights.shape[1])).all(axis=1)
    # Sums of whole numbers below 2^53 are exact.
    return int(times[good].sum()) if times.sum() < 2.0**53 else None


def arranged(node: Node) -> np.ndarray:
    """Every arrangement of a node, each once, shape (arrangements, runs)."""
    if isinstance(node, tuple):
        kinds = sorted(set(node))
        return np.array(kinds)[arrangements.arrangements([node.count(kind) for kind in kinds])]
    forms = Counter(_form(child) for child in node)
    of = {_form(child): arranged(child) for child in node}
    kinds = sorted(forms)
    rows = []
    for order in arrangements.arrangements([forms[kind] for kind in kinds]):
        pieces = [of[kinds[kind]] for kind in order]
        chosen = np.array(list(product(*(range(len(piece)) for piece in pieces))))
        rows.append(np.hstack([piece[chosen[:, at]] for at, piece in enumerate(pieces)]))
    return np.concatenate(rows)


def _node(runs: np.ndarray, chain: list[np.ndarray], alike: list[int]) -> Node:
    """The tree of some runs."""
    if not chain:
        return tuple(alike[run] for run in runs)
    own = chain[0][runs]
    return [_node(runs[own == unit], chain[1:], alike) for unit in dict.fromkeys(own.tolist())]


def _form(node: Node) -> tuple[Any, ...]:
    """What two nodes that are alike have in common."""
    return tuple(sorted(node)) if isinstance(node, tuple) else tuple(sorted(_form(child) for child in node))


def _ways(node: Node) -> int:
    """In how many ways a node can be arranged."""
    if isinstance(node, tuple):
        return arrangements.number(list(Counter(node).values()))
    forms = Counter(_form(child) for child in node)
    return arrangements.number(list(forms.values())) * prod(_ways(child) for child in node)


def _merged(sums: np.ndarray, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sums that are the same taken together, with how often each came up."""
    steps = np.rint(sums * _STEPS).astype(np.int64)
    # One number for each line of steps: two different lines meet with a chance of one in 10^19 or so.
    turns = np.random.default_rng(0).integers(-(2**63), 2**63 - 1, steps.shape[1], dtype=np.int64) | 1
    key = (steps * turns).sum(axis=1)
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    return sums[first], np.bincount(back.ravel(), weights=times)
