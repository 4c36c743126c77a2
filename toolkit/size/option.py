"""One plan among those laid side by side: its design, its price, and what it can show (rank 5)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.design.design import Design
from toolkit.size.best_of import Pick
from toolkit.size.family_claims import FamilyClaim
from toolkit.size.money import Price
from toolkit.size.promise import Claim


@dataclass(frozen=True, eq=False)
class Option:
    """One plan that could be booked: its design, price, claims, choices of the best and families."""

    design: Design
    price: Price
    claims: tuple[Claim, ...]
    within_budget: bool
    picks: tuple[Pick, ...] = ()
    families: tuple[FamilyClaim, ...] = ()

    @property
    def name(self) -> str:
        """What the plan is called."""
        return self.design.name

    def claim(self, response: str, name: str) -> Claim:
        """The claim of one response on a comparison or term."""
        return next(item for item in self.claims if item.response == response and name in (item.comparison, item.term))

    def __repr__(self) -> str:
        """What the plan is called, and its claims."""
        return "\n".join([self.name, *(f"  {claim}" for claim in self.claims)])
