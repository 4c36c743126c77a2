"""What the size of a campaign is chosen for: changes that are shown, or intervals as narrow as asked (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass

AIMS = ("shown", "half-width")


@dataclass(frozen=True)
class Sizing:
    """What the size is chosen for.

    Attributes
    ----------
    aim : str
        shown (a plan is large enough when the assurance of each comparison reaches the asked power) or half-width
        (when its interval is expected to be as narrow as asked).
    half_width_pct : float or None
        On the log scale: the interval is to reach from the ratio / (1 + p/100) to the ratio x (1 + p/100).
    half_width : float or None
        On the linear scale, in the response's own unit.
    """

    aim: str = "shown"
    half_width_pct: float | None = None
    half_width: float | None = None
