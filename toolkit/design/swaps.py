"""Which units could have stood in each other's place: the orders that an exact test of a comparison goes through.

Rank 3. Units of the two levels compared change places where all else is equal. Where the brief limits how closely
comparisons may follow the run order, only those exchanges count that give an order within the limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import comb, prod

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Comparison
from toolkit.design import questions, strata
from toolkit.design.followed import Followed, followed
from toolkit.design.strata import Strata
from toolkit.errors import DesignError

# All exchanges are gone through up to this many, else as many are drawn.
MOST_ORDERS = 20_000
DRAWN = 19_999
_STREAM = 6
# Batches drawn to find exchanges within limits.
_BATCHES = 10

Groups = Sequence[tuple[np.ndarray, np.ndarray]]


def groups(
    laid: Strata, comparison: Comparison, stratum: str, *, apart: Sequence[str] = ()
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Units of the two levels that were allotted at random among themselves, as positions in the layer.

    Parameters
    ----------
    laid : Strata
    comparison : Comparison
        Of two sets of levels.
    stratum : str
        The unit it is judged between.
    apart : sequence of str
        Columns of the runs across which nothing is exchanged.

    Notes
    -----
    Checked against: counts by hand, tests/unit/model/test_randomisation.py.
    """
    brief = laid.brief
    runs = laid.runs.reset_index(drop=True)
    # One row a unit of the layer; what holds it is where it was drawn.
    coarser = laid.units[: laid.units.index(stratum)]
    held = laid.members[coarser[-1]] if coarser else laid.runs["build_id"].to_numpy() if laid.blocked else None
    runs = runs.assign(_held=0 if held is None else held)
    runs = runs.iloc[np.unique(laid.members[stratum], return_index=True)[1]].reset_index(drop=True)
    named = list(comparison.of)
    upto = (*coarser, stratum)
    others = [name for name in brief.factor_names if name not in named and laid.of_term((name,)) in upto]
    sides = [(runs[named] == pd.Series(side)[named]).all(axis=1) for side in (comparison.of, comparison.against)]
    asked = runs[sides[0] | sides[1]]
    parts = [part.index for _, part in asked.groupby([*others, "_held", *apart])]
    made = [(part[sides[0][part]].to_numpy(), part[sides[1][part]].to_numpy()) for part in parts]
    return [(of, against) for of, against in made if len(of) and len(against)]


def number(found: Groups) -> int:
    """How many ways there are to split each group over the two levels.

    Notes
    -----
    Checked against: counts by hand, tests/unit/model/test_randomisation.py.
    """
    return prod(comb(len(of) + len(against), len(of)) for of, against in found)


def every(found: Groups, units: int) -> np.ndarray:
    """Every split of each group over the two levels.

    Returns
    -------
    ndarray of int, shape (orders, units)
        Which unit's value stands at each unit; the first line leaves all as it is.

    Notes
    -----
    Checked against: splits by hand, tests/unit/model/test_randomisation.py.
    """
    choices = []
    for of, against in found:
        both = [*of, *against]
        choices.append([
            (*chosen, *(item for item in both if item not in chosen)) for chosen in combinations(both, len(of))
        ])
    places = np.concatenate([np.concatenate(group) for group in found])
    made = np.tile(np.arange(units), (prod(len(options) for options in choices), 1))
    made[:, places] = [np.concatenate(chosen) for chosen in product(*choices)]
    return made


def some(found: Groups, units: int, count: int, draw: np.random.Generator) -> np.ndarray:
    """Splits drawn at random, shape (count, units) as ``every`` gives them.

    Notes
    -----
    Checked against: scipy's test by normal theory, tests/unit/model/test_randomisation.py.
    """
    made = np.tile(np.arange(units), (count, 1))
    for of, against in found:
        both = np.concatenate([of, against])
        made[:, both] = draw.permuted(np.tile(both, (count, 1)), axis=1)
    return made


