"""Which part goes to which position of which run: Latin squares over runs, and the rows that they are judged in.

Rank 3. A run holds every combination of the levels undone with the position equally often, and over a set of runs
every position holds each of them equally often. Tables of runs keep a row a run, with a column for each position
(``ring@cyl 1``); strata have a row a run and position.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import PHASES, Brief
from toolkit.brief.positions import POSITION, column
from toolkit.numeric import latin_squares

# Draws of the allotment of rows to runs, of which the most even one counts; fewer before it is drawn.
_STARTS, _LAYOUT_STARTS = 24, 8
# The layout before it is drawn: sizing needs one, and the plan draws its own from the seed.
_LAYOUT = 0
_STREAM = 7
DRAWN = "what each position holds by Latin squares over the runs, their rows, columns and symbols at random"


def rows_of(brief: Brief, runs: pd.DataFrame) -> pd.DataFrame:
    """The rows that are judged: one a run and position, with the level that each position held.

    Parameters
    ----------
    brief : Brief
        With positions.
    runs : DataFrame
        One row a run, with a column for each factor of positions and position; other columns are repeated.

    Returns
    -------
    DataFrame
        The runs in order, in each the positions in order. ``run`` and ``position`` stand beside the factors; run_id
        names the row ('R03/cyl 2'). A table that has ``position`` already is given back.

    Notes
    -----
    Checked against: rows by hand, tests/unit/design/test_positions.py.
    """
    if POSITION in runs.columns:
        return runs
    names = brief.positions.names
    held = {item.name: [column(item.name, name) for name in names] for item in by_position.factors(brief)}
    whole = runs.drop(columns=[name for columns in held.values() for name in columns])
    told = runs["run_id"].astype(str) if "run_id" in runs else pd.Series(np.arange(len(runs)).astype(str), runs.index)
    made = whole.loc[whole.index.repeat(len(names))].reset_index(drop=True)
    made["run"] = np.repeat(told.to_numpy(), len(names))
    made[POSITION] = list(names) * len(runs)
    for name, columns in held.items():
        made[name] = runs[columns].to_numpy(dtype=object).reshape(-1)
    if "run_id" in made:
        made["run_id"] = made["run"] + "/" + made[POSITION]
    return made


def runs_of(brief: Brief, rows: pd.DataFrame) -> pd.DataFrame:
    """The table of runs behind rows that ``rows_of`` made, with a column for each position.

    Notes
    -----
    Checked against: there and back, tests/unit/design/test_positions.py.
    """
    names, held = brief.positions.names, by_position.factors(brief)
    first = rows.drop_duplicates("run", ignore_index=True)
    made = first.drop(columns=["run", POSITION, *(item.name for item in held)])
    if "run_id" in made:
        made["run_id"] = first["run"]
    for item in held:
        of_run = rows.pivot(index="run", columns=POSITION, values=item.name).loc[first["run"]]
        for name in names:
            made[column(item.name, name)] = of_run[name].to_numpy()
    return made


def effects(brief: Brief, rows: pd.DataFrame) -> np.ndarray:
    """Sum-coded columns of the positions, shape (rows, positions - 1): their own differences, taken out as fixed."""
    names = brief.positions.names
    coding = np.vstack([np.eye(len(names) - 1), -np.ones((1, len(names) - 1))])
    return coding[[names.index(str(name)) for name in rows[POSITION]]]


def arranged(brief: Brief, runs: pd.DataFrame, draw: np.random.Generator | None = None) -> pd.DataFrame:
    """The runs with what each position holds, by Latin squares over the runs.

    Parameters
    ----------
    brief : Brief
        With positions.
    runs : DataFrame
        One row a run: build_id and the factors of the whole run; columns of positions are made anew.
    draw : Generator, optional
        Left out: a layout that is always the same, for sizing.

    Returns
    -------
    DataFrame
        A copy with a column for each factor of positions and position, behind the other factors.

    Notes
    -----
    As many rows of squares as runs are allotted so that within every level of the factors of the run, every pair of
    their levels and every build each position holds each symbol as equally often as can be: of many random
    allotments, each improved by swapping rows of two runs, the most even one; of equals that which takes least of the
    interactions away with the positions. Squares of their own (new columns and
    symbols) are taken for each set of runs where that costs no evenness, else rows of one square.

    Checked against: counts by hand and by enumeration, tests/unit/design/test_positions.py.
    """
    starts = _LAYOUT_STARTS if draw is None else _STARTS
    draw = np.random.default_rng(_LAYOUT) if draw is None else draw
    symbols, names = by_position.symbols(brief), brief.positions.names
    size, each = len(symbols), len(names) // len(symbols)
    groups = _groups(brief, runs)
    best: tuple[float, int, np.ndarray] | None = None
    for start in range(starts):
        # Squares of their own first: one square throughout must be more even to be taken.
        alone = start < starts // 2
        held = _rows(len(runs), size, each, draw, alone=alone)[draw.permutation(len(runs))]
        worth, rows = _improved(held, groups, size)
        told = _told(brief, runs, rows)
        if best is None or worth < best[0] - 1e-9 or (worth < best[0] + 1e-9 and told > best[1]):
            best = worth, told, rows
    made = runs.copy()
    for at, item in enumerate(by_position.factors(brief)):
        for place, name in enumerate(names):
            made[column(item.name, name)] = [symbols[symbol][at] for symbol in best[2][:, place]]
    return made


def drawn(brief: Brief, ordered: pd.DataFrame, *, seed: int) -> pd.DataFrame:
    """The runs of a plan with what each position holds, drawn from the seed.

    Parameters
    ----------
    brief : Brief
    ordered : DataFrame
        The runs of one phase in planned order.
    seed : int
        No default: the same seed gives the same parts in the same positions, another phase its own.

    Notes
    -----
    Checked against: as ``arranged``, which it draws.
    """
    phase = str(ordered["phase"].iloc[0])
    return arranged(brief, ordered, np.random.default_rng([seed, PHASES.index(phase), _STREAM]))


def continued(brief: Brief, rows: pd.DataFrame, more: pd.DataFrame, *, called: str = "further ") -> pd.DataFrame:
    """The rows of further runs, what their positions hold taken in turn from the rows of the squares so far.

    Parameters
    ----------
    brief : Brief
    rows : DataFrame
        The rows there are, one a run and position.
    more : DataFrame
        Further runs: build_id and the factors of the whole run.
    called : str
        What the runs are called, a number behind it.

    Returns
    -------
    DataFrame
        Their rows; what positions hold is what was held least often.

    Notes
    -----
    Checked against: counts by hand, tests/unit/design/test_positions.py.
    """
    held = [item.name for item in by_position.factors(brief)]
    symbols = by_position.symbols(brief)
    size, each = len(symbols), len(brief.positions.names) // len(symbols)
    counts = np.zeros((len(brief.positions.names), size), dtype=int)
    told = zip(rows[POSITION].tolist(), *(rows[name].tolist() for name in held), strict=True)
    for name, *levels in told:
        counts[brief.positions.names.index(name), symbols.index(tuple(levels))] += 1
    base = (np.arange(size)[:, None] + np.repeat(np.arange(size), each)[None, :]) % size
    places = np.arange(len(brief.positions.names))
    chosen = []
    for _ in range(len(more)):
        row = base[int(np.argmin([int(counts[places, row].sum()) for row in base]))]
        counts[places, row] += 1
        chosen.append([symbols[symbol] for symbol in row])
    inside = {
        column(factor, name): [row[place][which] for row in chosen]
        for which, factor in enumerate(held)
        for place, name in enumerate(brief.positions.names)
    }
    return rows_of(brief, more.assign(run_id=[f"{called}{at + 1}" for at in range(len(more))], **inside))


def uneven(brief: Brief, runs: pd.DataFrame) -> str:
    """What is not equally often in each position, in words; empty where every position holds every level equally often.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``arranged`` gives them.

    Notes
    -----
    Checked against: counts by hand, tests/unit/design/test_positions.py.
    """
    told = []
    for item in by_position.factors(brief):
        counts = [runs[column(item.name, name)].value_counts().reindex(item.names, fill_value=0)
                  for name in brief.positions.names]  # fmt: skip
        low, high = min(int(one.min()) for one in counts), max(int(one.max()) for one in counts)
        if low < high:
            told.append(f"each position holds a level of {item.name} {low} to {high} times")
    if not told:
        return ""
    size = len(by_position.symbols(brief))
    return (
        f"{'; '.join(told)}: {len(runs)} runs are no multiple of {size}, so that positions are taken out by least "
        f"squares and the comparisons lose a little by it"
    )


@dataclass(frozen=True, eq=False)
class _Groups:
    """Which runs belong to each level, pair of levels and build (groups, runs), and what their evenness weighs."""

    marks: np.ndarray
    weights: np.ndarray


def _groups(brief: Brief, runs: pd.DataFrame) -> _Groups:
    """All runs, each level, each pair of levels, each build; what has fewer runs counts as much as what has more."""
    names = [item.name for item in by_position.of_whole_runs(brief)]
    marks, weights = [np.ones(len(runs))], [1e4]
    sets: list[tuple[tuple[str, ...], float]] = [((name,), 100.0) for name in names]
    sets += [(pair, 1.0) for pair in combinations(names, 2)]
    sets += [(("build_id",), 0.5)] if runs["build_id"].nunique() > 1 else []
    for keys, weight in sets:
        labels = runs[list(keys)].astype(str).agg("\x1f".join, axis=1)
        for label in dict.fromkeys(labels):
            marks.append((labels == label).to_numpy(dtype=float))
            weights.append(weight)
    return _Groups(np.array(marks), np.array(weights))


def _rows(count: int, size: int, each: int, draw: np.random.Generator, *, alone: bool) -> np.ndarray:
    """As many rows of squares as there are runs, shape (count, positions)."""
    sets = -(-count // size)
    found = [latin_squares.square(size, draw, each=each) for _ in range(sets if alone else 1)]
    return np.concatenate(found if alone else found * sets)[:count]


def _told(brief: Brief, runs: pd.DataFrame, held: np.ndarray) -> int:
    """How many columns are told apart within runs: symbols in every combination of the run, and positions."""
    names = [item.name for item in by_position.of_whole_runs(brief)]
    kinds = pd.factorize(runs[names].astype(str).agg("\x1f".join, axis=1))[0] if names else np.zeros(len(runs), int)
    cells = kinds[:, None] * (held.max() + 1) + held
    places = np.broadcast_to(np.arange(held.shape[1]), held.shape)
    marks = [np.eye(int(codes.max()) + 1)[codes] for codes in (cells, places)]
    within = np.concatenate([part - part.mean(axis=1, keepdims=True) for part in marks], axis=2)
    return int(np.linalg.matrix_rank(within.reshape(held.size, -1)))


def _improved(held: np.ndarray, groups: _Groups, size: int) -> tuple[float, np.ndarray]:
    """The unevenness of an allotment, and the allotment, after swaps of rows have stopped making it more even.

    Unevenness: weighted squares of how far the counts of symbols in positions lie from their mean in each group.
    """
    rows = (held[:, :, None] == np.arange(size)).astype(float).reshape(len(held), -1)
    order, marks, weights = np.arange(len(held)), groups.marks, groups.weights
    off = marks @ rows - marks.sum(axis=1, keepdims=True) / size
    again = True
    while again:
        again = False
        for one in range(len(held)):
            # What a swap with each of the others would change, all at once.
            moved, turned = marks[:, one, None] - marks, rows[order] - rows[order[one]]
            change = weights @ (moved * (2.0 * off @ turned.T + moved * (turned**2).sum(axis=1)))
            other = int(np.argmin(change))
            if change[other] < -1e-9:
                off = off + moved[:, other, None] * turned[other]
                order[[one, other]] = order[[other, one]]
                again = True
    return float(weights @ (off**2).sum(axis=1)), held[order]
