"""What simulated campaigns say of one comparison, as numbers (rank 5)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.size.claim import Claim


@dataclass(frozen=True)
class Counted:
    """A share of the simulated campaigns with the limits that chance sets to it (95 %, Clopper and Pearson)."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Answer:
    """What simulated campaigns say of one comparison.

    Attributes
    ----------
    comparison : str
    contrast : str
    assumed_change : float
        The true change, in per cent on the log scale, else in the response's unit.
    alpha : float
        The false alarms it is judged at.
    power : Counted
        Campaigns that show a difference, at the scatter as estimated.
    assurance : Counted
        The same at a scatter drawn anew for each campaign from the pilot's doubt.
    false_alarms : Counted
        Campaigns that show a difference where there is none.
    coverage : Counted or None
        Intervals that hold the true change; None where there never is one.
    wrong_way : Counted
        Campaigns whose estimate ranks the two the wrong way round.
    shown_wrong_way : Counted
        Campaigns that show a difference the wrong way round.
    not_judged : Counted
        Campaigns whose runs left nothing to judge the comparison by.
    verdicts : dict of str to Counted
        The six verdicts, over the pilot's doubt; with ``not_judged`` they add to 1.
    told : Claim or None
        What was worked out for the plan; None where nothing could be.
    """

    comparison: str
    contrast: str
    assumed_change: float
    alpha: float
    power: Counted
    assurance: Counted
    false_alarms: Counted
    coverage: Counted | None
    wrong_way: Counted
    shown_wrong_way: Counted
    not_judged: Counted
    verdicts: dict[str, Counted]
    told: Claim | None

    def gap(self, key: str) -> float | None:
        """Simulated less worked out, of ``power`` or ``assurance``; None where nothing was worked out."""
        value = getattr(self.told, key, None)
        return None if value is None else getattr(self, key).share - value
