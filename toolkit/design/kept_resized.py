"""A plan of another size where parts or fills are kept over several runs: whole units are added and taken out (rank 3).

What a build of the one design holds is told from what it holds in the other unit by unit: a unit that only the new one
has is set up behind, one that only the old one has is taken out while it has not begun, and one that holds more or
fewer runs of what changes within it is changed while it still stands.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import kept_again, units
from toolkit.design._run_list import RunList

Line = tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Place:
    """Where runs go: the build and the numbers of its units, the coarser first."""

    build: str
    labels: tuple[str, ...] = ()


def change(brief: Brief, made: RunList, build: str, old: pd.DataFrame, new: pd.DataFrame) -> None:
    """Add to a build, and take out of it, what the new design holds there and the old one does not.

    Parameters
    ----------
    brief : Brief
    made : RunList
        The run list while it is changed.
    build : str
        Its label in the run list.
    old, new : DataFrame
        What the build holds in the two designs; ``old`` empty for a build that is new.

    Notes
    -----
    Checked against: tests/unit/design/test_kept_again.py (by hand).
    """
    later = made.standing.gone(build) if build in made.standing.builds else ""
    if later and _told(brief, old, 0) != _told(brief, new, 0):
        made.notes.append(f"build {build} is gone, since build {later} has begun: its runs stay as they are")
        return
    _Changed(brief, made).within(Place(build), old, new)


class _Changed:
    """The change of one build."""

    def __init__(self, brief: Brief, made: RunList) -> None:
        """Nothing is changed yet."""
        self.brief, self.made = brief, made
        self.names = kept_again.columns(brief)
        self.used: set[tuple[str, ...]] = set()

    def within(self, place: Place, old: pd.DataFrame, new: pd.DataFrame) -> None:
        """Change what lies in a build, or in a unit of it."""
        depth = len(place.labels)
        if depth == len(self.names):
            had, has = Counter(self._lines(old)), Counter(self._lines(new))
            self.made.change(place.build, has - had, had - has, place.labels)
            return
        more, fewer = _units(new, self.names[depth]), _units(old, self.names[depth])
        unlike = []
        for one in more:
            twin = self._twin(fewer, one, depth, whole=True)
            if twin is None:
                unlike.append(one)
            else:
                # Every unit of the old design is one of the run list.
                self._standing(place, fewer.pop(twin), taken=False)
        for one in unlike:
            twin = self._twin(fewer, one, depth, whole=False)
            if twin is None:
                self._add(place, one, depth)
            else:
                self._in_place(place, fewer.pop(twin), one)
        for one in fewer:
            self._take(place, one)

    def _twin(self, among: list[pd.DataFrame], one: pd.DataFrame, depth: int, *, whole: bool) -> int | None:
        """The place of a unit that holds the same as another one, or has its levels at least; None: there is none."""
        for at, other in enumerate(among):
            if whole and _told(self.brief, one, depth + 1) != _told(self.brief, other, depth + 1):
                continue
            if self._levels(one, depth) == self._levels(other, depth):
                return at
        return None

    def _in_place(self, place: Place, old: pd.DataFrame, new: pd.DataFrame) -> None:
        """Change what a unit holds, while it stands."""
        label = self._standing(place, old, taken=False)
        if not label:
            return
        own = Place(place.build, (*place.labels, label))
        later = self._later(own)
        if later:
            name = self._name(own)
            self.made.notes.append(
                f"{name} {_told_place(own)} is gone, since {name} {later} has begun: its runs stay as they are"
            )
            return
        self.within(own, old, new)

    def _add(self, place: Place, new: pd.DataFrame, depth: int) -> None:
        """Set up another unit."""
        column = self.names[depth]
        there = self.made.runs.loc[self.made.runs["build_id"] == place.build, column].astype(str)
        label = str(max((int(one) for one in there if one.isdigit()), default=0) + 1)
        own = Place(place.build, (*place.labels, label))
        if depth + 1 == len(self.names):
            self.made.change(own.build, Counter(self._lines(new)), Counter(), own.labels)
            return
        for told in _units(new, self.names[depth + 1]):
            self._add(own, told, depth + 1)

    def _take(self, place: Place, old: pd.DataFrame) -> None:
        """Take a unit out that has not begun; one that has begun stays."""
        label = self._standing(place, old, taken=True)
        if not label:
            return
        own = Place(place.build, (*place.labels, label))
        runs = self._runs(own)
        if set(runs["run_id"]) & self.made.standing.fixed:
            self.made.notes.append(f"{self._name(own)} {_told_place(own)} has begun and stays as it is")
            return
        self.made.drop(runs["run_id"])

    def _standing(self, place: Place, old: pd.DataFrame, *, taken: bool) -> str:
        """The number of the unit in the run list that is one of the old design; empty where none is left of it."""
        depth = len(place.labels)
        runs, column = self._runs(place), self.names[depth]
        found = []
        for label, part in runs.groupby(runs[column].astype(str), sort=False):
            own = (place.build, *place.labels, str(label))
            repeats = set(part["run_id"]) <= self.made.standing.repeats
            if own not in self.used and not repeats and self._levels(part, depth) == self._levels(old, depth):
                found.append((bool(set(part["run_id"]) & self.made.standing.fixed), own))
        if not found:
            return ""
        # Units stay in the order in which they were set up; those that are taken out are the last that have not begun.
        chosen = found[0] if not taken else next((one for one in reversed(found) if not one[0]), found[-1])
        self.used.add(chosen[1])
        return chosen[1][-1]

    def _levels(self, rows: pd.DataFrame, depth: int) -> tuple[str, ...]:
        """The levels that are set up with a unit."""
        unit = units.kept(self.brief)[depth]
        own = [item.name for item in self.brief.factors if units.unit_of(self.brief, item) == unit]
        return tuple(str(rows[name].iloc[0]) for name in own)

    def _lines(self, rows: pd.DataFrame) -> list[Line]:
        """The combinations of some runs."""
        return [tuple(row) for row in rows[list(self.brief.factor_names)].itertuples(index=False, name=None)]

    def _runs(self, place: Place) -> pd.DataFrame:
        """The runs of the run list that lie in a place."""
        runs = self.made.runs
        inside = runs["build_id"] == place.build
        for name, label in zip(self.names, place.labels, strict=False):
            inside &= runs[name].astype(str) == label
        return runs[inside]

    def _later(self, own: Place) -> str:
        """A unit of the same kind and build that was begun after this one."""
        mine = self._runs(own)
        row = mine.loc[mine["planned_order"].astype(int).idxmax()].to_dict()
        state = self.made.standing
        return kept_again.begun_after(self.brief, state.runs, row, state.fixed, len(own.labels))

    def _name(self, own: Place) -> str:
        """What a unit is called."""
        return units.NAMES[units.kept(self.brief)[len(own.labels) - 1]]


def _units(rows: pd.DataFrame, column: str) -> list[pd.DataFrame]:
    """Runs by the unit they lie in, in order."""
    return [part for _, part in rows.groupby(rows[column].astype(str), sort=False)] if len(rows) else []


def _told(brief: Brief, rows: pd.DataFrame, depth: int) -> object:
    """What a build or unit holds, unit by unit, whatever the order."""
    names: Sequence[str] = kept_again.columns(brief)
    if depth == len(names):
        lines = rows[list(brief.factor_names)].itertuples(index=False, name=None) if len(rows) else ()
        return frozenset(Counter(tuple(row) for row in lines).items())
    return frozenset(Counter(_told(brief, part, depth + 1) for part in _units(rows, names[depth])).items())


def _told_place(place: Place) -> str:
    """A unit by name: 'B1/2'."""
    return "/".join((place.build, *place.labels))
