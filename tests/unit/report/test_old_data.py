"""Old data in the report: the mark, the sentences and the tables, number by number; INVENTED figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit.decide.test_habit import FIVE, VALUES, legacy, runs_of
from toolkit.brief.model import KnownScatter, OldData
from toolkit.decide import analysis
from toolkit.intake import records
from toolkit.report import html, old_data
from toolkit.report.sections import ReportInput

STAMP = {"campaign": "legacy", "seed": 1, "records_at": "2026-01-01T00:00:00Z"}


def analysed(brief):
    """The five old runs analysed."""
    runs = runs_of(FIVE, VALUES).assign(run_time_h=np.nan, reason="", role="")
    return analysis.analyse(brief, records.from_tables(brief, runs=runs))


@pytest.fixture(scope="module")
def found():
    """With a declared guess at the scatter."""
    return analysed(legacy(scatter=KnownScatter(declared_cv_pct=(10.0, 20.0))))


def test_the_mark_says_whether_the_order_is_known(found):
    assert old_data.of(found).mark == "old data: not planned, order by the lines of the table"
    for order, words in (("unknown", "order unknown"), ("Date", "order by the column 'Date'")):
        changed = replace(found, brief=replace(found.brief, old_data=OldData(order, "none")))
        assert old_data.of(changed).mark == f"old data: not planned, {words}"
    assert old_data.of(replace(found, brief=replace(found.brief, old_data=None))) is None


def test_the_tables_whole(found):
    ((label, sentences, tables),) = old_data.of(found).parts
    assert label == "Elongation"
    assert sentences == found.habit["elongation_pct"].sentences
    assert [table.caption for table in tables] == [
        "What these runs can tell of each comparison",
        "Intervals, by whose scatter they are given",
        "Combinations that differ in one factor only: a difference and nothing more",
        "Treatments and the order of the runs",
        "The one run that would help, the most helpful first",
    ]
    compared, intervals, differences, orders, following = tables
    nil, oil = "every interaction nil", "the mean of L3 and L4 less the mean of L1 and L2"
    assert compared.rows == (
        ("coated pin", "nothing", "not estimable", "–", "–", "0.89", "–", "–"),
        ("coated pin", nil, "−20 %", "the mean of L2 and L3 less the mean of L1 and L4", "1.00", "0.89", "1", "0.00"),
        ("oil X1", "nothing", "−10 %", oil, "1.00", "1.10", "0", "+0.63"),
        ("oil X1", nil, "−10 %", oil, "1.00", "1.10", "1", "+0.63"),
        ("oil X2", "nothing", "not estimable", "–", "–", "1.10", "–", "–"),
        ("oil X2", nil, "−4 %", "all 5 runs", "1.32", "1.10", "1", "+0.84"),
    )
    assert compared.notes == (
        "coated pin: not estimable: no run of pin P1, oil X2. One run of pin P1, oil X2 would make it estimable.",
        "coated pin, every interaction nil: holds a part of pin × oil if that is not nil after all.",
        "oil X2: not estimable: no run of pin P1, oil X2. One run of pin P1, oil X2 would make it estimable.",
        "oil X2, every interaction nil: holds a part of pin × oil if that is not nil after all.",
    )
    assert intervals.head == (
        "comparison",
        "assuming",
        "change",
        "95 % interval by the scatter of these runs",
        "95 % interval by a guess, lowest declared CV",
        "95 % interval by a guess, highest declared CV",
        "may point the wrong way",
    )
    assert [row[:3] for row in intervals.rows] == [
        ("coated pin", nil, "−20 %"),
        ("oil X1", "nothing", "−10 %"),
        ("oil X1", nil, "−10 %"),
        ("oil X2", nil, "−4 %"),
    ]
    assert intervals.rows[1][3:] == ("–", "−26 % to +9 %", "−39 % to +32 %", "1 to 13 %")
    assert intervals.rows[2][4:] == ("–", "–", "–")
    assert differences.rows[0] == (
        "pin P1 against P0",
        "oil X0",
        "L2 less L1",
        "−22 %",
        "−41 % to +2 %",
        "−55 % to +34 %",
        "6 to 21 %",
    )
    assert orders.rows[0] == ("pin", "2", "1", "0.29", "0.50", "pin changed 2 times in 5 runs")
    # All six combinations once: 4/6 for the pin, 1 for each oil.
    assert following.rows[0] == ("pin P1, oil X2", "0", "coated pin, oil X2", "3 of 3", "0", "0.89", "2", "0.89")
    assert len(following.rows) == 6


def test_without_a_scatter_of_elsewhere_single_differences_have_no_interval():
    ((_, _, tables),) = old_data.of(analysed(legacy())).parts
    assert [table.caption for table in tables][1] == "Intervals, by whose scatter they are given"
    assert tables[2].head == ("what is compared", "at", "runs", "change")


def test_a_limit_beside_no_change_is_not_rounded_onto_it():
    assert old_data._change(1.0004, {"measured_in": "ratio"}) == "+0.04 %"
    assert old_data._change(0.9, {"measured_in": "ratio"}) == "−10 %"
    assert old_data._change(-2.7, {"measured_in": "mg"}) == "−2.70 mg"
    assert old_data._change(None, {"measured_in": "mg"}) == "–"


def test_the_page_has_a_section_for_old_data_and_names_in_it_are_escaped():
    evil, brief = "<b>pin</b>", legacy()
    brief = replace(brief, comparisons=(replace(brief.comparisons[0], name=evil), *brief.comparisons[1:]))
    page = html.build(ReportInput(analysed(brief), STAMP))
    assert '<li><a href="#old">Old data</a></li>' in page
    assert "<p><strong>Old data: not planned, order by the lines of the table.</strong></p>" in page
    assert "The one run that would help most: pin P1, oil X2;" in page
    assert evil not in page and "&lt;b&gt;pin&lt;/b&gt;" in page
