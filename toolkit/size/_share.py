"""A share of simulated campaigns: what one process works on at a time, and what is seen of it (rank 5)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.brief.model import Response
from toolkit.numeric._bases import Floats
from toolkit.size._judging import Judging
from toolkit.size.conditions import Conditions
from toolkit.size.scatter import Scatter


@dataclass(frozen=True, eq=False)
class Share:
    """A share of the campaigns to be simulated by one process at a time.

    Attributes
    ----------
    judging : Judging
    response : Response
    scatter : Scatter
    conditions : Conditions
    gains, margins, levels : ndarray, shape (questions,)
        True change and worthwhile change on the analysis scale, and confidence level of each question.
    campaigns : int
    doubt : bool
        True when the scatter of each campaign is drawn from the pilot's doubt, False when it is as estimated.
    """

    judging: Judging
    response: Response
    scatter: Scatter
    conditions: Conditions
    gains: Floats
    margins: Floats
    levels: Floats
    campaigns: int
    doubt: bool


@dataclass(frozen=True, eq=False)
class Seen:
    """Estimated gains with their intervals, shape (campaigns, questions) each; an end that stays open is infinite.

    Attributes
    ----------
    estimate, low, high : ndarray
    able : ndarray of bool
        False where the runs left cannot judge the question.
    """

    estimate: Floats
    low: Floats
    high: Floats
    able: np.ndarray

    @property
    def shown(self) -> np.ndarray:
        """Where the interval excludes no change."""
        return self.able & ((self.low > 0.0) | (self.high < 0.0))
