"""Another set of runs in the place of a sealed one: lost runs made again, or a plan of another size (rank 3).

What is changed here is which runs there are; where the remaining ones come in the order is drawn by
``design.remaining``.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import kept_again, latin, remaining, strata
from toolkit.design.remaining import Redrawn
from toolkit.errors import DesignError

REPEAT, REPLACE, WITHOUT = "repeat", "replace", "without"
CHOICES = (REPEAT, REPLACE, WITHOUT)


@dataclass(frozen=True, eq=False)
class Change:
    """Another set of runs, and what of the order is drawn anew for it.

    Attributes
    ----------
    runs : DataFrame
        The run list: rows kept first, as they were, then the added ones with planned_order 0.
    added, dropped : tuple of str
        Runs that are new, and runs not made yet that are taken out.
    instead : mapping of str to str
        Lost run to the one that is made for it.
    new_builds : tuple of str
        Builds that are built for added runs.
    notes : tuple of str
        What the reader must know.
    anew, last, allotted, within : tuple of str
        As for ``remaining.redraw``.
    """

    runs: pd.DataFrame
    added: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    instead: Mapping[str, str] | None = None
    new_builds: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    anew: tuple[str, ...] = ()
    last: tuple[str, ...] = ()
    allotted: tuple[str, ...] = ()
    within: tuple[str, ...] = ()

    def redrawn(self, *, fixed: Collection[str], seed: Sequence[int]) -> Redrawn:
        """The run list in its new order; see ``remaining.redraw``."""
        return remaining.redraw(
            self.runs,
            fixed=fixed,
            anew=self.anew,
            last=self.last,
            allotted=self.allotted,
            within=self.within,
            seed=seed,
        )


@dataclass(frozen=True, eq=False)
class Standing:
    """A sealed run list and how far it has come.

    Attributes
    ----------
    brief : Brief
    runs : DataFrame
        In planned order.
    fixed : frozenset of str
        Runs that were made or are set up: their rows stay.
    used : frozenset of str
        Every run id that the phase ever had.
    repeats : frozenset of str
        Runs that stand behind all others because they repeat lost ones, where runs are completely randomised.
    lost : frozenset of str
        Runs that no longer count: their row stays, and what is to be done for them was decided.
    """

    brief: Brief
    runs: pd.DataFrame
    fixed: frozenset[str]
    used: frozenset[str]
    repeats: frozenset[str] = frozenset()
    lost: frozenset[str] = frozenset()

    @property
    def builds(self) -> tuple[str, ...]:
        """The builds in their order."""
        return tuple(dict.fromkeys(self.runs["build_id"]))

    @property
    def begun(self) -> tuple[str, ...]:
        """The builds of which a run was made or is set up."""
        there = set(self.runs.loc[self.runs["run_id"].isin(self.fixed), "build_id"])
        return tuple(build for build in self.builds if build in there)

    def gone(self, build: str) -> str:
        """The later build that was begun, so that this one is no longer there; empty while it may be."""
        after = self.builds[self.builds.index(build) + 1 :]
        return next((name for name in after if name in self.begun), "")

    def ids(self) -> Iterator[str]:
        """Further run ids: the letter of the phase, and numbers that go on counting."""
        letter = next(iter(self.used))[0]
        wide = max(len(name) for name in self.used) - 1
        number = max(int(name[1:]) for name in self.used)
        while True:
            number += 1
            yield f"{letter}{number:0{wide}d}"

    def labels(self) -> Iterator[str]:
        """Further builds: the letters of the phase's builds, and numbers that go on counting."""
        found = [match.groups() for name in self.builds if (match := re.fullmatch(r"([A-Za-z]+)(\d+)", name))]
        letters = found[0][0] if found else "B"
        number = max([int(digits) for _, digits in found] or [0])
        while True:
            number += 1
            yield f"{letters}{number}"


def made_again(brief: Brief) -> bool:
    """True where lost runs can be made again: not in a Latin square, nor where positions hold parts of their own.

    Notes
    -----
    Checked against: tests/unit/campaign/test_kept_parts.py, test_blocked_designs.py.
    """
    return not by_position.divided(brief) and not latin.used(brief)


