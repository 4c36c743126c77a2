"""The bundled campaign's brief and its runs in order, for the tests of what is issued; INVENTED."""

from __future__ import annotations

import pandas as pd

from toolkit import shipped
from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.design import factorial, orders
from toolkit.running.register import Register, register
from toolkit.running.sheets import RunSheet, run_sheets

AT = "2026-03-02T08:00:00Z"
VERDICTS = ("valid", "invalid", "not interpretable", "pending")
HOURS = (0, 20, 40, 60, 80, 100)


def chain() -> Brief:
    """The brief of the timing chains."""
    return reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml")


def runs_of(brief: Brief, phase: str = "main") -> pd.DataFrame:
    """Its runs in planned order."""
    design = factorial.pilot(brief) if phase == "pilot" else factorial.full(brief)
    return orders.randomise(design, seed=brief.seed).table


def issued(brief: Brief, *, hours=HOURS) -> tuple[pd.DataFrame, Register, tuple[RunSheet, ...]]:
    """Runs, register and sheets of the main phase."""
    runs = runs_of(brief)
    made = register(brief, runs, seed=brief.seed, hours=hours)
    return runs, made, run_sheets(brief, runs, made, seal="5" * 64, head="0" * 64, verdicts=VERDICTS)
