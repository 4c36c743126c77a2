"""Where the axial points lie that are added to a two-level plan: their distance and their levels (rank 2)."""

from __future__ import annotations

import math

from toolkit.brief.designs import FRACTION
from toolkit.brief.extensions import AXIAL
from toolkit.brief.model import Brief, Factor, number_name

FACES = "face-centred"
ROTATABLE = "rotatable"


def there(brief: Brief) -> bool:
    """True where the extension adds axial points.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    return brief.extension is not None and brief.extension.design == AXIAL


def times(brief: Brief) -> int:
    """How often a set of axial points is run: in so many builds, or so many replicates.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    return brief.extension.builds or brief.extension.replicates or 1


def cube_runs(brief: Brief) -> int:
    """How many two-level runs the main phase has, centre points left out.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    plan = brief.plan
    one = plan.runs if plan.design == FRACTION else 2 ** len(brief.factors)
    # Whether builds are blocks is read from how the plan grows: phases side by side are blocks whatever it is.
    if plan.builds:
        return one * (plan.builds // plan.split_over) * (plan.replicates or 1)
    return one * plan.replicates


def distance(brief: Brief) -> float:
    """How far the axial points lie from the centre, in coded units of the two-level runs.

    Returns
    -------
    float
        Face-centred: 1. Rotatable: (F / t)^(1/4) with F two-level runs and the axial points run t times. Orthogonal
        blocking: sqrt(F (2 k t + n_a) / (2 t (F + n_c))) with n_a centre runs beside the axial points and n_c in the
        main phase. (G. E. P. Box and J. S. Hunter, Ann. Math. Stat. 28 (1957) 195-241.)

    Checked against: k06-ccd-axial-distance, tests/unit/design/test_extend_axial.py.
    """
    given, cube, turns = brief.extension, cube_runs(brief), times(brief)
    if given.axial == FACES:
        return 1.0
    if given.axial == ROTATABLE:
        return (cube / turns) ** 0.25
    centres = brief.plan.centre_points * (brief.plan.builds or 1)
    beside = 2 * len(brief.factors) * turns + given.centre_points * turns
    return math.sqrt(cube * beside / (2.0 * turns * (cube + centres)))


def levels(brief: Brief, factor: Factor) -> tuple[str, str]:
    """The names of the two axial levels of a factor: numbers of six digits, or its own levels where they lie there.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    if brief.extension.axial == FACES:
        return factor.names[0], factor.names[1]
    middle, half = of_factor(factor)
    reach = half * distance(brief)
    return number_name(float(f"{middle - reach:.6g}")), number_name(float(f"{middle + reach:.6g}"))


def added(brief: Brief, factor: Factor) -> tuple[str, ...]:
    """The axial levels that the main phase does not have; none where the extension adds no axial points.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    if not there(brief) or not factor.numeric or len(factor.levels) != 2:
        return ()
    return tuple(name for name in levels(brief, factor) if name not in factor.names)


def coded(factor: Factor, level: str) -> float:
    """A level of a two-level numeric factor in coded units: -1 the first level, 1 the second.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    middle, half = of_factor(factor)
    return (float(level) - middle) / half


def of_factor(factor: Factor) -> tuple[float, float]:
    """The middle of a two-level numeric factor and half the way from its first to its second level.

    Checked against: tests/unit/design/test_extend_axial.py.
    """
    low, high = (float(level.value or 0.0) for level in factor.levels)
    return (low + high) / 2.0, (high - low) / 2.0
