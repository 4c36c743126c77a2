"""Full factorial designs with any number of levels: replicated, in complete blocks, or with build-level factors.

Rank 3. Each function takes the brief and gives a ``Design``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import _refused, positions, strata, units
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.wording import counted

LARGEST = 2000


def full(brief: Brief, *, builds: int | None = None, replicates: int | None = None) -> Design:
    """The main phase as a full factorial.

    Parameters
    ----------
    brief : Brief
    builds : int, optional
        Complete blocks (every combination once in a build), or builds in all where a factor's unit is the build.
        None: as the brief chose.
    replicates : int, optional
        Times each combination is run; within each build where there are builds (default 1 there), each time with parts
        and fills of its own where these are kept over several runs. None: as the brief chose. Centre points lie in the
        parts and fills of the corners, spread evenly over the replicates; where a part or fill is itself at the centre
        each has one of its own.

    Returns
    -------
    Design
        phase 'main'.

    Raises
    ------
    DesignError
        When the number is not chosen, or the builds cannot hold every level equally often.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> design = full(brief, builds=3)
    >>> design.name, len(design.table)
    ('full factorial, 3 builds of 4 runs', 12)
    """
    layout = strata.layout_of_builds(brief)
    centre = _centre_points(brief)
    if layout == strata.RANDOMISED:
        count = replicates or brief.plan.replicates
        if not count:
            raise _refused.not_chosen("replicates", "main")
        rows = [dict(line, replicate=turn + 1) for turn in range(count) for line in _all(brief)]
        rows += [
            dict(line, replicate=turn + 1, turn=turn % count + 1)
            for turn in range(brief.plan.centre_points)
            for line in centre
        ]
        return _made(brief, "main", f"full factorial, {counted(count, 'replicate')}", rows, ["B1"] * len(rows))
    count = builds or brief.plan.builds
    if not count:
        raise _refused.not_chosen("builds", "main")
    within = replicates or brief.plan.replicates or 1
    if layout == strata.BLOCKS:
        return _blocks(brief, count, within, centre, phase="main")
    return _whole_plots(brief, count, within)


def pilot(brief: Brief) -> Design:
    """The pilot: the brief's few combinations, replicated, in their own builds.

    Raises
    ------
    DesignError
        When the brief has no pilot, or its runs cannot be spread evenly over its builds.
    """
    if brief.pilot is None:
        raise DesignError("the brief has no [pilot]; add one, or go on without and size from a declared scatter.")
    chosen = [dict(line) for line in brief.pilot.combinations]
    upper = [f.name for f in brief.factors if strata.unit_of(brief, f) == "build"]
    groups: dict[tuple[str, ...], list[dict[str, str]]] = {}
    for line in chosen:
        groups.setdefault(tuple(line[name] for name in upper), []).append(line)
    builds, again = brief.pilot.builds, brief.pilot.replicates
    if builds % len(groups) or (again * len(groups)) % builds:
        raise DesignError(
            f"pilot: {again} runs of each of {len(chosen)} combinations cannot be spread evenly over {builds} builds"
            f"{f' (a build holds one level of {chr(32).join(upper)})' if upper else ''}; choose replicates and builds "
            f"so that every build holds the same number of runs of each combination."
        )
    each = builds // len(groups)
    rows, labels = [], []
    number = 0
    for group in groups.values():
        for build in range(each):
            number += 1
            for turn in range(again // each):
                for line in group:
                    rows.append(dict(line, replicate=build * (again // each) + turn + 1))
                    labels.append(f"PB{number}")
    name = f"pilot, {counted(again, 'run')} of {counted(len(chosen), 'combination')}"
    return _made(brief, "pilot", name, rows, labels)


def extension(brief: Brief, *, builds: int | None = None, replicates: int | None = None) -> Design:
    """The extension: further complete builds, or further runs of the combinations it names, beside the main phase.

    Parameters
    ----------
    brief : Brief
    builds : int, optional
        Where builds are blocks: further builds X1, X2, ..., each with what a build of the main phase holds. None: as
        the brief chose.
    replicates : int, optional
        Where runs are completely randomised: further runs of each combination of [extension] (all, where it names
        none); no centre points. None: as the brief chose.

    Returns
    -------
    Design
        phase 'extension'; its strata are those of its own runs. ``size.promise`` and the analysis take them together
        with those of the main phase.

    Raises
    ------
    DesignError
        When the brief has no extension, the number is not chosen, or builds are the units of a factor.
    """
    if brief.extension is None:
        raise DesignError("the brief has no [extension]; add one with builds or replicates.")
    layout = strata.layout_of_builds(brief)
    if layout == strata.WHOLE_PLOTS:
        raise _refused.units_extended()
    if layout == strata.BLOCKS:
        count = builds or brief.extension.builds
        if not count:
            raise _refused.not_chosen("builds", "extension")
        return _blocks(brief, count, brief.plan.replicates or 1, _centre_points(brief), phase="extension")
    count = replicates or brief.extension.replicates
    if not count:
        raise _refused.not_chosen("replicates", "extension")
    again = [dict(line) for line in brief.extension.combinations] or _all(brief)
    rows = [dict(line, replicate=turn + 1) for turn in range(count) for line in again]
    of = f" of {counted(len(again), 'combination')}" if brief.extension.combinations else ""
    return _made(brief, "extension", f"extension, {counted(count, 'replicate')}{of}", rows, ["X1"] * len(rows))


def centre_points(brief: Brief) -> int:
    """How many different centre points the brief's design has: one for each combination of the other factors."""
    return len(_centre_points(brief))


