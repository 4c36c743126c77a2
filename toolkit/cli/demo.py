"""The bundled campaign carried from pilot to report, as an engineer would do it, in a folder of its own (rank 11)."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from toolkit.campaign import start, steps
from toolkit.demo import bundled
from toolkit.errors import CampaignError
from toolkit.report import notebooks
from toolkit.report import steps as report_steps
from toolkit.report.steps import Reported

BUNDLED = "chain-soot"
# The clock of the demo stands still, so that every demo has the same bytes.
_CLOCK = "2026-03-02T08:00:00+00:00"


def run(to: Path, *, tell: Callable[..., None]) -> Reported:
    """Carry the bundled campaign through pilot, sizing, plan, sheets, analysis and report; each template runs headless.

    Parameters
    ----------
    to : Path
        A folder that is not there yet or is empty; for the default name the next free one is taken.
    tell : callable
        Takes the lines to tell while it goes on.

    Returns
    -------
    Reported
        The report that was written.

    Raises
    ------
    CampaignError
        When the folder holds something already.
    """
    target = _free(Path(to))
    before = os.environ.get("WEARBOOK_NOW")
    os.environ["WEARBOOK_NOW"] = before or _CLOCK
    try:
        return _carry(target, tell)
    finally:
        if before is None:
            del os.environ["WEARBOOK_NOW"]


def _carry(target: Path, tell: Callable[..., None]) -> Reported:
    """The stages, one after the other."""
    tell(f"INVENTED campaign '{BUNDLED}' in {target}")
    campaign = bundled.bring(BUNDLED, target)
    start.bring_notebooks(target)
    tell("1 question: the brief is read and checked")
    notebooks.run_template("question", target)
    steps.plan(campaign, phase="pilot")
    tell("2 pilot: planned and sealed; its four runs come back")
    bundled.bring(BUNDLED, target, phases=("pilot",))
    notebooks.run_template("size", target)
    tell("3 size: plans laid side by side from the pilot's scatter and the rig's history")
    notebooks.run_template("plan", target)
    tell("4 plan: three builds of four runs, randomised and sealed")
    notebooks.run_template("sheets", target, parameters={"oil_at": "0, 20, 40, 60, 80, 100"})
    tell("5 sheets: run sheets, parts with blind codes, dates; the runs come back")
    bundled.bring(BUNDLED, target, phases=("pilot", "main"))
    notebooks.run_template("intake", target)
    tell("6 intake: taken in, each run judged before its wear is looked at")
    notebooks.run_template("analyse", target)
    tell("7 analyse: comparisons, strata, residuals")
    notebooks.run_template("decide", target)
    tell("8 decide: what is settled, what is open, what further runs would tell")
    notebooks.run_template("report", target)
    tell(
        "9 report: open it in a browser",
        f"executed notebooks: {target / 'derived' / 'notebooks'}",
        f"to go through it by hand: wearbook lab {target}",
    )
    return report_steps.written(campaign)


def _free(to: Path) -> Path:
    """The folder to use: as named, or the next free one for the default name."""
    if not to.exists() or (to.is_dir() and not any(to.iterdir())):
        return to
    if to.name != "wearbook-demo":
        raise CampaignError(f"{to}: holds something already; nothing was written. Name a folder that is not there yet.")
    return next(
        path for path in (to.with_name(f"{to.name}-{number}") for number in range(2, 10_000)) if not path.exists()
    )
