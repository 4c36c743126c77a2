"""A covariate of the brief: what differs from run to run, is no factor and no result (rank 2)."""

from __future__ import annotations

import re
from dataclasses import dataclass

RUN_ORDER = "run_order"
_METAL = re.compile(r"[A-Za-z]{1,2}_ppm")


@dataclass(frozen=True)
class Covariate:
    """A figure of each run that comparisons can be told at equal values of.

    Attributes
    ----------
    name : str
        A held variable, run_time_h, run_order, or a column of runs.csv of its own whose suffix says its unit.
    at : float or None
        The value at which means are told; None: the target where it is held, else the mean of the valid runs.
    before_run : bool
        True when the figure is fixed before the treatment can act on it, such as the hardness of a blank.
    """

    name: str
    at: float | None = None
    before_run: bool = False

    @property
    def unmoved(self) -> bool:
        """True when the treatment cannot have acted on it."""
        return self.before_run or self.name == RUN_ORDER


def metal_in_oil(name: str) -> bool:
    """True for the name of a chemical element in the oil, such as fe_ppm."""
    return bool(_METAL.fullmatch(name))
