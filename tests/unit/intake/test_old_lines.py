"""The lines of an old table become runs: order, ids, readings of one run; INVENTED figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.briefs import factor
from toolkit.brief.model import Brief, OldData, Response
from toolkit.errors import Fault
from toolkit.intake.gathered import Gathered
from toolkit.intake.old_lines import as_runs
from toolkit.intake.raw import Entry
from toolkit.intake.told import Told


def brief(order="unknown", repeats="runs"):
    """Pin by oil, wear as read."""
    return Brief(
        id="old",
        question="Which?",
        seed=1,
        factors=(factor("pin", "bare", "DLC"), factor("oil", "A", "B", undo="fill")),
        responses=(Response("wear_um", worthwhile_change_pct=20.0),),
        new_each_run=("part", "fill"),
        old_data=OldData(order, repeats),
    )


def line(number, pin, oil, wear, **more):
    """A line of the old table as it was read."""
    texts = {"pin": pin, "oil": oil, "wear_um": wear, "build_id": "old", "phase": "main", "verdict": "valid", **more}
    where = f"line {number}"
    return Told("runs", "old.csv", where, {name: Entry(text, "old.csv", where) for name, text in texts.items()})


LINES = [
    line(2, "bare", "A", "12.0", actual_order="2019-06-02", note="first"),
    line(3, "DLC", "A", "9.3", actual_order="2019-03-04", note=""),
    line(4, "bare", "A", "12.6", actual_order="2019-04-20", note="again"),
]


def read(rows, given):
    """Rows, findings and faults."""
    told = Gathered()
    made, findings = as_runs(rows, given, told)
    return made, findings, told.faults


def texts(rows, name):
    """A column of the rows."""
    return [row.text(name) for row in rows]


def test_without_old_data_nothing_is_done():
    made, findings, faults = read(LINES, replace(brief(), old_data=None))
    assert (made, findings, faults) == (LINES, [], [])


def test_an_unknown_order_stays_blank_though_a_column_could_tell_it():
    made, findings, faults = read(LINES, brief())
    assert texts(made, "actual_order") == texts(made, "planned_order") == ["", "", ""]
    assert texts(made, "run_id") == ["L01", "L02", "L03"]
    assert texts(made, "run_time_h") == ["", "", ""]
    assert (findings, faults) == ([], [])


def test_as_listed_is_the_place_in_the_table():
    made, _, faults = read(LINES, brief("as listed"))
    assert texts(made, "actual_order") == ["1", "2", "3"] and faults == []


@pytest.mark.parametrize(
    ("values", "places"),
    [
        (["2019-06-02", "2019-03-04", "2019-04-20"], ["3", "1", "2"]),
        (["2019-03-04 14:00", "2019-03-04 9:30", "2019-03-05"], ["2", "1", "3"]),
        (["11", "2", "9"], ["3", "1", "2"]),
        # The 31st tells that the day comes first.
        (["02.06.2019", "31.03.2019", "04.04.2019"], ["3", "1", "2"]),
    ],
)
def test_a_column_of_dates_or_numbers_tells_the_order(values, places):
    rows = [replace(row, cells={**row.cells, "actual_order": Entry(value, "old.csv", row.where)})
            for row, value in zip(LINES, values, strict=True)]  # fmt: skip
    made, _, faults = read(rows, brief("Date"))
    assert texts(made, "actual_order") == places and faults == []


UNKNOWN = "Where it is not known, write order = 'unknown' in [old_data]."
A_NUMBER = "a number, or a date as 2026-03-31, that tells the order of every line"


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (
            ["2019-06-02", "", "2019-04-20"],
            [Fault("old.csv line 3, column actual_order", "the cell is blank", A_NUMBER, UNKNOWN)],
        ),
        (
            ["02.06.2019", "2019-03-04", "spring"],
            [
                Fault(
                    "old.csv line 2, column actual_order",
                    "'02.06.2019'",
                    A_NUMBER,
                    "Write 2019-06-02 or 2019-02-06, whichever is meant.",
                ),
                Fault("old.csv line 4, column actual_order", "'spring'", A_NUMBER, UNKNOWN),
            ],
        ),
        (
            ["2019-06-02", "2019-06-02", "2019-07-01"],
            [
                Fault(
                    "old.csv line 3, column actual_order",
                    "'2019-06-02' also stands at line 2",
                    "a place of its own for every line",
                    "Where the column does not tell the order, write order = 'unknown' in [old_data].",
                )
            ],
        ),
        (
            ["1", "2019-06-02", "3"],
            [
                Fault(
                    "old.csv line 3, column actual_order",
                    "'2019-06-02'",
                    "dates in every line, or numbers in every line",
                )
            ],
        ),
    ],
)
def test_an_order_that_cannot_be_read_is_a_fault_of_its_cell(values, expected):
    rows = [replace(row, cells={**row.cells, "actual_order": Entry(value, "old.csv", row.where)})
            for row, value in zip(LINES, values, strict=True)]  # fmt: skip
    _, _, faults = read(rows, brief("Date"))
    assert faults == expected


def test_a_column_that_is_not_read_is_told_once_a_kind():
    rows = [line(2, "bare", "A", "12.0"), line(3, "DLC", "A", "9.3")]
    _, _, faults = read(rows, brief("Date"))
    assert faults == [
        Fault(
            f"old.csv line {number}",
            "no column that tells the order ('Date')",
            "a heading for actual_order in [received.columns]",
        )
        for number in (2, 3)
    ]


def test_runs_of_their_own_stay_apart_and_ids_of_the_table_are_kept():
    rows = [line(2, "bare", "A", "12.0", run_id="T7"), line(3, "bare", "A", "12.6", run_id="T9")]
    made, findings, faults = read(rows, brief())
    assert texts(made, "run_id") == ["T7", "T9"] and (findings, faults) == ([], [])


@pytest.mark.parametrize(
    ("repeats", "why"),
    [("readings", "readings of one run"), ("unknown", "it is not known whether they are runs of their own")],
)
def test_readings_of_one_run_are_averaged_and_it_is_told(repeats, why):
    made, findings, faults = read(LINES, brief("as listed", repeats))
    assert texts(made, "run_id") == ["L01", "L02"]
    assert [float(text) for text in texts(made, "wear_um")] == [12.3, 9.3]
    assert texts(made, "actual_order") == ["1", "2"]
    assert texts(made, "note") == ["first; again", ""]
    assert faults == []
    assert findings == [
        {
            "severity": "note",
            "run_id": "L01",
            "part_id": None,
            "column": None,
            "rule": "averaged",
            "found": "line 2 and line 4 of old.csv: one combination",
            "expected": "a line a run",
            "action": f"averaged to one run and never counted as replicates: {why}",
        }
    ]


def test_a_reading_that_is_lost_or_blank_does_not_count_as_nought():
    rows = [line(2, "bare", "A", "12.0"), line(3, "bare", "A", "lost"), line(4, "bare", "A", "13.0"),
            line(5, "DLC", "A", ""), line(6, "DLC", "A", "lost")]  # fmt: skip
    made, _, _ = read(rows, brief("unknown", "readings"))
    assert texts(made, "wear_um") == ["12.5", "lost"]


def test_builds_and_verdicts_keep_lines_apart():
    rows = [line(2, "bare", "A", "12.0"), line(3, "bare", "A", "13.0", build_id="B2"),
            line(4, "bare", "A", "99", verdict="invalid")]  # fmt: skip
    made, findings, _ = read(rows, brief("unknown", "readings"))
    assert texts(made, "wear_um") == ["12.0", "13.0", "99"] and findings == []


def test_a_cell_with_a_fault_leaves_no_mean():
    bad = line(3, "bare", "A", "12.0")
    bad = replace(bad, cells={**bad.cells, "wear_um": Entry(None, "old.csv", "line 3")})
    made, _, _ = read([line(2, "bare", "A", "12.0"), bad], brief("unknown", "readings"))
    assert made[0].cells["wear_um"].text is None


def test_lines_alike_contradict_that_there_are_none():
    _, _, faults = read(LINES, brief("unknown", "none"))
    assert faults == [
        Fault(
            "old.csv line 4",
            "the same combination as line 2, though repeats is 'none' in [old_data]",
            "'runs', 'readings' or 'unknown' there",
            "Say what the lines are: runs of their own, or readings of one run.",
        )
    ]
