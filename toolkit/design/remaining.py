"""What is left of an order when runs are added or taken out: drawn anew within the same restrictions (rank 3).

Runs that were made, or are set up already, keep their rows. Within a build whose runs became more the remaining ones
are drawn anew; a build that only lost runs keeps the order it has, which is a random one still.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True, eq=False)
class Redrawn:
    """A run list with its remaining runs in their new places.

    Attributes
    ----------
    drawn_anew : tuple of str
        Runs whose place in the order came out of the new draw, whatever it was before.
    moved : tuple of str
        Runs that were not drawn anew and stand in another place, because runs before them became more.
    """

    drawn_anew: tuple[str, ...]
    moved: tuple[str, ...]
    _runs: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """The run list in planned order, columns as they were."""
        return self._runs.copy()

    def __repr__(self) -> str:
        """The run list."""
        return self.table.to_string(index=False)


def redraw(
    runs: pd.DataFrame,
    *,
    fixed: Collection[str],
    anew: Collection[str],
    last: Collection[str] = (),
    allotted: Sequence[str] = (),
    within: Sequence[str] = (),
    seed: Sequence[int],
) -> Redrawn:
    """The run list with the remaining runs of some builds drawn anew.

    Parameters
    ----------
    runs : DataFrame
        run_id, build_id, planned_order and whatever else a run list holds; runs that are added stand last, their
        planned_order is 0.
    fixed : collection of str
        Runs whose rows stay as they are: made already, or set up.
    anew : collection of str
        Builds whose other runs are drawn anew; added runs must lie in one of them, or in ``last``.
    last : collection of str
        Runs that come behind all others of their build; where one of them is added, they are drawn anew among
        themselves.
    allotted : sequence of str
        Builds that nobody has begun, in their order: what each of them holds is allotted anew to these builds before
        their runs are drawn. For build-level factors.
    within : sequence of str
        Columns of parts and fills that are kept over several runs, the coarser first: their runs stay together. Units
        that have begun come first, the others are drawn within what holds them, then the runs within each.
    seed : sequence of int
        No default: the same seed gives the same order.

    Returns
    -------
    Redrawn

    Notes
    -----
    Builds keep their order; added ones come last. The remaining runs of a build are permuted, every order being equally
    likely (textbook restricted randomisation), and take the places that were theirs before, then the next free ones.
    A place that a run was taken out of stays empty.

    Checked against: tests/unit/design/test_remaining.py (all orders counted against chi-square; restrictions over many
    seeds).
    """
    draw = np.random.default_rng(list(seed))
    table = runs.reset_index(drop=True).copy()
    before = {str(run): int(place) for run, place in zip(table["run_id"], table["planned_order"], strict=True)}
    if allotted:
        to = dict(zip(allotted, (allotted[at] for at in draw.permutation(len(allotted))), strict=True))
        table["build_id"] = table["build_id"].map(lambda build: to.get(build, build))
    taken = {before[run] for run in fixed}
    now = {run: before[run] for run in fixed}
    cursor, drawn_anew = 0, []
    for build in _builds(runs):
        inside = list(table[table["build_id"] == build]["run_id"].astype(str))
        # The places of a build stay its own, whichever runs are allotted to it now.
        own = list(runs[runs["build_id"] == build]["run_id"].astype(str))
        made = [before[run] for run in inside if run in fixed]
        for behind in (False, True):
            part = [run for run in inside if run not in fixed and (run in last) == behind]
            part.sort(key=lambda run: (before[run] == 0, before[run]))
            if not part:
                continue
            slots = sorted(before[run] for run in own if run not in fixed and (run in last) == behind and before[run])
            new = build in anew and not behind or behind and any(before[run] == 0 for run in part)
            if new:
                there = sorted((run for run in inside if run in fixed), key=lambda run: before[run])
                part = _drawn(table, part, there, within, draw)
                drawn_anew += part
            floor = max([cursor, *(slots[-1:] or made)])
            for at, run in enumerate(part):
                wanted = (slots[at] if at < len(slots) else floor + 1) if new else before[run]
                cursor = now[run] = _free(max(wanted, cursor + 1), taken)
                taken.add(cursor)
        cursor = max([cursor, *made])
    table["planned_order"] = [now[str(run)] for run in table["run_id"]]
    table = table.sort_values("planned_order", ignore_index=True)
    moved = tuple(run for run in table["run_id"] if run not in drawn_anew and now[run] != before[run])
    return Redrawn(tuple(drawn_anew), moved, table)


def _drawn(
    table: pd.DataFrame, part: Sequence[str], made: Sequence[str], within: Sequence[str], draw: np.random.Generator
) -> list[str]:
    """Runs in random order, those of one unit together; units of which runs were made come first, as they came."""
    if not within:
        return [part[at] for at in draw.permutation(len(part))]
    of = dict(zip(table["run_id"].astype(str), table[within[0]].astype(str), strict=True))
    held: dict[str, list[str]] = {}
    for run in part:
        held.setdefault(of[run], []).append(run)
    begun = [unit for unit in dict.fromkeys(of[run] for run in made) if unit in held]
    free = [unit for unit in held if unit not in begun]
    order = [*begun, *(free[at] for at in draw.permutation(len(free)))]
    inside = {unit: [run for run in made if of[run] == unit] for unit in order}
    return [run for unit in order for run in _drawn(table, held[unit], inside[unit], within[1:], draw)]


def _builds(runs: pd.DataFrame) -> Iterable[str]:
    """The builds in the order they are built: as they were, then those that are added."""
    known = runs[runs["planned_order"] > 0].sort_values("planned_order")["build_id"]
    return list(dict.fromkeys([*known, *runs["build_id"]]))


def _free(wanted: int, taken: Collection[int]) -> int:
    """The first place from ``wanted`` on that nobody has."""
    while wanted in taken:
        wanted += 1
    return wanted
