"""Messages about numbers that make no sense: all faults at once, whole texts."""

import numpy as np
import pytest

from toolkit.errors import SizingError
from toolkit.numeric import _guards as guards
from toolkit.numeric import components, intervals, memory, noncentral, promise


def text(faults) -> list[str]:
    """The faults as they are printed."""
    return [str(fault) for fault in faults]


def test_good_numbers_have_no_faults() -> None:
    """Legal values, their edges included, pass."""
    found = [
        *guards.probability("alpha", [1e-9, 0.5, 1 - 1e-9]),
        *guards.positive("SD", [1e-300, 1e300]),
        *guards.positive("df", np.inf, infinite=True),
        *guards.not_negative("SD", [0.0, 1.0]),
        *guards.not_negative("df", [0.0, np.inf], infinite=True),
        *guards.finite("gain", [-1e300, 0.0, 1e300]),
    ]
    assert found == []


def test_edges_and_missing_values_are_told() -> None:
    """Each rule at the value just outside it; a missing value is named in words."""
    found = [
        *guards.probability("alpha", 0.0),
        *guards.probability("alpha", 1.0),
        *guards.positive("SD", [0.0, -1.5, 2.0]),
        *guards.positive("SD", np.inf),
        *guards.not_negative("SD", np.inf),
        *guards.not_negative("df", -0.25, infinite=True),
        *guards.finite("gain", np.nan),
        *guards.finite("gain", [1.0, -np.inf]),
    ]
    assert text(found) == [
        "alpha: 0 was given; expected a share between 0 and 1, both excluded.",
        "alpha: 1 was given; expected a share between 0 and 1, both excluded.",
        "SD: 0 (and 1 more) was given; expected a number above 0.",
        "SD: inf was given; expected a number above 0.",
        "SD: inf was given; expected 0 or a number above 0.",
        "df: -0.25 was given; expected 0 or a number above 0.",
        "gain: a missing value was given; expected a finite number.",
        "gain: -inf was given; expected a finite number.",
    ]


