"""Which plans are proposed: every number of builds and replicates up to the most runs, with and without centre points.

Rank 5. A further kind of design is one more function here, with its name in ``_KINDS``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from toolkit.brief import by_position, check_blocked, check_designs
from toolkit.brief.designs import FRACTION, FULL
from toolkit.brief.extensions import FOLD, MAKE_UP, SAME, SEMIFOLD
from toolkit.brief.model import Brief
from toolkit.design import base, chosen, factorial, in_builds, incomplete_blocks, optimal, plots_fraction, strata
from toolkit.design.design import Design
from toolkit.errors import DesignError, SizingError
from toolkit.numeric import efficient_blocks
from toolkit.size import _leaner as leaner
from toolkit.size._option_words import MOST_RUNS
from toolkit.wording import counted

# Centre points that are proposed for each combination of the factors without numbers, where the brief has none.
_CENTRE = {strata.RANDOMISED: (3, 5), strata.BLOCKS: (1, 2)}


# Of runs that tell more than the main phase so many sets are proposed.
_MOST_SETS = 3
# Numbers of builds that incomplete blocks are searched for.
_MOST_SEARCHED = 6
# Of fewer two-level factors no fraction keeps main effects clear of interactions.
_FEWEST = 4


def of_brief(brief: Brief) -> list[Design]:
    """Every plan of the main phase that the brief allows, by runs and builds.

    Raises
    ------
    SizingError
        When not one is small enough.

    Notes
    -----
    Checked against: counts by hand, tests/unit/size/test_candidates.py.
    """
    made = [design for kind in _KINDS for design in kind(brief)]
    made += leaner.plans(brief, made)
    if not made:
        one = len(by_position.run_combinations(brief))
        raise SizingError(
            f"{one} combinations: two runs of each are more than {MOST_RUNS} runs, or than a build lasts; that is the "
            f"most that is sized here. Leave out levels or factors, or choose design = 'optimal' in [plan]: a stated "
            f"number of runs that tells a stated model."
        )
    return sorted(made, key=lambda design: (design.runs, design.builds))


def of_extension(brief: Brief) -> list[Design]:
    """Every extension of the brief up to the most runs.

    Notes
    -----
    Checked against: counts by hand, tests/unit/size/test_options.py.
    """
    alone = base.alone(brief)
    kind = brief.extension.design if brief.extension is not None else SAME
    # Of runs that are more than the set again, those of one new build are not spread.
    each = chosen.spread(alone) if kind in (SAME, FOLD, SEMIFOLD) else 1
    one = chosen.extension(brief, builds=each, replicates=1).runs
    if kind not in (SAME, MAKE_UP):
        made = [
            chosen.extension(brief, builds=n * each, replicates=n)
            for n in range(1, _MOST_SETS + 1)
            if n * one <= MOST_RUNS or n == 1
        ]
        own = chosen.extension(brief)
        return made if own.name in [design.name for design in made] else [*made, own]
    return [chosen.extension(brief, builds=n * each, replicates=n) for n in range(1, max(MOST_RUNS // one, 1) + 1)]


def _factorials(brief: Brief) -> list[Design]:
    """Full factorials of the brief's layout."""
    if base.part(brief) or in_builds.used(brief):
        return []
    layout = strata.layout_of_builds(brief)
    one = len(by_position.run_combinations(brief))
    centre = factorial.centre_points(brief) * brief.plan.centre_points
    if layout == strata.RANDOMISED:
        return [factorial.full(brief, replicates=count) for count in range(2, (MOST_RUNS - centre) // one + 1)]
    if layout == strata.BLOCKS:
        lasts = brief.most_runs_in_build or MOST_RUNS
        return [
            factorial.full(brief, builds=builds, replicates=within)
            for within in (1, 2, 3)
            if one * within + centre <= lasts
            for builds in range(1, MOST_RUNS // (one * within + centre) + 1)
            if builds * within > 1
        ]
    groups = math.prod(len(f.levels) for f in brief.factors if strata.unit_of(brief, f) == "build")
    lower = one // groups
    return [
        factorial.full(brief, builds=builds, replicates=within)
        for within in (1, 2)
        for builds in range(2 * groups, MOST_RUNS // (lower * within) + 1, groups)
    ]


def _sets(brief: Brief) -> list[Design]:
    """Sets of a design that runs a part of the combinations, made again and again."""
    if not base.part(brief) and not in_builds.used(brief):
        return []
    each, size = chosen.spread(brief), chosen.set_size(brief)
    # Where builds are blocks, or units of a factor, plans grow by builds.
    blocked = strata.layout_of_builds(brief) != strata.RANDOMISED
    made = []
    if incomplete_blocks.searched(brief):
        return _incomplete(brief)
    # One set of incomplete blocks, or of an optimal design, is shown, however many runs it takes.
    least = int(in_builds.used(brief) or optimal.used(brief))
    # Of a fraction in units two sets are, since one leaves nothing to judge the coarser units by.
    least = 2 if plots_fraction.used(brief) else least
    for turns in range(1, max(MOST_RUNS // size, least) + 1):
        try:
            design = chosen.main(brief, **({"builds": turns * each} if blocked else {"replicates": turns}))
            # Too few builds, parts or fills leave nothing to judge what is changed with them by.
            told = all(item.error_df != 0 or not item.terms for item in design.strata.strata)
            if told or not plots_fraction.used(brief):
                made.append(design)
        except DesignError:
            # A build does not last that long.
            continue
    return made


def _incomplete(brief: Brief) -> list[Design]:
    """The most efficient incomplete blocks over some numbers of builds, that of the brief among them."""
    size = check_blocked.runs_in_build(brief)
    low, most = efficient_blocks.fewest(len(brief.combinations), size), max(MOST_RUNS // size, 1)
    step = max((most - low) // _MOST_SEARCHED, 1)
    numbers = {*range(low, most + 1, step), *({brief.plan.builds} - {0}), low}
    return [chosen.main(brief, builds=builds) for builds in sorted(numbers)]


def _with_centre(brief: Brief) -> list[Design]:
    """Full factorials with centre points added, where the brief has none and its factors take them."""
    numeric = [factor for factor in brief.factors if factor.numeric]
    odd = not numeric or any(len(factor.levels) != 2 for factor in numeric)
    if base.part(brief) or in_builds.used(brief) or brief.plan.centre_points or odd:
        return []
    layout, made = strata.layout_of_builds(brief), []
    for count in _CENTRE.get(layout, ()):
        own = replace(brief, plan=replace(brief.plan, centre_points=count))
        centre, one = factorial.centre_points(own) * count, len(by_position.run_combinations(brief))
        try:
            if layout == strata.RANDOMISED:
                # The centre points repeat each other, so that the corners need not be.
                made += [factorial.full(own, replicates=turns) for turns in range(1, (MOST_RUNS - centre) // one + 1)]
            else:
                most = MOST_RUNS // (one + centre)
                made += [factorial.full(own, builds=builds, replicates=1) for builds in range(2, most + 1)]
        except DesignError:
            # A build does not last that long.
            continue
    return [
        replace(design, name=f"{design.name}, {counted(design.brief.plan.centre_points, 'centre point')}")
        for design in made
    ]


def _fractions(brief: Brief) -> list[Design]:
    """Two-level fractions of a full factorial, of resolution IV at least and with the interactions asked for clear.

    Down to the smallest there are.
    """
    plan = brief.plan
    plain = plan.design == FULL and not plan.centre_points and not plan.nil_interactions
    plain = plain and not by_position.divided(brief)
    if not plain or len(brief.factors) < _FEWEST or any(len(factor.levels) != 2 for factor in brief.factors):
        return []
    asked = tuple(item.interaction for item in brief.comparisons if item.interaction)
    made = []
    for halvings in range(1, len(brief.factors) - 2):
        runs = len(brief.combinations) >> halvings
        chosen_plan = replace(plan, design=FRACTION, runs=runs, resolution=4, keep_clear=asked)
        own = replace(brief, plan=chosen_plan)
        if not check_designs.design(own):
            # A single set has no repeats; what it shows is judged by effects taken as nil, which is not sized.
            made += [design for design in _sets(own) if design.runs > runs]
    return made


_KINDS: tuple[Callable[[Brief], list[Design]], ...] = (_factorials, _fractions, _with_centre, _sets)
