"""What the report shows of other ways to answer; INVENTED campaigns through the real analysis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from tests.unit.decide.test_equal import analysed
from tests.unit.report import example
from tests.unit.report.undrawn import undrawn
from toolkit.brief.model import Covariate
from toolkit.decide import analysis
from toolkit.intake import records
from toolkit.report import html, otherwise_tables
from toolkit.report.sections import ReportInput


def test_covariates_stand_in_a_table_with_what_they_rest_on():
    found, _ = analysed(Covariate("hardness_HV", 205.0, True), Covariate("run_order"), sealed=("hardness_HV",))
    item = found.responses["wear_um"]
    table, means = otherwise_tables.tables(item.otherwise, found.brief)
    assert table.caption == "Wear, answered otherwise"
    assert table.head == ("comparison", "answered", "change", "interval", "verdict", "as judged", "differs")
    assert [row[:2] for row in table.rows] == [
        ("coating", "at equal covariates, all declared"),
        ("new oil", "at equal covariates, all declared"),
    ]
    assert table.notes[1] == (
        "run order: the verdicts are not adjusted for it, because it was not sealed with the plan before the first "
        "run; the adjusted answers stand beside."
    )
    assert means.caption == "Means of wear, levels of the other factors equally weighted, at equal covariates"
    changed = found.before_deciding[found.before_deciding["kind"] == "answered otherwise"]
    assert list(changed["sentence"]) == [
        "coating (torque): 'not known yet' becomes 'smaller than worthwhile' at equal covariates, all declared."
    ]
    with undrawn():
        page = html.build(ReportInput(found, example.STAMP))
    assert "Wear, answered otherwise" in page
    assert "ln(wear) = mean + build + slope × hardness + pin + oil" in page


def test_wear_below_nought_is_answered_beside_a_response_that_stopped():
    asked = replace(example.brief(("coating", "new oil")))
    asked = replace(asked, responses=(replace(asked.responses[0], gauge_sd=8.0), *asked.responses[1:]))
    runs = example.raw_runs(asked, void="none")
    draw = np.random.default_rng(2)
    runs["wear_um"] = 0.25 * runs["wear_um"] + 8.0 * draw.standard_normal(12)
    runs.loc[0, "wear_um"] = -1.5
    found = analysis.analyse(asked, records.from_tables(asked, runs=runs), planned=example.order(asked))
    item = found.responses["wear_um"]
    assert item.stopped.startswith("wear_um: on the log scale every run value must be above 0")
    assert item.otherwise is not None and item.otherwise.gauge.near
    tables = otherwise_tables.tables(item.otherwise, asked)
    assert {row[5] for table in tables for row in table.rows} <= {"not analysed"}
    assert any("stay what they are" in note or "no ratio can be named" in note for note in tables[0].notes)
    with undrawn():
        assert "Wear, answered otherwise" in html.build(ReportInput(found, example.STAMP))
    assert item.to_json()["otherwise"]["gauge"]["near"] is True


def test_without_anything_to_tell_there_is_no_table():
    found = example.analysed(example.brief(("coating",)), void="none")
    item = found.responses["torque_Nm"]
    assert otherwise_tables.tables(item.otherwise, found.brief) == ()
    assert isinstance(item.otherwise.verdicts, pd.DataFrame) and item.otherwise.verdicts.empty
