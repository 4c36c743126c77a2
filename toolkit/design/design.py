"""A design: the runs of one phase, before they are put in order, with their strata (rank 3)."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import positions
from toolkit.design.strata import Strata
from toolkit.wording import counted


@dataclass(frozen=True, eq=False)
class Design:
    """The runs of one phase and the strata they lead to.

    Attributes
    ----------
    brief : Brief
    phase : str
        pilot, main or extension.
    name : str
        What the design is called in tables: 'full factorial, 3 builds'.
    strata : Strata
        As planned.
    """

    brief: Brief
    phase: str
    name: str
    strata: Strata

    @property
    def table(self) -> pd.DataFrame:
        """One row a run: build_id, replicate and the level of each factor, or of each position (a copy)."""
        runs = self.strata.runs
        return positions.runs_of(self.brief, runs) if by_position.divided(self.brief) else runs.copy()

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return self.strata.run_count

    @property
    def builds(self) -> int:
        """How many builds there are."""
        return int(self.strata.runs["build_id"].nunique())

    def __repr__(self) -> str:
        """Its name and its runs."""
        return f"{self.phase}: {self.name}, {counted(self.runs, 'run')}\n{self.table.to_string(index=False)}"
