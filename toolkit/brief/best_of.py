"""Which level of a factor is the best: what is asked, and by how much it must lead to be worth picking (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BestOf:
    """The levels of a factor ranked to pick the best: a choice, never a proof that it is better.

    Attributes
    ----------
    factor : str
        Its levels are compared, the other factors averaged with equal weights.
    gap_pct : float or None
        By how much the best must lead every other to be worth picking for certain, in per cent (log scale). Left out:
        the worthwhile change of the response.
    gap : float or None
        The same in the response's own unit (linear scale).
    """

    factor: str
    gap_pct: float | None = None
    gap: float | None = None
