"""The array of runs behind a chosen design, from the keys of [plan]: for the checks and for the design (rank 2)."""

from __future__ import annotations

from collections.abc import Sequence

from toolkit.brief import plots
from toolkit.brief.designs import BOX_BEHNKEN
from toolkit.brief.model import Brief, Factor
from toolkit.numeric import fractions, screening, surfaces
from toolkit.numeric.fractions import Fraction, Pair
from toolkit.numeric.plot_fractions import PlotFraction
from toolkit.numeric.surfaces import BLOCKED, FACES, Surface


def fraction_of(brief: Brief) -> Fraction | None:
    """The two-level fraction that [plan] asks for; None where no fraction of that size keeps what is to be kept.

    Interactions of ``keep_clear`` are clear; those that comparisons ask for are apart from main effects and from each
    other.

    Raises
    ------
    ModelError
        When there is no fraction of that size at all.
    """
    count = len(brief.factors)
    clear, asked = kept_pairs(brief), asked_pairs(brief)
    if plots.used(brief):
        laid = plots.fraction_of(brief, clear, asked)
        return None if laid is None else laid.fraction
    if not clear and not asked:
        return fractions.minimum_aberration(count, brief.plan.runs)
    return fractions.keeping(count, brief.plan.runs, clear, apart=asked)


def in_units(brief: Brief) -> PlotFraction | None:
    """The two-level fraction with its units, where a factor is kept over several runs; None elsewhere.

    Raises
    ------
    ModelError
        When there are no such units in so many runs.
    """
    return plots.fraction_of(brief, kept_pairs(brief), asked_pairs(brief)) if plots.used(brief) else None


def kept_pairs(brief: Brief) -> tuple[Pair, ...]:
    """The interactions of ``keep_clear`` as numbers of factors."""
    return _pairs(brief, brief.plan.keep_clear)


def asked_pairs(brief: Brief) -> tuple[Pair, ...]:
    """The two-factor interactions that comparisons ask for, as numbers of factors."""
    return _pairs(brief, [item.interaction for item in brief.comparisons if len(item.interaction) == 2])


def plackett_burman_runs(brief: Brief) -> int | None:
    """The runs of a Plackett-Burman plan: as chosen, or the fewest that hold the factors; None beyond 23 factors."""
    if brief.plan.runs:
        return brief.plan.runs
    return next((runs for runs in screening.PLACKETT_BURMAN if runs > len(brief.factors)), None)


def surface_of(brief: Brief) -> Surface:
    """The response-surface plan that [plan] asks for, ``centre_points`` in each build that a set is spread over.

    Raises
    ------
    ModelError
        When it cannot be laid out.
    """
    count, over, centre = len(brief.factors), brief.plan.split_over, brief.plan.centre_points
    if brief.plan.design == BOX_BEHNKEN:
        return surfaces.box_behnken(count, centres=centre * over, blocks=over > 1)
    if brief.plan.axial == BLOCKED:
        cube = max(over - 1, 1)
        return surfaces.central_composite(BLOCKED, count, centres=(centre * cube, centre), cube_blocks=cube)
    return surfaces.central_composite(brief.plan.axial, count, centres=(0, centre))


def steps_of(brief: Brief) -> tuple[float, ...]:
    """The coded levels that a factor of a response-surface or three-level plan must have, from low to high."""
    if brief.plan.design != "central composite" or brief.plan.axial == FACES:
        return (-1.0, 0.0, 1.0)
    distance = surface_of(brief).distance
    outer = [-distance, -1.0, 0.0, 1.0, distance]
    return tuple(outer if distance > 1.0 else sorted({*outer}))


def coded(factor: Factor) -> tuple[float, ...]:
    """The levels of a numeric factor in coded units: -1 and 1 are the second and the last but one of five, the first
    and the last of three; 0 is the middle one."""
    values = [float(level.value or 0.0) for level in factor.levels]
    middle = values[len(values) // 2]
    low, high = (values[1], values[-2]) if len(values) == 5 else (values[0], values[-1])
    return tuple(2.0 * (value - middle) / (high - low) for value in values)


def _pairs(brief: Brief, named: Sequence[Sequence[str]]) -> tuple[Pair, ...]:
    """Interactions by name as numbers of factors, each once, in order."""
    names = list(brief.factor_names)
    found = {tuple(sorted((names.index(pair[0]), names.index(pair[1])))) for pair in named}
    return tuple(sorted((one, other) for one, other in found))
