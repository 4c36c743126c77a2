"""Findings that say the same of several runs stand in one line."""

from __future__ import annotations

import pandas as pd

from toolkit.cli import words
from toolkit.intake.alike import alike

COLUMNS = ["severity", "rule", "run_id", "part_id", "column", "found", "expected", "action"]


def blank(run, column="hardness_HV"):
    """A figure that is not there."""
    return ("note", "blank", run, None, column, "blank", "a number (HV)", "enter the figure")


def test_runs_of_the_same_finding_are_named_together_and_counted_from_the_seventh_on():
    rows = [blank("R01"), blank("R02", "soot_pct"), *(blank(f"R{at:02d}") for at in range(2, 11))]
    made = alike(pd.DataFrame(rows, columns=COLUMNS))
    assert made["run_id"].tolist() == ["R01, R02, R03, R04, R05, R06 and 4 more", "R02"]
    assert made["column"].tolist() == ["hardness_HV", "soot_pct"]
    assert words.findings(pd.DataFrame(rows[:3], columns=COLUMNS)) == [
        "  note: R01, R02 hardness_HV: blank (expected a number (HV)); enter the figure",
        "  note: R02 soot_pct: blank (expected a number (HV)); enter the figure",
    ]


def test_findings_without_a_run_or_with_another_figure_stay_apart():
    void = ("note", "window", "R05", None, "run_time_h", "37.5 h", "99 to 101 h", "none: the run is void")
    plain = ("stop", "file", None, None, None, "an empty file", "rows", "look at it")
    rows = [plain, plain, void, (*void[:2], "R06", *void[3:5], "12 h", *void[6:])]
    made = alike(pd.DataFrame(rows, columns=COLUMNS))
    assert made["found"].tolist() == ["an empty file", "an empty file", "37.5 h", "12 h"]
    said = "  note: R05 run_time_h: 37.5 h (expected 99 to 101 h); nothing to do: the run is void"
    assert words.findings(made)[2] == said
    assert alike(made.iloc[:0]).columns.tolist() == COLUMNS
