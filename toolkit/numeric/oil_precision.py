"""Whether figures of the same oil agree: within a batch of a laboratory, between batches, between laboratories.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

# A 95 % limit of the difference of two figures over their SD: 1.96 times the root of 2.
TO_SD = 2.77
FROM_MEMORY = "from memory of ASTM D5185: check against your copy"
# ISO 5725-6, table of critical range factors f(n) at 95 %: the range of n figures over their SD.
_RANGE = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}
MOST = max(_RANGE)


@dataclass(frozen=True)
class Power:
    """A limit a * X ** b at a concentration X, the form in which limits of precision are published."""

    factor: float
    exponent: float

    def at(self, level: float) -> float:
        """The limit at a concentration [mg/kg]; 0 at 0."""
        return self.factor * level**self.exponent if level > 0.0 else 0.0


@dataclass(frozen=True)
class Precision:
    """How far two figures of one oil may lie apart, 95 of 100 times.

    Attributes
    ----------
    within_batch, between_labs : Power
        Repeatability: one laboratory, one batch; reproducibility: two laboratories.
    between_batches : Power or None
        One laboratory, two batches; None: not known, and neither of the others says it.
    valid : (float, float) or None
        Concentrations the limits were found for [mg/kg].
    source : str
    """

    within_batch: Power
    between_labs: Power
    between_batches: Power | None = None
    valid: tuple[float, float] | None = None
    source: str = FROM_MEMORY


# Limits by element, from memory of ASTM D5185; a user's own replace them.
PUBLISHED: dict[str, Precision] = {
    element: Precision(Power(*within), Power(*between), valid=valid)
    for element, valid, within, between in (
        ("fe", (2.0, 140.0), (0.13, 0.80), (0.52, 0.80)),
        ("cu", (2.0, 160.0), (0.12, 0.91), (0.24, 1.0)),
        ("al", (6.0, 40.0), (0.71, 0.41), (3.8, 0.26)),
        ("pb", (10.0, 160.0), (1.6, 0.32), (3.0, 0.36)),
        ("cr", (1.0, 40.0), (0.17, 0.75), (0.81, 0.61)),
        ("sn", (10.0, 40.0), (2.4, 0.17), (2.1, 0.62)),
        ("si", (8.0, 50.0), (1.3, 0.26), (2.9, 0.39)),
        ("ni", (5.0, 40.0), (0.52, 0.49), (1.5, 0.50)),
        ("mo", (5.0, 200.0), (0.29, 0.70), (0.64, 0.71)),
    )
}


@dataclass(frozen=True)
class Agreement:
    """Whether figures of one oil agree.

    Attributes
    ----------
    range_ppm : float
        The highest less the lowest.
    limit_ppm : float
        What it may be, 95 of 100 times.
    agree : bool
    in_range : bool
        True when the mean lies where the limits were found.
    """

    range_ppm: float
    limit_ppm: float
    agree: bool
    in_range: bool


def agreement(figures: ArrayLike, limit: Power, valid: Sequence[float] | None = None) -> Agreement:
    """Give back whether figures of the same oil lie as near to each other as the method allows.

    Parameters
    ----------
    figures : array_like
        Two to ten concentrations [mg/kg], each 0 or above.
    limit : Power
        The 95 % limit of two figures under the conditions in which these were found.
    valid : (float, float), optional
        Concentrations the limit was found for.

    Returns
    -------
    Agreement

    Raises
    ------
    ModelError
        When a figure is missing or below 0, or there are fewer than two or more than ten.

    Notes
    -----
    Two figures by their limit; more by the critical range f(n) times the SD (ISO 5725-6, 5.2.2: f from its table).

    Checked against: quantiles of the range of normal samples (scipy.stats.studentized_range),
    tests/unit/numeric/test_oil_precision.py.
    """
    given = np.atleast_1d(np.asarray(figures, dtype=float))
    faults = guards.not_negative("concentration", given)
    if not 2 <= len(given) <= MOST:
        faults = [*faults, Fault("figures of one oil", f"{len(given)}", f"2 to {MOST}")]
    raise_all(ModelError, "The figures cannot be judged.", faults)
    level = float(given.mean())
    allowed = limit.at(level) * _RANGE[len(given)] / _RANGE[2]
    span = float(given.max() - given.min())
    inside = valid is None or valid[0] <= level <= valid[1]
    return Agreement(span, allowed, span <= allowed, inside)
