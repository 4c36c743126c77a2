"""[[traces]], [[master]] and [reference] of a brief: read, sealed in part, and every fault at once."""

from __future__ import annotations

from dataclasses import replace

from tests.demo.make_data import brief_of
from toolkit.brief import checks, reading
from toolkit.brief.metrology import Master, Reference, Traces
from toolkit.campaign import sealed_brief

BRIEF = brief_of("pin-wear")
RULE = BRIEF.traces[0]


def told(**changes):
    """What is wrong with the brief after changes, a line each."""
    return [str(fault) for fault in checks.check(replace(BRIEF, **changes))]


def test_the_bundled_brief_is_read_as_it_stands():
    assert RULE.reference == ((0.0, 1.75), (8.25, 10.0)) and RULE.worn == (2.0, 8.0)
    assert (RULE.take, RULE.position_in, RULE.height_in) == ("mean", "mm", "um")
    assert BRIEF.masters == (Master("bar-1040", "elongation_pct", 0.0, 0.0003, "line"),)
    assert BRIEF.reference == Reference(history="raw/reference-runs.csv")
    assert checks.check(BRIEF) == []


def test_every_fault_of_a_rule_for_traces_is_told_at_once():
    rule = Traces("pin_wear_um", "../x.csv", ((2.5, 1.0), (4.0, 6.0)), (3.0, 5.0), "volume",
                  columns={"station": "Pin", "height": "X", "position": "x"}, position_in="kg", height_in="h",
                  may_move=("shift", "turn"), decimal="dot")  # fmt: skip
    assert told(traces=(rule,)) == [
        "traces 1, files: '../x.csv'; expected a pattern of .csv names in raw/traces, without folders. "
        'Write "{run_id}_{part_id}.csv" or "*.csv", for example.',
        "traces 1, decimal: 'dot'; expected 'point' or 'comma'.",
        "traces 1, reference no. 1: [2.5, 1]; expected [from, to], the smaller first.",
        "traces 1, reference: [4, 6] reaches into the worn zone [3, 5]; expected zones that do not wear. "
        "Wear in a reference zone would hide itself: keep them apart.",
        "traces 1, columns.station: unknown column 'station'; expected position, height, part_id, "
        "station_id, state, "
        "run_id, reading, session_id. Did you mean 'station_id'?",
        "traces 1, columns: the heading 'x' twice; expected each heading once.",
        "traces 1, position_in: 'kg'; expected a unit of length or of angle.",
        "traces 1, height_in: 'h'; expected a unit of length.",
        "traces 1, width_mm: no width; expected the width of the worn track, for a volume.",
        "traces 1, take: 'volume' of traces is a volume, and 'pin_wear_um' is none; expected a "
        "response that ends in _mm3.",
        "traces 1, may_move no. 2: 'turn'; expected 'shift', 'offset' or 'tilt'.",
    ]  # fmt: skip


def test_traces_of_what_cannot_have_them_are_refused():
    assert told(traces=(replace(RULE, response="elongation_pct"),))[1] == (
        "traces 1, response: 'elongation_pct' is read in states; expected a response without states. "
        "Traces give the wear itself: leave states out of its stations."
    )
    assert told(traces=(replace(RULE, response="fe_ppm"),)) == [
        "traces 1, response: 'fe_ppm' is not measured at stations; expected a response with "
        "stations: 'pin_wear_um' or "
        "'elongation_pct'.",
        "traces 1, take: 'mean' of traces is a length, and 'fe_ppm' is none; expected a response "
        "that ends in _um or mm.",
    ]  # fmt: skip
    assert told(traces=(replace(RULE, worn=None),)) == [
        "traces 1, worn: neither worn nor positions; expected the zone that wears, or a scheme of positions."
    ]
    assert told(traces=(replace(RULE, worn=None, positions=(1.0, 5.0), take="area"),)) == [
        "traces 1, take: 'area' of positions; expected 'max' or 'mean'.",
        "traces 1, positions: position 1 lies in the reference zone [0, 1.75]; expected positions "
        "outside the reference "
        "zones.",
        "traces 1, take: 'area' of traces is an area, and 'pin_wear_um' is none; expected a "
        "response that ends in _mm2.",
    ]  # fmt: skip


def test_faults_of_masters_and_reference_runs():
    bar = BRIEF.masters[0]
    assert told(masters=(bar, replace(bar, response="wear_um", value_sd=-1.0, correct="mean"))) == [
        "master 'bar-1040', name: master 'bar-1040' stands twice; expected each master once. Rename "
        "or delete one of them.",
        "master 'bar-1040', response: 'wear_um' is no response; expected a response with stations: "
        "'pin_wear_um' or "
        "'elongation_pct'. Did you mean 'pin_wear_um'?",
        "master 'bar-1040', value_sd: -1; expected 0 or a number above 0.",
        "master 'bar-1040', correct: 'mean'; expected 'none', 'session' or 'line'.",
    ]  # fmt: skip
    assert told(masters=(replace(bar, response="pin_wear_um"),)) == [
        "master 'bar-1040', correct: 'line' for traces; expected 'none'. Traces are brought "
        "together on what does not "
        "wear, which takes drift off already."
    ]
    assert told(reference=Reference({"pin": "P0"}, 1.5, "../x.csv")) == [
        "[reference] conf_level: 1.5; expected a number between 0.5 and 1.",
        "[reference] history: '../x.csv' is not a plain path to a .csv file in the campaign folder; "
        "expected letters, "
        'digits, _ - . and blanks, with / between folders. Copy the table into the folder and write '
        '"raw/reference-runs.csv".',
    ]  # fmt: skip
    assert told(reference=Reference({"pin": "P0"})) == [
        "[reference] combination: no level of 'oil'; expected a level of every factor, or nothing. "
        "Leave combination out for the baseline."
    ]


def test_the_seal_covers_what_is_taken_and_not_what_files_are_called():
    held = sealed_brief.covered(BRIEF, "main")
    assert "files" not in held["traces"][0] and held["traces"][0]["worn"] == [2.0, 8.0]
    other = replace(BRIEF, traces=(replace(RULE, files="*.csv", columns={}, height_in="mm", decimal="comma"),))
    assert sealed_brief.changes(held, sealed_brief.covered(other, "main")) == []
    moved = replace(BRIEF, traces=(replace(RULE, worn=(2.0, 7.0)),), masters=(), reference=None)
    assert sealed_brief.changes(held, sealed_brief.covered(moved, "main")) == [
        "master", "reference", "traces[1].worn[2]",
    ]  # fmt: skip
    assert sealed_brief.brief_of(held, other).traces[0].files == "*.csv"
    bare = sealed_brief.covered(brief_of("chain-soot"), "main")
    assert not {"traces", "master", "reference"} & set(bare)
    assert reading.canonical(BRIEF)["traces"][0]["files"] == "{run_id}_{part_id}.csv"
