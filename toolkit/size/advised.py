"""What is said beside the plans of a sizing, as one object (rank 5)."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from toolkit import stamp
from toolkit.size.option import Option
from toolkit.size.routes import Routes
from toolkit.size.split import Split


@dataclass(frozen=True, eq=False)
class Advice:
    """What is said beside the plans.

    Attributes
    ----------
    plan : Option
        The recommended plan; the largest within the budget where none is recommended. Its claims of the primary
        response hold what is left after lost runs.
    recommended : bool
    spoken : tuple of str
        To be read out: what to book, what it costs, what it shows and how surely.
    cannot : tuple of str
        What it cannot show.
    split : Split or None
        Runs, stations and readings shared out, for the comparison that is told in it; None where that cannot be told.
    routes : Routes or None
        The plan beside one with a new unit in every run; None where no factor is kept over several runs.
    notes : tuple of str
    """

    plan: Option
    recommended: bool
    spoken: tuple[str, ...]
    cannot: tuple[str, ...]
    split: Split | None
    routes: Routes | None
    notes: tuple[str, ...]

    @property
    def lost(self) -> pd.DataFrame:
        """One row a comparison: chance shown as planned, after one lost run, after two, and after the worst one."""
        return pd.DataFrame(
            [
                {
                    "comparison": claim.comparison,
                    "as_planned": claim.assurance,
                    "after_one_lost": claim.after_one_lost,
                    "after_two_lost": claim.after_two_lost,
                    "after_worst_lost": claim.after_worst_lost,
                }
                for claim in self.plan.claims
                if claim.comparison and claim.after_one_lost is not None
            ],
            columns=["comparison", "as_planned", "after_one_lost", "after_two_lost", "after_worst_lost"],
        )

    def to_json(self) -> dict[str, object]:
        """The whole as plain data: plan, recommended, spoken[], cannot[], lost[], split, routes, notes[]."""
        return stamp.plain(
            {
                "plan": self.plan.name,
                "recommended": self.recommended,
                "spoken": list(self.spoken),
                "cannot": list(self.cannot),
                "lost": stamp.records(self.lost),
                "split": None if self.split is None else self.split.to_json(),
                "routes": None if self.routes is None else self.routes.to_json(),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """What is to be read out, what cannot be shown, and what there is to know of it."""
        return "\n".join([*self.spoken, *self.cannot, *self.notes])