BAD = {
    "critical_t": (
        lambda: noncentral.critical_t(-1, alpha=2),
        "The critical value of t cannot be worked out.\n"
        "  alpha: 2 was given; expected a share between 0 and 1, both excluded.\n"
        "  df: -1 was given; expected 0 or a number above 0.",
    ),
    "power_t": (
        lambda: noncentral.power_t(np.nan, 0, -1, alpha=0),
        "The power of the comparison cannot be worked out.\n"
        "  difference: a missing value was given; expected a finite number.\n"
        "  standard error: 0 was given; expected a number above 0.\n"
        "  df: -1 was given; expected 0 or a number above 0.\n"
        "  alpha: 0 was given; expected a share between 0 and 1, both excluded.",
    ),
    "power_f": (
        lambda: noncentral.power_f(-1, 0, -1, alpha=1.5),
        "The power of the F test cannot be worked out.\n"
        "  noncentrality: -1 was given; expected 0 or a number above 0.\n"
        "  df of the effect: 0 was given; expected a number above 0.\n"
        "  df of the error: -1 was given; expected 0 or a number above 0.\n"
        "  alpha: 1.5 was given; expected a share between 0 and 1, both excluded.",
    ),
    "detectable": (
        lambda: noncentral.detectable(0, -1, alpha=0, power=1),
        "The detectable difference cannot be worked out.\n"
        "  standard error: 0 was given; expected a number above 0.\n"
        "  df: -1 was given; expected 0 or a number above 0.\n"
        "  alpha: 0 was given; expected a share between 0 and 1, both excluded.\n"
        "  power: 1 was given; expected a share between 0 and 1, both excluded.",
    ),
    "sd_interval": (
        lambda: intervals.sd_interval(-1, 0, conf_level=95),
        "The limits of the SD cannot be worked out.\n"
        "  SD: -1 was given; expected 0 or a number above 0.\n"
        "  df: 0 was given; expected a number above 0.\n"
        "  conf_level: 95 was given; expected a share between 0 and 1, both excluded.",
    ),
    "sd_upper": (
        lambda: intervals.sd_upper(-1, 0, level=80),
        "The upper limit of the SD cannot be worked out.\n"
        "  SD: -1 was given; expected 0 or a number above 0.\n"
        "  df: 0 was given; expected a number above 0.\n"
        "  level: 80 was given; expected a share between 0 and 1, both excluded.",
    ),
    "t_interval": (
        lambda: intervals.t_interval(np.inf, -1, -1, conf_level=0),
        "The interval cannot be worked out.\n"
        "  estimate: inf was given; expected a finite number.\n"
        "  standard error: -1 was given; expected 0 or a number above 0.\n"
        "  df: -1 was given; expected 0 or a number above 0.\n"
        "  conf_level: 0 was given; expected a share between 0 and 1, both excluded.",
    ),
    "sd_of_ln_from_cv": (
        lambda: intervals.sd_of_ln_from_cv(-0.2),
        "The SD of ln cannot be worked out.\n"
        "  coefficient of variation: -0.2 was given; expected 0 or a number above 0.",
    ),
    "cv_from_sd_of_ln": (
        lambda: intervals.cv_from_sd_of_ln(-0.2),
        "The coefficient of variation cannot be worked out.\n"
        "  SD of ln: -0.2 was given; expected 0 or a number above 0.",
    ),
    "satterthwaite": (
        lambda: components.satterthwaite([np.inf], [-1], [0]),
        "The degrees of freedom of the sum cannot be worked out.\n"
        "  weight: inf was given; expected a finite number.\n"
        "  mean square: -1 was given; expected 0 or a number above 0.\n"
        "  df: 0 was given; expected a number above 0.",
    ),
    "between_scatter": (
        lambda: components.between_scatter(-1, 0, -2, 0, 0, conf_level=2),
        "The scatter between groups cannot be worked out.\n"
        "  mean square between: -1 was given; expected 0 or a number above 0.\n"
        "  df between: 0 was given; expected a number above 0.\n"
        "  mean square within: -2 was given; expected 0 or a number above 0.\n"
        "  df within: 0 was given; expected a number above 0.\n"
        "  group size: 0 was given; expected a number above 0.\n"
        "  conf_level: 2 was given; expected a share between 0 and 1, both excluded.",
    ),
    "assurance": (
        lambda: promise.assurance(np.inf, [(-1, -1)], [(0, 0)], alpha=0),
        "What the plan promises cannot be worked out.\n"
        "  true gain: inf was given; expected a finite number.\n"
        "  unit variance: -1 was given; expected 0 or a number above 0.\n"
        "  df of the plan: -1 was given; expected 0 or a number above 0.\n"
        "  mean square of the pilot: 0 was given; expected a number above 0.\n"
        "  df of the pilot: 0 was given; expected a number above 0.\n"
        "  alpha: 0 was given; expected a share between 0 and 1, both excluded.",
    ),
    "assurance, nothing given": (
        lambda: promise.assurance(1, [], [(1, 3)] * 4),
        "What the plan promises cannot be worked out.\n"
        "  mean squares of the plan: 0 were given; expected one to three.\n"
        "  mean squares of the pilot: 4 were given; expected one to three.",
    ),
    "assurance, no error": (
        lambda: promise.assurance(1, [(0, 3), (0, 3)], [(1, 3), (1, 3)]),
        "What the plan promises cannot be worked out.\n"
        "  sum of the unit variances: 0 was given; expected a number above 0.",
    ),
    "assurance, link missing": (
        lambda: promise.assurance(1, [(1, 3)], [(1, 3), (1, 3)]),
        "What the plan promises cannot be worked out.\n"
        "  link: none was given; expected a table of 1 by 2 that turns mean squares of the pilot into "
        "those of the plan.",
    ),
    "assurance, link of the wrong shape": (
        lambda: promise.assurance(1, [(1, 3)], [(1, 3), (1, 3)], link=[[1, 0], [0, 1]]),
        "What the plan promises cannot be worked out.\n"
        "  link: an array of shape (2, 2) was given; expected a table of 1 by 2 that turns mean squares of "
        "the pilot into those of the plan.",
    ),
    "assurance, link of the wrong sign": (
        lambda: promise.assurance(1, [(1, 3)], [(1, 3), (1, 3)], link=[[-1, 1]]),
        "What the plan promises cannot be worked out.\n"
        "  link, first column: -1 was given; expected 0 or a number above 0.\n"
        "  link, sum of a row: 0 was given; expected a number above 0.",
    ),
    "outcome_shares": (
        lambda: promise.outcome_shares(0.1, 0, [(1, 3)], [(1, 3)]),
        "What the plan promises cannot be worked out.\n  worthwhile change: 0 was given; expected a number above 0.",
    ),
    "prior_scatter": (
        lambda: memory.prior_scatter([0.1, -0.2], [3]),
        "The history of the rig's scatter cannot be used.\n"
        "  SD: -0.2 was given; expected a number above 0.\n"
        "  SD and df: shapes (2,) and (1,) were given; expected two lists of the same length.\n"
        "  earlier campaigns: 2 were given; expected at least 3. Size on the pilot alone until the rig has "
        "run that many.",
    ),
    "blend": (
        lambda: memory.blend(-1, -1, 0, 0),
        "The pilot cannot be blended with the history.\n"
        "  mean square of the pilot: -1 was given; expected 0 or a number above 0.\n"
        "  df of the pilot: -1 was given; expected 0 or a number above 0.\n"
        "  df of the history: 0 was given; expected a number above 0.\n"
        "  mean square of the history: 0 was given; expected a number above 0.",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_every_fault_is_told_at_once(name: str) -> None:
    """Each function tells all that is wrong in one message."""
    call, message = BAD[name]
    with pytest.raises(SizingError) as caught:
        call()
    assert str(caught.value) == message