def mirrored(found: Groups, units: int) -> np.ndarray | None:
    """The two levels of every group changed over, shape (1, units); None where they are not equally many."""
    if any(len(of) != len(against) for of, against in found):
        return None
    line = np.arange(units)
    for of, against in found:
        line[of], line[against] = against, of
    return line[None, :]


@dataclass(frozen=True, eq=False)
class Allowed:
    """Which exchanges of units give an order that the draw could have given.

    Attributes
    ----------
    of_phase : tuple
        For each phase with limits: how comparisons follow its places; the unit of each of its planned runs (-1: none of
        those analysed); and which planned run is like each of them with the level of each unit.
    """

    of_phase: tuple[tuple[Followed, np.ndarray, np.ndarray], ...]

    def holds(self, exchanged: np.ndarray) -> np.ndarray:
        """True for each line of exchanges (as ``every`` gives them) that keeps the limits, shape (orders,)."""
        good = np.ones(len(exchanged), dtype=bool)
        # The level that a unit has then is that of the place its value stands at.
        level = np.argsort(exchanged, axis=1)
        for found, unit, like in self.of_phase:
            own = np.arange(len(unit))
            stands = np.where(unit >= 0, like[own, level[:, np.maximum(unit, 0)]], own)
            good &= (stands >= 0).all(axis=1) & found.within(found.correlations(np.maximum(stands, 0)))
        return good


def allowed(laid: Strata, comparison: Comparison, stratum: str, planned: pd.DataFrame) -> Allowed | str:
    """The exchanges that keep the limits of the brief, or why that cannot be told.

    Parameters
    ----------
    laid : Strata
        Of the runs that are analysed.
    comparison, stratum
        As for ``groups``.
    planned : DataFrame
        The sealed runs of every phase that counts: run_id, phase, build_id, planned_order and the factors.

    Notes
    -----
    A run that is not analysed keeps its level, so that the orders gone through are those with the same runs lost.

    Checked against: orders put together by hand and judged by ``orders.correlations``,
    tests/unit/design/test_swaps.py.
    """
    brief, limits = laid.brief, laid.brief.order
    made = []
    index = {str(run): at for at, run in enumerate(laid.runs["run_id"])}
    for phase, part in planned.groupby("phase", sort=False):
        if phase == "pilot" or limits is None:
            continue
        part = part.sort_values("planned_order").reset_index(drop=True)
        try:
            whole = strata.of_runs(brief, part)
        except DesignError as problem:
            return str(problem)
        rows = [index.get(str(run), -1) for run in part["run_id"]]
        odd = _moved(brief, laid.runs, part, rows)
        if odd:
            return f"run {odd} was not made as planned, so that its place was not drawn"
        unit = np.array([-1 if row < 0 else laid.members[stratum][row] for row in rows])
        found = followed(whole, limits, part["planned_order"].to_numpy(dtype=float))
        made.append((found, unit, _like(laid, part, comparison, stratum)))
    return Allowed(tuple(made))


def through(found: Groups, units: int, judge: Allowed | None, seed: Sequence[int]) -> tuple[np.ndarray, bool, int]:
    """The exchanges that a test goes through.

    Parameters
    ----------
    found : Groups
    units : int
    judge : Allowed or None
    seed : sequence of int

    Returns
    -------
    exchanged : ndarray, shape (orders, units)
    exact : bool
        True: every one; False: a sample, at random.
    orders : int
        How many there are in all: counted, or told from the sample.

    Notes
    -----
    Checked against: as ``model.randomisation.exact_p``, which is made of it.
    """
    count = number(found)
    if count <= MOST_ORDERS:
        exchanged = every(found, units)
        exchanged = exchanged if judge is None else exchanged[judge.holds(exchanged)]
        return exchanged, True, len(exchanged)
    draw = np.random.default_rng(list(seed))
    if judge is None:
        return some(found, units, DRAWN, draw), False, count
    tried = some(found, units, DRAWN, draw)
    kept = [tried[judge.holds(tried)]]
    share = len(kept[0]) / DRAWN
    while sum(map(len, kept)) < DRAWN and len(kept) < _BATCHES:
        tried = some(found, units, DRAWN, draw)
        kept.append(tried[judge.holds(tried)])
    return np.concatenate(kept)[:DRAWN], False, max(int(count * share), 1)


