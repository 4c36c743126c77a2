"""A sealed plan of another size: builds, replicates or levels more or fewer, what was made left as it is (rank 3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from toolkit.brief import by_position
from toolkit.design import latin, strata, units
from toolkit.design.changed import Change, Standing
from toolkit.design.design import Design
from toolkit.errors import DesignError

Line = tuple[str, ...]


def resized(
    standing: Standing, before: Design, now: Design, labels: Mapping[str, str]
) -> tuple[Change, dict[str, str]]:
    """The runs of a plan of another size.

    Parameters
    ----------
    standing : Standing
    before, now : Design
        The design that was sealed, and the one that is asked for.
    labels : mapping of str to str
        Build of the sealed design to the build it is in the run list.

    Returns
    -------
    change : Change
    labels : dict
        Build of the design asked for to its build in the run list.

    Raises
    ------
    DesignError
        When a build that is to be taken out has begun, or builds as units would no longer be balanced.

    Notes
    -----
    What a build of the one design holds less what it holds in the other is added to, or taken out of, every build that
    is not gone; runs that were made stay. Runs that repeat lost ones are left as they are.

    Checked against: tests/unit/design/test_resized.py (by hand).
    """
    if by_position.divided(now.brief):
        raise DesignError(
            "the positions of a run hold parts of their own: a plan of another size is not worked out for what is "
            "under way. Go on with what is planned, or plan the further runs as a campaign of their own"
        )
    if units.kept(now.brief):
        name = units.NAMES[units.kept(now.brief)[0]]
        raise DesignError(
            f"a {name} is kept over several runs and carries a factor: a plan of another size is not worked out for "
            f"what is under way. Plan the further runs as an extension"
        )
    if latin.used(now.brief):
        raise DesignError(
            f"a Latin square: the order of further builds is drawn with their square. Plan them as an extension "
            f"([extension] builds = {latin.builds_in_set(now.brief)})"
        )
    if strata.layout_of_builds(now.brief) == strata.WHOLE_PLOTS:
        return _whole_plots(standing, now)
    old, new = _contents(before), _contents(now)
    made = _Made(standing)
    there: dict[str, str] = {}
    for build, held in new.items():
        if build not in old:
            there[build] = made.build(held)
        else:
            there[build] = labels.get(build, build)
            made.change(there[build], held - old[build], old[build] - held)
    for build in old:
        if build not in new:
            made.take_out(labels.get(build, build), old[build])
    return made.change_of(), there


def same_runs(before: Design, now: Design) -> bool:
    """True when two designs hold the same runs in the same builds."""
    return _contents(before) == _contents(now)


@dataclass(eq=False)
class _Made:
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

    def build(self, held: Counter[Line]) -> str:
        """Build another build; gives its label."""
        label = next(self.labels)
        self.fresh.append(label)
        self._add(label, held)
        return label

    def change(self, label: str, more: Counter[Line], fewer: Counter[Line]) -> None:
        """Add runs to a build and take runs out that were not made."""
        if not more and not fewer:
            return
        later = self.standing.gone(label) if label in self.standing.builds else ""
        if later:
            self.notes.append(f"build {label} is gone, since build {later} has begun: its runs stay as they are")
            return
        short = fewer - self._take(label, fewer)
        if short:
            told = ", ".join(f"{_told(line)} ({number})" for line, number in short.items())
            self.notes.append(f"made already and left as they are in build {label}: {told}")
        self._add(label, more)

    def take_out(self, label: str, held: Counter[Line]) -> None:
        """Take a whole build out."""
        if label in self.standing.begun:
            raise DesignError(
                f"build {label} would be taken out, but it has begun; ask for as many builds as have begun, or more"
            )
        self._take(label, held)

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
        )

    def _add(self, label: str, more: Counter[Line]) -> None:
        """Add runs to a build."""
        phase = self.standing.runs["phase"].iloc[0]
        for line in more.elements():
            levels = dict(zip(self.names, line, strict=True))
            alike = (self.runs[self.names] == pd.Series(levels)).all(axis=1)
            replicate = max(self.runs.loc[alike, "replicate"].astype(int), default=0) + 1
            row = {"run_id": next(self.ids), "phase": phase, "build_id": label, "planned_order": 0, **levels}
            # Text as in the sealed run list.
            row["replicate"] = str(replicate) if isinstance(self.runs["replicate"].iloc[0], str) else replicate
            self.runs = pd.concat([self.runs, pd.DataFrame([row])[list(self.runs.columns)]], ignore_index=True)
            self.added.append(row["run_id"])
            self.touched[label] = None

    def _take(self, label: str, fewer: Counter[Line]) -> Counter[Line]:
        """Take runs out of a build that were not made, the last replicates first; gives what could be taken."""
        taken: Counter[Line] = Counter()
        left_as = self.standing.fixed | self.standing.repeats
        for at, row in reversed(list(self.runs[self.runs["build_id"] == label].iterrows())):
            line = tuple(row[name] for name in self.names)
            if row["run_id"] not in left_as and taken[line] < fewer[line]:
                taken[line] += 1
                self.dropped.append(str(row["run_id"]))
                self.runs = self.runs.drop(index=at)
        return taken


def _whole_plots(standing: Standing, now: Design) -> tuple[Change, dict[str, str]]:
    """Builds as units: begun ones stay, the others are those that the design still lacks, allotted anew."""
    made = _Made(standing)
    wanted = list(_contents(now).values())
    counting = standing.runs[~standing.runs["run_id"].isin(standing.lost)]
    holds = {build: _content(counting[counting["build_id"] == build], made.names) for build in standing.builds}
    for build in standing.begun:
        if holds[build] not in wanted:
            raise DesignError(
                f"build {build} has begun and holds what no build of the plan asked for holds "
                f"({', '.join(_told(line) for line in holds[build])}); builds as units of a factor must stay balanced"
            )
        wanted.remove(holds[build])
    for build in standing.builds:
        if build in standing.begun:
            continue
        if holds[build] in wanted:
            wanted.remove(holds[build])
        else:
            made.take_out(build, holds[build])
    for held in wanted:
        made.build(held)
    change = made.change_of()
    free = tuple(build for build in dict.fromkeys(change.runs["build_id"]) if build not in standing.begun)
    return replace(change, anew=free, allotted=free), {}


def _contents(design: Design) -> dict[str, Counter[Line]]:
    """Build to how often it holds each combination."""
    table, names = design.table, list(design.brief.factor_names)
    return {str(build): _content(part, names) for build, part in table.groupby("build_id", sort=False)}


def _content(runs: pd.DataFrame, names: list[str]) -> Counter[Line]:
    """How often runs hold each combination."""
    return Counter(tuple(row) for row in runs[names].itertuples(index=False, name=None))


def _told(line: Line) -> str:
    """A combination in words."""
    return " ".join(line)
