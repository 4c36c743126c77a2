"""A sealed plan of another size: builds, replicates or levels more or fewer, what was made left as it is (rank 3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from toolkit.brief import by_position
from toolkit.design import incomplete_blocks, kept_again, kept_resized, latin, strata
from toolkit.design._run_list import Line, RunList, told_of
from toolkit.design.changed import Change, Standing
from toolkit.design.design import Design
from toolkit.errors import DesignError


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
    is not gone; runs that were made stay. Runs that repeat lost ones are left as they are. Where parts or fills are
    kept over several runs this is done unit by unit (``kept_resized``).

    Checked against: tests/unit/design/test_resized.py, test_kept_again.py (by hand).
    """
    if by_position.divided(now.brief):
        raise DesignError(
            "the positions of a run hold parts of their own: a plan of another size is not worked out for what is "
            "under way. Go on with what is planned, or plan the further runs as a campaign of their own"
        )
    if latin.used(now.brief):
        raise DesignError(
            f"a Latin square: the order of further builds is drawn with their square. Plan them as an extension "
            f"([extension] builds = {latin.builds_in_set(now.brief)})"
        )
    if incomplete_blocks.searched(now.brief):
        raise DesignError(
            "incomplete blocks: those of another number of builds hold other levels from the first build on. Plan the "
            "further builds as an extension ([extension] builds), which is searched for beside what is planned"
        )
    if strata.layout_of_builds(now.brief) == strata.WHOLE_PLOTS:
        return _whole_plots(standing, now)
    old, new = _contents(before), _contents(now)
    made = RunList(standing)
    there: dict[str, str] = {}
    for build, held in new.items():
        there[build] = labels.get(build, build) if build in old else made.build()
        if kept_again.columns(now.brief):
            kept_resized.change(now.brief, made, there[build], _rows(before, build), _rows(now, build))
        else:
            had = old.get(build, Counter())
            made.change(there[build], held - had, had - held)
    for build in old:
        if build not in new:
            made.take_out(labels.get(build, build), old[build])
    return made.change_of(), there


def same_runs(before: Design, now: Design) -> bool:
    """True when two designs hold the same runs in the same builds."""
    return _contents(before) == _contents(now)


def _whole_plots(standing: Standing, now: Design) -> tuple[Change, dict[str, str]]:
    """Builds as units: begun ones stay, the others are those that the design still lacks, allotted anew."""
    made = RunList(standing)
    contents = _contents(now)
    wanted = list(contents.values())
    counting = standing.runs[~standing.runs["run_id"].isin(standing.lost)]
    holds = {build: _content(counting[counting["build_id"] == build], made.names) for build in standing.builds}
    for build in standing.begun:
        if holds[build] not in wanted:
            raise DesignError(
                f"build {build} has begun and holds what no build of the plan asked for holds "
                f"({', '.join(told_of(line) for line in holds[build])}); builds as units of a factor must stay "
                f"balanced. Go on with what is planned, or plan the further builds as a campaign of their own"
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
        label = made.build()
        if kept_again.columns(now.brief):
            like = next(build for build, content in contents.items() if content == held)
            rows = _rows(now, like)
            kept_resized.change(now.brief, made, label, rows.iloc[:0], rows)
        else:
            made.change(label, held, Counter())
    change = made.change_of()
    free = tuple(build for build in dict.fromkeys(change.runs["build_id"]) if build not in standing.begun)
    return replace(change, anew=free, allotted=free), {}


def _contents(design: Design) -> dict[str, Counter[Line]]:
    """Build to how often it holds each combination."""
    table, names = design.table, list(design.brief.factor_names)
    return {str(build): _content(part, names) for build, part in table.groupby("build_id", sort=False)}


def _rows(design: Design, build: str) -> pd.DataFrame:
    """The runs of a build of a design; none where it has no such build."""
    table = design.table
    return table[table["build_id"].astype(str) == build]


def _content(runs: pd.DataFrame, names: list[str]) -> Counter[Line]:
    """How often runs hold each combination."""
    return Counter(tuple(row) for row in runs[names].itertuples(index=False, name=None))