def floors(brief: Brief, ordered: pd.DataFrame) -> pd.DataFrame:
    """The smallest p that the exact test of each comparison could give in this order, before any run is made.

    Parameters
    ----------
    brief : Brief
    ordered : DataFrame
        The runs of one phase in order, with run_id, phase, build_id, planned_order and the factors.

    Returns
    -------
    DataFrame
        comparison, orders (that the test would go through, as far as they keep the limits), smallest_p (two-sided; None
        where there is no exact test), why (not).

    Notes
    -----
    One order in all that there are, two where the mirror image of the clearest one is among them and differs as much.

    Checked against: 2 over 4 to the builds for 2 x 2 plans, tests/unit/design/test_swaps.py.
    """
    laid = strata.of_runs(brief, ordered)
    rows = []
    for place, comparison in enumerate(brief.comparisons):
        orders, smallest, why = _floor(laid, comparison, ordered, place)
        rows.append({"comparison": comparison.name, "orders": orders, "smallest_p": smallest, "why": why})
    return pd.DataFrame(rows, columns=["comparison", "orders", "smallest_p", "why"], dtype=object)


def seed_of(brief: Brief, place: int) -> list[int]:
    """The seed of the exchanges drawn for the comparison at a place in the brief."""
    return [brief.seed, _STREAM, place]


def _floor(
    laid: Strata, comparison: Comparison, ordered: pd.DataFrame, place: int
) -> tuple[int | None, float | None, str]:
    """Orders, smallest p and why there is none, of one comparison."""
    if comparison.interaction:
        return None, None, "an interaction has no exact test"
    parts = laid.parts(questions.of_comparison(laid.brief, comparison, laid.terms).row)
    if len(parts) != 1:
        return None, None, "no exact test: judged in two strata, or not by mean squares of its own"
    limited = laid.brief.order is not None
    found = groups(laid, comparison, parts[0].stratum, apart=("phase",) if limited else ())
    if number(found) < 2:
        return None, None, "no exact test: the levels compared never meet where all else is equal"
    judge = allowed(laid, comparison, parts[0].stratum, ordered) if limited else None
    if isinstance(judge, str):
        return None, None, f"no exact test: {judge}"
    units = int(laid.members[parts[0].stratum].max()) + 1
    _, _, orders = through(found, units, judge, seed_of(laid.brief, place))
    mirror = mirrored(found, units)
    twice = mirror is not None and (judge is None or bool(judge.holds(mirror)[0]))
    return orders, min((2 if twice else 1) / orders, 1.0), ""


def _moved(brief: Brief, runs: pd.DataFrame, part: pd.DataFrame, rows: Sequence[int]) -> str:
    """The first run whose levels or build are not those planned; empty where there is none."""
    names = ["build_id", *brief.factor_names]
    for planned, row in zip(part.to_dict("records"), rows, strict=True):
        if row >= 0 and any(str(runs.iloc[row][name]) != str(planned[name]) for name in names):
            return str(planned["run_id"])
    return ""


def _like(laid: Strata, part: pd.DataFrame, comparison: Comparison, stratum: str) -> np.ndarray:
    """The planned run that is like each one but for the levels compared, which are those of each unit; -1: none."""
    named, factors = list(comparison.of), list(laid.brief.factor_names)
    keys = ["build_id", *factors] if laid.blocked else factors
    table = part[["build_id", *factors]].astype(str).to_dict("records")
    place = {tuple(row[name] for name in keys): at for at, row in reversed(list(enumerate(table)))}
    first = np.unique(laid.members[stratum], return_index=True)[1]
    levels = laid.runs.iloc[first][named].astype(str).to_dict("records")
    made = np.full((len(table), len(levels)), -1)
    for at, row in enumerate(table):
        for unit, other in enumerate(levels):
            made[at, unit] = place.get(tuple({**row, **other}[name] for name in keys), -1)
    return made
