"""The phases of the brief's design, whichever it is: full factorial, or a set of runs made again (rank 3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from toolkit.brief.designs import FRACTION, SECOND_ORDER, TWO_LEVEL
from toolkit.brief.extensions import SAME
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import _refused, base, extend, factorial, in_builds, optimal_plots, plots_fraction, strata, units
from toolkit.design.base import Base
from toolkit.design.design import Design
from toolkit.errors import DesignError

# With fewer effects the median of their sizes is no scatter to judge by (common practice).
FEWEST_EFFECTS = 7


def main(brief: Brief, *, builds: int | None = None, replicates: int | None = None) -> Design:
    """The main phase of the brief's design.

    Parameters
    ----------
    brief : Brief
    builds : int, optional
        Where builds are blocks: how many, a multiple of those that one set is spread over. None: as the brief chose.
    replicates : int, optional
        Where runs are completely randomised: how often the set is made; where builds are blocks: within each build
        (default 1 there). None: as the brief chose.

    Returns
    -------
    Design
        phase 'main'.

    Raises
    ------
    DesignError
        When the number is not chosen, does not divide, or a build does not last; as ``factorial.full``.

    Notes
    -----
    Checked against: tests/unit/design/test_chosen.py.
    """
    if base.joined(brief):
        # By itself it is told by its own model; the brief stays whole.
        return replace(main(base.alone(brief), builds=builds, replicates=replicates), brief=brief)
    if in_builds.used(brief):
        return in_builds.phase(brief, "main", builds or brief.plan.builds)
    if not base.part(brief):
        return factorial.full(brief, builds=builds, replicates=replicates)
    if optimal_plots.used(brief):
        builds, replicates = builds or brief.plan.builds, replicates or brief.plan.replicates
        return optimal_plots.phase(brief, "main", builds=builds, replicates=replicates)
    if plots_fraction.used(brief):
        builds, replicates = builds or brief.plan.builds, replicates or brief.plan.replicates
        return plots_fraction.phase(brief, "main", builds=builds, replicates=replicates)
    if units.kept(brief):
        name = units.NAMES[units.kept(brief)[0]]
        raise DesignError(
            f"[plan] design = '{brief.plan.design}': only 'full factorial' is laid out where a {name} is kept over "
            f"several runs and carries a factor. Choose that, or put what is undone into new_each_run."
        )
    builds, replicates = builds or brief.plan.builds, replicates or brief.plan.replicates
    return _phase(brief, "main", builds, replicates, brief.plan.centre_points)


def extension(brief: Brief, *, builds: int | None = None, replicates: int | None = None) -> Design:
    """The extension of the brief's design: further builds or further sets beside the main phase.

    Parameters
    ----------
    brief : Brief
    builds, replicates : int, optional
        As in ``factorial.extension``; of a design that runs a part of the combinations, whole sets or the combinations
        that [extension] names.

    Raises
    ------
    DesignError
        As ``main`` and ``factorial.extension``.

    Notes
    -----
    Checked against: tests/unit/design/test_chosen.py.
    """
    if brief.extension is not None and brief.extension.design != SAME:
        return extend.design(brief, builds=builds, replicates=replicates)
    if brief.extension is not None and in_builds.used(brief):
        return in_builds.phase(brief, "extension", builds or brief.extension.builds)
    if brief.extension is None or not base.part(brief) or brief.extension.combinations:
        return factorial.extension(brief, builds=builds, replicates=replicates)
    builds, replicates = builds or brief.extension.builds, replicates or brief.extension.replicates
    if strata.layout_of_builds(brief) == strata.BLOCKS:
        replicates = brief.plan.replicates
    if optimal_plots.used(brief):
        return optimal_plots.phase(brief, "extension", builds=builds, replicates=replicates)
    if plots_fraction.used(brief):
        return plots_fraction.phase(brief, "extension", builds=builds, replicates=replicates)
    return _phase(brief, "extension", builds, replicates, brief.plan.centre_points)


def judged_by_each_other(design: Design) -> bool:
    """True where runs that leave no error can still be judged: a two-level fraction with seven effects or more.

    Notes
    -----
    Checked against: tests/unit/design/test_chosen.py.
    """
    held = [item for item in design.strata.strata if item.terms]
    return design.brief.plan.design == FRACTION and all(
        item.error_df != 0 or item.term_df >= FEWEST_EFFECTS for item in held
    )


def set_size(brief: Brief) -> int:
    """How many runs one set has, with its centre points; a full factorial's set is every combination once.

    Notes
    -----
    Checked against: tests/unit/design/test_chosen.py.
    """
    if base.joined(brief):
        return set_size(base.alone(brief))
    if in_builds.used(brief):
        return in_builds.set_size(brief)
    if not base.part(brief):
        return len(brief.combinations) + factorial.centre_points(brief) * brief.plan.centre_points
    held = base.of_brief(brief)
    return len(held.lines) + held.spread * len(_centre(brief)) * brief.plan.centre_points


def spread(brief: Brief) -> int:
    """Over how many builds one set is spread.

    Notes
    -----
    Checked against: tests/unit/design/test_chosen.py.
    """
    if in_builds.used(brief):
        return in_builds.spread(brief)
    return base.of_brief(brief).spread if base.part(brief) else 1


def _phase(brief: Brief, phase: str, builds: int, replicates: int, centre_points: int) -> Design:
    """A set made again and again, in builds or in one randomisation."""
    held = base.of_brief(brief)
    layout = strata.layout_of_builds(brief)
    lead = "" if phase == "main" else "extension, "
    if layout == strata.RANDOMISED:
        if not replicates:
            raise _refused.not_chosen("replicates", phase)
        rows = [dict(line, replicate=turn + 1) for turn in range(replicates) for line in _lines(brief, held, None)]
        if phase == "main":
            rows += _centre_rows(brief, centre_points, 0)
        name = f"{lead}{held.name}, {replicates} set{'s' * (replicates != 1)}"
        return _made(brief, phase, name, rows, ["B1" if phase == "main" else "X1"] * len(rows))
    if layout != strata.BLOCKS:
        raise DesignError(
            f"[plan] design = '{brief.plan.design}': not covered where a factor is kept over several runs; put what is "
            f"undone into new_each_run, or choose the full factorial."
        )
    if not builds:
        raise _refused.not_chosen("builds", phase)
    if builds % held.spread:
        below = builds - builds % held.spread
        raise DesignError(
            f"builds = {builds}: one set is spread over {held.spread} builds ([plan] split_over), so their number must "
            f"be a multiple of {held.spread}; choose {f'{below} or ' if below else ''}{below + held.spread}."
        )
    within = replicates or 1
    letter = "B" if phase == "main" else "X"
    rows, labels, sizes = [], [], set()
    for build in range(builds):
        turn, place = divmod(build, held.spread)
        own = [
            dict(line, replicate=turn * within + again + 1)
            for again in range(within)
            for line in _lines(brief, held, place)
        ]
        own += _centre_rows(brief, centre_points, build)
        rows += own
        labels += [f"{letter}{build + 1}"] * len(own)
        sizes.add(len(own))
    if brief.most_runs_in_build is not None and max(sizes) > brief.most_runs_in_build:
        raise DesignError(
            f"{max(sizes)} runs in a build, but a build lasts {brief.most_runs_in_build} ([blocks] most_runs); spread "
            f"the set over more builds ([plan] split_over), or take fewer runs a set."
        )
    of = " to ".join(str(size) for size in sorted({min(sizes), max(sizes)}))
    return _made(brief, phase, f"{lead}{held.name}, {builds} build{'s' * (builds != 1)} of {of} runs", rows, labels)


def _lines(brief: Brief, held: Base, build: int | None) -> list[dict[str, str]]:
    """The runs of a set that belong to one of its builds; None: all of them."""
    return [
        dict(zip(brief.factor_names, line, strict=True))
        for line, own in zip(held.lines, held.builds, strict=True)
        if build is None or own == build
    ]


def _centre(brief: Brief) -> list[dict[str, str]]:
    """The centre points beside a two-level set: the middle of the numeric factors at each combination of the others
    that the set runs; none where the set has centre runs of its own."""
    if brief.plan.design not in TWO_LEVEL:
        return []
    numeric = {factor.name for factor in brief.factors if factor.numeric}
    if not numeric:
        return []
    found = dict.fromkeys(
        tuple(CENTRE if name in numeric else level for name, level in zip(brief.factor_names, line, strict=True))
        for line in base.of_brief(brief).lines
    )
    return [dict(zip(brief.factor_names, line, strict=True)) for line in found]


def _centre_rows(brief: Brief, count: int, build: int) -> list[dict[str, object]]:
    """The centre runs of one build."""
    if not count or brief.plan.design in SECOND_ORDER:
        return []
    return [dict(line, replicate=build * count + turn + 1) for turn in range(count) for line in _centre(brief)]


def _made(brief: Brief, phase: str, name: str, rows: Sequence[Mapping[str, object]], builds: Sequence[str]) -> Design:
    """A design from its rows; lines that a set holds several times are replicates of each other."""
    _refused.beyond(len(rows), factorial.LARGEST)
    table = pd.DataFrame([{name: line[name] for name in brief.factor_names} for line in rows])
    table.insert(0, "build_id", list(builds))
    table.insert(1, "replicate", _numbered(table[list(brief.factor_names)]))
    return Design(brief, phase, name, strata.of_runs(brief, table))


def _numbered(levels: pd.DataFrame) -> list[int]:
    """The number of each run among those with its levels, from 1 up."""
    return [int(number) + 1 for number in levels.groupby(list(levels.columns), sort=False).cumcount()]
