"""What looks in between would see of a campaign that has nothing to show (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from toolkit.design import units
from toolkit.design.strata import Strata
from toolkit.numeric._bases import Floats
from toolkit.size._drawing import multipliers
from toolkit.size._judging import Judging
from toolkit.size.scatter import Scatter


def p_values(
    laid: Strata, scatter: Scatter, rows: Sequence[np.ndarray], campaigns: int, seed: Sequence[int]
) -> tuple[Floats, Floats]:
    """Two-sided p of every question after every block, and after every run where all are judged by each other.

    Looks that no question can be analysed at are left out; shape (campaigns, looks, questions) each.
    """
    rng = np.random.default_rng(list(seed))
    squares = np.maximum.accumulate([layer.value for layer in reversed(scatter.layers)])[::-1]
    spread = np.maximum(multipliers(scatter, laid) @ squares, 0.0)
    values = np.zeros((campaigns, len(laid.runs)))
    for variance, codes in zip(spread, laid.members.values(), strict=True):
        values += (np.sqrt(variance) * rng.normal(size=(campaigns, int(codes.max()) + 1)))[:, codes]
    blocks = blocks_of(laid)
    order = np.concatenate([rng.permutation(block) for block in blocks])
    ends = [int(end) for end in np.cumsum([len(block) for block in blocks])]
    judging = Judging(laid, np.array(rows))
    every = ends if laid.plots else range(1, len(order) + 1)
    seen = {size: _p(judging, values, order[:size]) for size in every}
    told = [size for size, found in seen.items() if np.isfinite(found).all()]
    none = np.zeros((campaigns, 0, len(rows)))
    by_block = [seen[size] for size in told if size in ends]
    by_run = [] if laid.plots else [seen[size] for size in told]
    return tuple(np.stack(found, axis=1) if found else none for found in (by_block, by_run))


def blocks_of(laid: Strata) -> list[np.ndarray]:
    """Rows in parts that hold every combination once: builds that are blocks, else repeats; in the plan's order."""
    runs, names = laid.runs, list(laid.brief.factor_names)
    if laid.blocked:
        return [np.flatnonzero(runs["build_id"] == name) for name in dict.fromkeys(runs["build_id"])]
    outer = laid.members[laid.units[0]]
    carried = names
    if laid.plots:
        carried = [name for name in names if units.unit_of(laid.brief, laid.brief.factor(name)) == laid.units[0]]
    made: dict[tuple[str, ...], int] = {}
    number = np.zeros(len(runs), dtype=int)
    for unit in dict.fromkeys(outer.tolist()):
        held = tuple(runs.loc[outer == unit, carried].iloc[0])
        number[outer == unit] = made[held] = made.get(held, -1) + 1
    return [np.flatnonzero(number == at) for at in range(int(number.max()) + 1)]


def _p(judging: Judging, values: Floats, made: np.ndarray) -> Floats:
    """Two-sided p of each question from the runs made so far; NaN where there is none, shape (campaigns, questions)."""
    lost = np.ones(values.shape[1], dtype=bool)
    lost[made] = False
    judge, able = judging.without(lost)
    found = np.full((len(values), len(judging.rows)), np.nan)
    if judge is not None:
        answers = judge.judged(values[:, ~lost])
        told = special.fdtrc(1.0, np.maximum(answers.df, 1.0), (answers.estimate / answers.std_error) ** 2)
        found[:, able] = np.where(answers.df >= 1.0, told, np.nan)
    return found
