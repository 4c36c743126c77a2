"""What runs cost: the lines of the price, the budget, the share of runs that will be lost (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class CostItem:
    """One line of the price: so much per run, build, station, reading or campaign, where these levels run."""

    per: str
    what: str
    hours: float = 0.0
    rate: float = 0.0
    amount: float = 0.0
    where: Mapping[str, str] = field(default_factory=dict)

    @property
    def price(self) -> float:
        """Money per unit: hours times rate plus the amount."""
        return self.hours * self.rate + self.amount


@dataclass(frozen=True)
class Cost:
    """What runs cost, the budget for runs not yet made, and the share of runs expected to be lost."""

    currency: str = ""
    budget: float | None = None
    lost_runs_pct: float = 0.0
    items: tuple[CostItem, ...] = ()
