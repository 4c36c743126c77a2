"""A run list while a plan of another size is made of it: runs and builds are added and taken out (rank 3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from toolkit.design import kept_again
from toolkit.design.changed import Change, Standing
from toolkit.errors import DesignError

Line = tuple[str, ...]


@dataclass(eq=False)
class RunList:
    """The run list while it is changed."""

    standing: Standing

    def __post_init__(self) -> None:
        """Nothing is changed yet."""
        self.runs = self.standing.runs.copy()
        self.names = list(self.standing.brief.factor_names)
        self.ids, self.labels = self.standing.ids(), self.standing.labels()
        self.added: list[str] = []
        self.dropped: list[str] = []
        self.fresh: list[str] = []
        self.touched: dict[str, None] = {}
        self.notes: list[str] = []

    def build(self) -> str:
        """Another build, with nothing in it yet; gives its label."""
        label = next(self.labels)
        self.fresh.append(label)
        return label

    def change(self, label: str, more: Counter[Line], fewer: Counter[Line], units: tuple[str, ...] = ()) -> None:
        """Add runs to a build, or to a unit of it, and take runs out that were not made."""
        if not more and not fewer:
            return
        later = self.standing.gone(label) if label in self.standing.builds else ""
        if later:
            self.notes.append(f"build {label} is gone, since build {later} has begun: its runs stay as they are")
            return
        short = fewer - self._take(label, fewer, units)
        if short:
            told = ", ".join(f"{told_of(line)} ({number})" for line, number in short.items())
            self.notes.append(f"made already and left as they are in build {'/'.join((label, *units))}: {told}")
        self._add(label, more, units)

    def take_out(self, label: str, held: Counter[Line]) -> None:
        """Take a whole build out."""
        if label in self.standing.begun:
            raise DesignError(
                f"build {label} would be taken out, but it has begun; ask for as many builds as have begun, or more"
            )
        self._take(label, held, ())

    def drop(self, run_ids: Collection[str]) -> None:
        """Take runs out that were not made."""
        self.dropped += [str(run) for run in run_ids]
        self.runs = self.runs[~self.runs["run_id"].isin(list(run_ids))]

    def change_of(self) -> Change:
        """All of it as a change."""
        repeats = tuple(run for run in self.runs["run_id"] if run in self.standing.repeats - self.standing.fixed)
        return Change(
            self.runs,
            added=tuple(self.added),
            dropped=tuple(self.dropped),
            new_builds=tuple(self.fresh),
            notes=tuple(self.notes),
            anew=tuple(self.touched),
            last=repeats,
            within=tuple(kept_again.columns(self.standing.brief)),
        )

    def _add(self, label: str, more: Counter[Line], units: tuple[str, ...]) -> None:
        """Add runs to a build, or to a unit of it."""
        phase = self.standing.runs["phase"].iloc[0]
        own = dict(zip(kept_again.columns(self.standing.brief), units, strict=False))
        for line in more.elements():
            levels = dict(zip(self.names, line, strict=True))
            alike = (self.runs[self.names] == pd.Series(levels)).all(axis=1)
            replicate = max(self.runs.loc[alike, "replicate"].astype(int), default=0) + 1
            row = {"run_id": next(self.ids), "phase": phase, "build_id": label, **own, "planned_order": 0, **levels}
            # Text as in the sealed run list.
            row["replicate"] = str(replicate) if isinstance(self.runs["replicate"].iloc[0], str) else replicate
            self.runs = pd.concat([self.runs, pd.DataFrame([row])[list(self.runs.columns)]], ignore_index=True)
            self.added.append(row["run_id"])
            self.touched[label] = None

    def _take(self, label: str, fewer: Counter[Line], units: tuple[str, ...]) -> Counter[Line]:
        """Take runs out that were not made, the last replicates first; gives what could be taken."""
        taken: Counter[Line] = Counter()
        left_as = self.standing.fixed | self.standing.repeats
        inside = self.runs["build_id"] == label
        for name, unit in zip(kept_again.columns(self.standing.brief), units, strict=False):
            inside &= self.runs[name].astype(str) == unit
        for at, row in reversed(list(self.runs[inside].iterrows())):
            line = tuple(row[name] for name in self.names)
            if row["run_id"] not in left_as and taken[line] < fewer[line]:
                taken[line] += 1
                self.dropped.append(str(row["run_id"]))
                self.runs = self.runs.drop(index=at)
        return taken


def told_of(line: Line) -> str:
    """A combination in words."""
    return " ".join(line)