def _blocks(brief: Brief, builds: int, within: int, centre: Sequence[Mapping[str, str]], *, phase: str) -> Design:
    """Every combination ``within`` times in each build, with the centre points of each build."""
    letter, kind = {"main": ("B", "full factorial"), "extension": ("X", "extension")}[phase]
    rows, labels = [], []
    for block in range(builds):
        held = [dict(line, replicate=block * within + turn + 1) for turn in range(within) for line in _all(brief)]
        held += [
            dict(line, replicate=block * brief.plan.centre_points + turn + 1, turn=block * within + turn % within + 1)
            for turn in range(brief.plan.centre_points)
            for line in centre
        ]
        rows += held
        labels += [f"{letter}{block + 1}"] * len(held)
    each = len(by_position.run_combinations(brief)) * within + len(centre) * brief.plan.centre_points
    if brief.most_runs_in_build is not None and each > brief.most_runs_in_build:
        raise DesignError(
            f"{each} runs in a build, but a build lasts {brief.most_runs_in_build} ([blocks] most_runs); take fewer "
            f"replicates or centre points in each build, and more builds."
        )
    return _made(brief, phase, f"{kind}, {counted(builds, 'build')} of {each} runs", rows, labels)


def _whole_plots(brief: Brief, builds: int, within: int) -> Design:
    """Build-level factors over builds, the others complete within each build ``within`` times."""
    if brief.plan.centre_points:
        raise DesignError("centre_points: not offered where a factor's unit is the build; leave it out.")
    upper = [f for f in brief.factors if strata.unit_of(brief, f) == "build"]
    lower = [f for f in by_position.of_whole_runs(brief) if f not in upper]
    groups = list(product(*(f.names for f in upper)))
    if builds % len(groups):
        raise DesignError(
            f"builds = {builds}: {' and '.join(f.name for f in upper)} is changed with the build, so the number of "
            f"builds must be a multiple of {len(groups)} to hold every level equally often; choose "
            f"{builds - builds % len(groups) or len(groups)} or {builds + len(groups) - builds % len(groups)}."
        )
    rows, labels = [], []
    for build in range(builds):
        fixed = dict(zip([f.name for f in upper], groups[build % len(groups)], strict=True))
        for turn in range(within):
            for chosen in product(*(f.names for f in lower)):
                line = {**fixed, **dict(zip([f.name for f in lower], chosen, strict=True))}
                rows.append(dict(line, replicate=(build // len(groups)) * within + turn + 1))
                labels.append(f"B{build + 1}")
    return _made(
        brief,
        "main",
        f"full factorial, {counted(builds, 'build')} as units, {len(rows) // builds} runs in each",
        rows,
        labels,
    )


def _made(brief: Brief, phase: str, name: str, rows: Sequence[Mapping[str, object]], builds: Sequence[str]) -> Design:
    """A design from its rows."""
    _refused.beyond(len(rows), LARGEST)
    names = [item.name for item in by_position.of_whole_runs(brief)]
    table = pd.DataFrame([{name: line[name] for name in names} for line in rows], index=range(len(rows)))
    table.insert(0, "build_id", list(builds))
    table.insert(1, "replicate", [line["replicate"] for line in rows])
    table = units.numbered(brief, table, [int(line.get("turn", line["replicate"])) for line in rows])
    if by_position.divided(brief):
        table = positions.arranged(brief, table)
        name = f"{name}, {by_position.each_held(brief)}"
    return Design(brief, phase, name, strata.of_runs(brief, table))


def _all(brief: Brief) -> list[dict[str, str]]:
    """Every combination once."""
    names = [item.name for item in by_position.of_whole_runs(brief)]
    return [dict(zip(names, chosen, strict=True)) for chosen in by_position.run_combinations(brief)]


def _centre_points(brief: Brief) -> list[dict[str, str]]:
    """The centre of the numeric factors, at every combination of the others."""
    if not brief.plan.centre_points:
        return []
    numeric = [f for f in brief.factors if f.numeric]
    if not numeric or any(len(f.levels) != 2 for f in numeric):
        raise DesignError(
            "centre_points: only where every numeric factor has two levels and there is one at least; "
            "a factor with three levels shows its own curvature. Leave centre_points out."
        )
    choices = [[CENTRE] if f.numeric else list(f.names) for f in brief.factors]
    return [dict(zip(brief.factor_names, chosen, strict=True)) for chosen in product(*choices)]