def lost(standing: Standing, choice: str, names: Sequence[str]) -> Change:
    """The runs that are made when some were lost.

    Parameters
    ----------
    standing : Standing
    choice : str
        repeat: each lost run is made again behind all others; where builds are blocks in the last build while that
        has room ([blocks] most_runs), else in builds of its own. replace: in the build it was lost from, drawn
        among the runs that are left there. without: not at all. Where a part or fill is kept over several runs, a
        repeated run gets one of its own, those lost from one unit sharing it again; a replaced run goes into the unit
        it was lost from while that is still set up.
    names : sequence of str
        Lost runs, or runs that will not be made where they stand (not for replace): these are taken out.

    Returns
    -------
    Change

    Raises
    ------
    DesignError
        When the build of a run to be replaced is gone, or nothing is left that it could be drawn among.

    Notes
    -----
    Checked against: tests/unit/design/test_changed.py, test_kept_again.py (by hand).
    """
    chosen = standing.runs[standing.runs["run_id"].isin(names)]
    dropped = tuple(run for run in chosen["run_id"] if run not in standing.fixed)
    kept = standing.runs[~standing.runs["run_id"].isin(dropped)]
    if choice == WITHOUT:
        return Change(kept, dropped=dropped, instead={})
    _refuse_positions(standing.brief)
    _refuse_square(standing.brief)
    layout = strata.layout_of_builds(standing.brief)
    notes: list[str] = []
    fresh: tuple[str, ...] = ()
    if choice == REPLACE:
        _refuse_replaced(standing, chosen, layout)
        builds = list(chosen["build_id"])
    elif layout == strata.RANDOMISED:
        builds = list(chosen["build_id"])
    elif layout == strata.BLOCKS:
        builds = list(_with_room(standing, kept, len(chosen)))
        fresh = tuple(dict.fromkeys(build for build in builds if build not in standing.builds))
    else:
        # Runs of one build go into one build again: it takes the place of that one as a unit.
        labels = standing.labels()
        to = {build: next(labels) for build in dict.fromkeys(chosen["build_id"])}
        builds, fresh = [to[build] for build in chosen["build_id"]], tuple(to.values())
    ids = standing.ids()
    more = chosen.assign(run_id=[next(ids) for _ in range(len(chosen))], planned_order=0, build_id=builds)
    within = tuple(kept_again.columns(standing.brief))
    if within and choice == REPLACE:
        more, notes = kept_again.replaced(standing.brief, standing.runs, chosen, more, standing.fixed)
    elif within:
        more, notes = kept_again.repeated(standing.brief, standing.runs, chosen, more)
    made = pd.concat([kept, more], ignore_index=True)
    notes += _notes(standing.brief, made, more, layout)
    behind = layout == strata.RANDOMISED and choice == REPEAT
    last = {run for run in standing.repeats if run in set(kept["run_id"]) - standing.fixed}
    return Change(
        made,
        added=tuple(more["run_id"]),
        dropped=dropped,
        instead=dict(zip(chosen["run_id"], more["run_id"], strict=True)),
        new_builds=fresh,
        notes=tuple(notes),
        anew=() if behind else tuple(dict.fromkeys(more["build_id"])),
        last=tuple(sorted(last)) + (tuple(more["run_id"]) if behind else ()),
        within=within,
    )


def _refuse_positions(brief: Brief) -> None:
    """Refuse where positions hold parts of their own."""
    if by_position.divided(brief):
        raise DesignError(
            "the positions of a run hold parts of their own: what goes to which position of a run that is made again "
            "is not worked out. Go on without it: the analysis takes squares with gaps"
        )


def _refuse_square(brief: Brief) -> None:
    """Refuse where the order is that of a Latin square."""
    if latin.used(brief):
        raise DesignError(
            f"a Latin square: a run that is made again has a place in its build that no other level shares, and tells "
            f"nothing. Go on without it: the analysis takes squares with gaps; or plan a further square as an "
            f"extension ([extension] builds = {latin.builds_in_set(brief)})"
        )


def _refuse_replaced(standing: Standing, chosen: pd.DataFrame, layout: str) -> None:
    """Refuse to replace runs where their build is gone."""
    wrong = []
    for build, part in chosen.groupby("build_id", sort=False):
        named = ", ".join(part["run_id"])
        later = standing.gone(str(build))
        inside = standing.runs[standing.runs["build_id"] == build]["run_id"]
        left = [run for run in inside if run not in standing.fixed and run not in set(chosen["run_id"])]
        if later:
            wrong.append(f"{named}: build {build} is gone, since build {later} has begun")
        elif kept_again.columns(standing.brief):
            wrong += kept_again.refused(standing.brief, standing.runs, part, standing.fixed)
        elif layout == strata.RANDOMISED and not left:
            wrong.append(f"{named}: no run is left to be made, so there is nothing to draw it among")
    if wrong:
        raise DesignError(f"{'; '.join(wrong)}")


def _with_room(standing: Standing, kept: pd.DataFrame, count: int) -> Iterator[str]:
    """A build for each of some runs: the last one while it has room, then builds of their own."""
    most = standing.brief.most_runs_in_build
    build = standing.builds[-1]
    inside = int((kept["build_id"] == build).sum())
    labels = standing.labels()
    for _ in range(count):
        if inside == 0 and build in standing.builds or most is not None and inside >= most:
            build, inside = next(labels), 0
        inside += 1
        yield build


def _notes(brief: Brief, made: pd.DataFrame, more: pd.DataFrame, layout: str) -> list[str]:
    """What is to be known of the builds that runs are added to."""
    notes = []
    for build, part in more.groupby("build_id", sort=False):
        inside = int((made["build_id"] == build).sum())
        named = ", ".join(part["run_id"])
        if layout == strata.BLOCKS and inside == 1:
            notes.append(
                f"{named} alone in build {build} tells nothing of any comparison, since runs are compared within builds"
            )
        if brief.most_runs_in_build is not None and inside > brief.most_runs_in_build:
            notes.append(
                f"build {build} is then run {inside} times, lost runs among them, and lasts {brief.most_runs_in_build} "
                f"([blocks] most_runs)"
            )
    return notes
