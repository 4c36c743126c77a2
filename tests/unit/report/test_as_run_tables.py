"""The tables of as run beside as planned: what a reader sees of swapped, lost, added and pending runs."""

import math

import pytest

from tests.unit.decide.made import BRIEF, as_made, noted
from tests.unit.size.test_promise import scatter
from toolkit.decide import as_run
from toolkit.report import as_run_tables


def found(*, scatters=(), **how):
    """What is told of an awkward campaign."""
    planned, told = as_made(**how)
    return as_run.as_run(BRIEF, planned, told, scatters=scatters)


AWKWARD = {
    "lost": ["R08"], "pending": ["R12"], "R05_pin": "P1", "R06_build_id": "B1",
    "added": [{"run_id": "R13", "planned_order": 13, "actual_order": 13, "build_id": "B3"}],
}  # fmt: skip


def test_every_run_is_a_line_with_what_was_planned_in_brackets():
    table = as_run_tables.runs(found(**AWKWARD), BRIEF)
    assert table.caption == "Runs as made; in brackets what was planned, where it was another thing"
    assert table.head == ("run", "planned order", "order as run", "build", "pin", "oil", "hours", "verdict",
                          "what differs")  # fmt: skip
    rows = {cells[0]: cells[1:] for cells in table.rows}
    assert rows["R01"] == ("1", "1", "B1", "P0", "O1", "100", "valid", "as planned")
    assert rows["R05"] == ("5", "5", "B2", "P1 (P0)", "O1", "100", "valid", "pin P1, planned P0")
    assert rows["R06"] == ("6", "6", "B1 (B2)", "P1", "O1", "100", "valid", "build B1, planned B2")
    assert rows["R08"][5:7] == ("40", "invalid")
    assert rows["R12"] == ("12", "–", "(B3)", "(P0)", "(O0)", "–", "pending", "pending")
    assert rows["R13"] == ("–", "13", "B3", "P0", "O1", "100", "valid", "not in the plan")
    assert 'table class="long"' in str(table.__html__())


def test_parts_and_phases_have_a_column_where_there_is_something_to_tell():
    told = found(corrections=[noted("R04", "part_id", "", "KM372")])
    table = as_run_tables.runs(told, BRIEF)
    at = table.head.index("part")
    assert {cells[0]: cells[at] for cells in table.rows}["R04"] == "KM372"
    assert "phase" not in table.head


def test_without_a_plan_no_brackets_are_promised():
    _, told = as_made(with_plan=False)
    table = as_run_tables.runs(as_run.as_run(BRIEF, None, told), BRIEF)
    assert table.caption == "Runs as made"
    assert table.rows[0] == ("R01", "–", "1", "B1", "P0", "O1", "100", "valid", "–")


def test_strata_go_from_planned_to_as_run():
    table = as_run_tables.strata(found(lost=["R08"]), "wear_um")
    assert table.caption == "Strata: planned → as run"
    assert [(cells[0], *cells[3:]) for cells in table.rows] == [("build", "3 → 3", "–"), ("run", "12 → 11", "6 → 5")]


def test_pending_runs_are_a_third_state():
    told = found(lost=["R08"], pending=["R11", "R12"])
    table = as_run_tables.strata(told, "wear_um")
    assert table.caption == "Strata: planned → as run → once pending runs are in as planned"
    assert table.rows[1][3:] == ("12 → 9 → 11", "6 → 3 → 5")


def test_what_a_comparison_rests_on_is_told_in_both_states():
    told = found(lost=["R06"], scatters=[scatter(BRIEF, df=math.inf)])
    table = as_run_tables.power(told, BRIEF.response("wear_um"))
    assert table.caption == "What comparisons of wear rest on: planned → as run"
    row = {cells[0]: cells[1:] for cells in table.rows}["both together"]
    mine = told.power[told.power["response"] == "wear_um"].set_index("comparison").loc["both together"]
    # Square roots of 2/3 and of 2/3 + 2/9: see tests/unit/decide/test_as_run.py.
    assert row[:4] == ("runs", "6 → 5", "0.82 → 0.94", "−20 %")
    shares = [f"{100 * mine[f'chance_shown_{side}']:.0f} %" for side in ("planned", "as_run")]
    assert row[4] == " → ".join(shares)
    assert row[5].count("→") == 1


def test_chances_that_are_not_known_are_one_dash():
    table = as_run_tables.power(found(), BRIEF.response("torque_Nm"))
    assert {cells[5] for cells in table.rows} == {"–"}
    assert {cells[4] for cells in table.rows} == {"–"}


@pytest.mark.parametrize(("share", "shown"), [(0.9999, "> 99 %"), (0.0001, "< 1 %"), (0.5, "50 %"), (None, "–")])
def test_no_chance_is_rounded_onto_certainty(share, shown):
    assert as_run_tables._share(share) == shown


def test_aliases_are_told_with_what_helps_and_not_at_all_when_there_are_none():
    assert as_run_tables.aliases(found(), "wear_um") is None
    table = as_run_tables.aliases(found(R04_pin="P0", R06_pin="P0", R10_pin="P0"), "wear_um")
    assert table.head == ("comparison or term", "planned", "as run")
    # What comparison and term share stands once, what helps all of them below the table.
    assert table.rows[0] == ("coating; term pin", "stands by itself", "confounded with pin × oil (or with oil)")
    assert table.notes == (
        "For each of them: not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable.",
    )
    assert table.rows[-1][0] == "coating needs the new oil; term pin × oil"
    later = as_run_tables.aliases(found(pending=["R04", "R06", "R10"]), "wear_um")
    assert later.head[3] == "once pending runs are in"
    assert later.rows[0][3:] == ("stands by itself",)
    assert later.notes == ("For each of them: the pending runs, as planned",)


def test_what_pending_runs_do_not_change_has_no_column_of_its_own():
    table = as_run_tables.aliases(found(R04_pin="P0", R06_pin="P0", R10_pin="P0", pending=["R11"]), "wear_um")
    assert table.head == ("comparison or term", "planned", "as run, and once pending runs are in")


def test_what_cannot_be_told_apart_is_told_once_where_it_is_the_same_for_every_response():
    names = [item.name for item in BRIEF.responses]
    assert as_run_tables.same_aliases(found(R04_pin="P0", R06_pin="P0", R10_pin="P0"), names)
    assert not as_run_tables.same_aliases(
        found(R04_torque_Nm=None, R06_torque_Nm=None, R10_torque_Nm=None), names
    )


def test_strata_are_told_once_where_responses_rest_on_the_same_runs():
    assert as_run_tables.same_strata(found())
    assert not as_run_tables.same_strata(found(R06_torque_Nm=None))
