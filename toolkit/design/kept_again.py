"""Which set of parts and which fill a run that is made again goes into, where these are kept over runs (rank 3).

A run that is replaced goes into the unit it was lost from while that is still set up; a run that is repeated gets units
of its own. What each is judged by follows from that: a unit of one run tells of what is changed with it.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import units
from toolkit.wording import joined

Key = tuple[str, ...]


def columns(brief: Brief) -> list[str]:
    """The columns of kept parts and fills, the coarser first; none where every run has new ones."""
    return [units.COLUMNS[unit] for unit in units.kept(brief)]


def refused(brief: Brief, runs: pd.DataFrame, chosen: pd.DataFrame, fixed: frozenset[str]) -> list[str]:
    """Why lost runs cannot go into the unit they were lost from: it was taken off for a later one.

    Parameters
    ----------
    brief : Brief
    runs, chosen : DataFrame
        The run list, and the lost ones of it.
    fixed : frozenset of str
        Runs that were made or are set up.

    Notes
    -----
    Checked against: tests/unit/design/test_kept_again.py (by hand).
    """
    kept, wrong = units.kept(brief), []
    for row in chosen.to_dict("records"):
        later = begun_after(brief, runs, row, fixed, 1)
        if kept and later:
            name = units.NAMES[kept[0]]
            wrong.append(f"{row['run_id']}: {name} {_label(brief, row, 1)} is gone, since {name} {later} has begun")
    return wrong


def replaced(
    brief: Brief, runs: pd.DataFrame, chosen: pd.DataFrame, more: pd.DataFrame, fixed: frozenset[str]
) -> tuple[pd.DataFrame, list[str]]:
    """The runs made for lost ones in the units these were lost from, with new ones of what was taken off since.

    Parameters
    ----------
    brief : Brief
    runs, chosen : DataFrame
        As for ``refused``.
    more : DataFrame
        The runs made for the lost ones, in their order.
    fixed : frozenset of str

    Returns
    -------
    DataFrame
        ``more`` with its part_set_id and fill_id.
    list of str
        What is set up anew.

    Notes
    -----
    Checked against: tests/unit/design/test_kept_again.py (by hand).
    """
    names, kept = columns(brief), units.kept(brief)
    held, notes = _Labels(runs, names), []
    placed = more.copy()
    for at, row in zip(placed.index, chosen.to_dict("records"), strict=True):
        for depth in range(2, len(names) + 1):
            later = begun_after(brief, runs, row, fixed, depth)
            if not later:
                continue
            own, build = _key(row, names, depth), str(row["build_id"])
            for finer in range(depth, len(names) + 1):
                placed.loc[at, names[finer - 1]] = held.new(build, finer, own)
            name = units.NAMES[kept[depth - 1]]
            notes.append(
                f"{placed.loc[at, 'run_id']}: {name} {_label(brief, row, depth)} is gone, since {name} {later} has "
                f"begun; a new one, {build}/{placed.loc[at, names[depth - 1]]}, is set up in its "
                f"{units.NAMES[kept[depth - 2]]}"
            )
            break
    return placed, notes


def repeated(
    brief: Brief, runs: pd.DataFrame, chosen: pd.DataFrame, more: pd.DataFrame
) -> tuple[pd.DataFrame, list[str]]:
    """The runs made for lost ones in units of their own: those lost from one unit share one again.

    Parameters
    ----------
    brief : Brief
    runs, chosen, more : DataFrame
        As for ``replaced``; the builds of ``more`` are chosen already.

    Returns
    -------
    DataFrame
        ``more`` with its part_set_id and fill_id.
    list of str
        What is set up anew, and what a run that is alone there tells.

    Notes
    -----
    Checked against: tests/unit/design/test_kept_again.py (by hand).
    """
    names, kept = columns(brief), units.kept(brief)
    held, placed = _Labels(runs, names), more.copy()
    for at, row in zip(placed.index, chosen.to_dict("records"), strict=True):
        build = str(placed.loc[at, "build_id"])
        for depth in range(1, len(names) + 1):
            placed.loc[at, names[depth - 1]] = held.new(build, depth, (build, *_key(row, names, depth)))
    notes = []
    for (build, label), part in placed.groupby(["build_id", names[0]], sort=False):
        who = joined(list(part["run_id"]))
        told = f"{who}: {units.NAMES[kept[0]]} {build}/{label} is set up for {'it' if len(part) == 1 else 'them'}"
        finer = [f.name for f in brief.factors if units.unit_of(brief, f) != kept[0] and f.undo != "build"]
        if len(part) == 1 and finer:
            told += (
                f"; alone there it is one more {units.NAMES[kept[0]]} to judge by, and tells next to nothing of what "
                f"changes within one ({joined(finer)})"
            )
        notes.append(told)
    return placed, notes


class _Labels:
    """Numbers for further units: within builds, from the highest there on."""

    def __init__(self, runs: pd.DataFrame, names: Sequence[str]) -> None:
        """The numbers that are taken."""
        self._names = list(names)
        self._runs = runs
        self._last: dict[tuple[str, int], int] = {}
        self._given: dict[tuple[int, Key], str] = {}

    def new(self, build: str, depth: int, own: Key) -> str:
        """A number for a unit of a build; the same one for the same unit."""
        if (depth, own) not in self._given:
            at = (build, depth)
            if at not in self._last:
                there = self._runs.loc[self._runs["build_id"] == build, self._names[depth - 1]].astype(str)
                self._last[at] = max((int(label) for label in there if label.isdigit()), default=0)
            self._last[at] += 1
            self._given[depth, own] = str(self._last[at])
        return self._given[depth, own]


def _key(row: dict[str, object], names: Sequence[str], depth: int) -> Key:
    """The unit of a run at some depth, by build and numbers."""
    return tuple(str(row[name]) for name in ("build_id", *names[:depth]))


def _label(brief: Brief, row: dict[str, object], depth: int) -> str:
    """A unit by name: 'B1/2'; of a fill in a set of parts 'B1/2/3'."""
    return "/".join(_key(row, columns(brief), depth))


def begun_after(brief: Brief, runs: pd.DataFrame, row: dict[str, object], fixed: frozenset[str], depth: int) -> str:
    """A unit of the same kind and build that was begun after this one; empty where this one still stands."""
    names = columns(brief)
    own = _key(row, names, depth) if names else ()
    for other in runs[runs["build_id"] == row["build_id"]].to_dict("records"):
        begun = other["run_id"] in fixed and int(other["planned_order"]) > int(row["planned_order"])
        if names and begun and _key(other, names, depth) != own:
            return _label(brief, other, depth)
    return ""
