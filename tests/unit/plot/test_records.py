"""The run timeline: every run in order, void ones crossed with their reason, pending ones listed."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.brief.model import Factor, Level
from toolkit.plot import look, records

BRIEF = example.brief()
RUNS = example.runs(BRIEF)


def marks(ax):
    """Place and value of every run drawn, void ones apart."""
    drawn, void = [], []
    for item in ax.collections:
        pairs = [(float(x), float(y)) for x, y in item.get_offsets()]
        (void if item.get_label().startswith("void") else drawn).extend(pairs)
    return sorted(drawn), void


def test_every_run_stands_in_the_order_it_was_run_and_void_ones_are_crossed():
    ax = records.timeline(RUNS.sample(frac=1.0, random_state=3), BRIEF, response="elongation_pct")
    drawn, void = marks(ax)
    made = RUNS[RUNS["verdict"] != "pending"].reset_index(drop=True)
    places = {run: at + 1 for at, run in enumerate(made["run_id"])}
    valid = made[made["verdict"] == "valid"]
    assert [place for place, _ in drawn] == [places[run] for run in valid["run_id"]]
    assert [value for _, value in drawn] == pytest.approx(list(valid["elongation_pct"]))
    assert void == [(places["R04"], ax.get_ylim()[0])]
    assert [label.get_text() for label in ax.get_xticklabels()] == list(made["run_id"])
    assert boxes.faults(ax) == []


def test_reasons_and_pending_runs_stand_below():
    ax = records.timeline(RUNS, BRIEF, response="elongation_pct")
    assert ax.get_xlabel() == (
        "runs in the order they were run, builds shaded\n× R04 invalid: tripped at 62 h, oil pressure\npending: R12"
    )
    assert boxes.title_of(ax) == "Elongation of 14 valid runs, 1 void, 1 pending"
    assert [text.get_text() for text in ax.texts] == ["PB1", "B1", "B2", "B3"]


def test_a_void_run_with_a_value_is_crossed_at_its_value():
    runs = RUNS.assign(elongation_pct=RUNS["elongation_pct"].where(RUNS["run_id"] != "R04", 0.083))
    _, void = marks(records.timeline(runs, BRIEF, response="elongation_pct"))
    assert void == [(8.0, 0.083)]


def test_values_without_a_place_on_the_axis_are_told_and_not_drawn():
    runs = RUNS.copy()
    runs.loc[runs["run_id"] == "R02", "elongation_pct"] = -0.01
    runs.loc[runs["run_id"] == "R03", "elongation_pct"] = np.nan
    ax = records.timeline(runs, BRIEF, response="elongation_pct")
    assert "no value: R03\nR02: −0.0100 has no place on a log scale\n" in ax.get_xlabel()
    assert len(marks(ax)[0]) == 12


def test_marks_are_those_of_the_levels():
    ax = records.timeline(RUNS, BRIEF, response="elongation_pct")
    colours = {item.get_label(): tuple(item.get_edgecolor()[0][:3]) for item in ax.collections}
    import matplotlib as mpl

    assert colours["pin P0, oil O1"] == mpl.colors.to_rgb(look.PALETTE[0])
    assert colours["pin P1, oil O0"] == mpl.colors.to_rgb(look.PALETTE[1])


@pytest.mark.parametrize("count", [30, 60])
def test_long_campaigns_with_many_void_runs_stay_readable(count):
    rows = []
    for at in range(count):
        combo = BRIEF.combinations[at % 4]
        rows.append({"run_id": f"R{at + 1:03d}", "phase": "main", "build_id": f"engine build number {at // 4 + 1}",
                     "planned_order": at + 1, "actual_order": at + 1, "pin": combo[0], "oil": combo[1],
                     "verdict": "invalid" if at % 3 == 0 else "valid", "reason": "coolant hose burst, stopped at once, "
                     "chain measured all the same and not to be compared with the others", "role": "engineer",
                     "elongation_pct": 0.1 + 0.001 * at})  # fmt: skip
    ax = records.timeline(pd.DataFrame(rows), BRIEF, response="elongation_pct")
    assert f"and {-(-count // 3) - 6} more void runs: see the table" in ax.get_xlabel()
    told = boxes.faults(ax)
    assert told == []


def test_the_alt_text_lists_every_run():
    alt = records.alt_timeline(RUNS, BRIEF, response="elongation_pct")
    assert alt.startswith("Elongation of 14 valid runs, 1 void, 1 pending in the order they were run. P01 (build PB1, ")
    assert "R04 (build B1, pin P1, oil O0) no value, invalid: tripped at 62 h, oil pressure" in alt
    assert alt.endswith("Pending: R12.")


def test_no_run_at_all_is_an_empty_picture_and_no_fault():
    none = RUNS[RUNS["verdict"] == "pending"]
    ax = records.timeline(none, BRIEF, response="elongation_pct")
    assert boxes.title_of(ax) == "Elongation of 0 valid runs, 1 pending"
    assert boxes.faults(ax) == []


def test_with_three_factors_the_marks_tell_the_first_and_the_last():
    speed = Factor("speed_rpm", "setting", (Level("1500", value=1500.0), Level("3000", value=3000.0)))
    brief = dataclasses.replace(BRIEF, factors=(BRIEF.factors[0], speed, BRIEF.factors[1]))
    runs = RUNS.assign(speed_rpm=["1500", "3000"] * 8)
    ax = records.timeline(runs, brief, response="elongation_pct")
    named = [text.get_text().replace("\n", " ") for text in ax.get_legend().get_texts()]
    assert named == ["pin P0, oil O0", "pin P0, oil O1", "pin P1, oil O0", "pin P1, oil O1", "void (reason below)"]
    assert len(marks(ax)[0]) == 14
    assert boxes.faults(ax) == []


def test_many_combinations_have_room_for_their_names():
    pins = tuple(Level(f"supplier {at}, hard chromium nitride") for at in range(7))
    brief = dataclasses.replace(BRIEF, factors=(Factor("pin", "part", pins), BRIEF.factors[1]))
    rows = [{"run_id": f"R{at:02d}", "phase": "main", "build_id": "B1", "planned_order": at, "actual_order": at,
             "pin": pin, "oil": oil, "verdict": "valid", "reason": "", "elongation_pct": 0.1 + at / 100}
            for at, (pin, oil) in enumerate(brief.combinations)]  # fmt: skip
    ax = records.timeline(pd.DataFrame(rows), brief, response="elongation_pct")
    assert len(ax.get_legend().get_texts()) == 14
    assert boxes.faults(ax) == []


def test_an_order_that_is_not_known_is_not_claimed():
    runs = RUNS.assign(actual_order=np.nan)
    ax = records.timeline(runs, BRIEF, response="elongation_pct")
    told = "as they are recorded (the order they were run in is not known)"
    assert ax.get_xlabel().startswith(f"runs {told}, builds shaded\n")
    assert boxes.faults(ax) == []
    assert records.alt_timeline(runs, BRIEF, response="elongation_pct").startswith(
        f"Elongation of 14 valid runs, 1 void, 1 pending {told}. P01 "
    )
