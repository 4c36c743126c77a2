"""What runs cost: the lines of the price, the budget, the share of runs that will be lost (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PER = ("run", "build", "part", "fill", "position", "station", "reading", "change", "campaign")


@dataclass(frozen=True)
class CostItem:
    """One line of the price: so much for each of what ``per`` says, where these levels run.

    Attributes
    ----------
    per : str
        run, build, part, fill, position (each of a run), station, reading, change (of the level of the factor ``of``)
        or campaign.
    what : str
    hours, rate, amount : float
        For each: hours times rate plus the amount.
    where : mapping of str to str
        Only where these levels run.
    of : str
        The factor whose changes are paid; for ``per = "change"`` only.
    """

    per: str
    what: str
    hours: float = 0.0
    rate: float = 0.0
    amount: float = 0.0
    where: Mapping[str, str] = field(default_factory=dict)
    of: str = ""

    @property
    def price(self) -> float:
        """Money for each: hours times rate plus the amount."""
        return self.hours * self.rate + self.amount


@dataclass(frozen=True)
class Cost:
    """What runs cost, the budget for runs not yet made, and the share of runs expected to be lost."""

    currency: str = ""
    budget: float | None = None
    lost_runs_pct: float = 0.0
    items: tuple[CostItem, ...] = ()
