"""The chart of the reference runs of a campaign: which runs, in which order, and what is said of them; INVENTED."""

from __future__ import annotations

import json
import math

import numpy as np
import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.model import Factor, KnownScatter, Level, Protocol, Response
from toolkit.decide import reference_chart
from toolkit.errors import ModelError
from toolkit.numeric import reference_chart as numbers
from toolkit.plot import reference_chart as picture

BRIEF = material.brief(
    factors=(Factor("pin", "part", (Level("P0"), Level("P1"))),), responses=(Response("wear_um", scale="log"),),
    held=(), scatter=KnownScatter(), protocol=Protocol(),
)  # fmt: skip


def runs(wear, *, levels=None, builds=None, verdicts=None):
    count = len(wear)
    return pd.DataFrame(
        {
            "run_id": [f"R{at + 1:02d}" for at in range(count)],
            "phase": "main",
            "build_id": builds or ["B1"] * count,
            "planned_order": range(1, count + 1),
            "actual_order": range(1, count + 1),
            "pin": levels or ["P0"] * count,
            "verdict": verdicts or ["valid"] * count,
            "wear_um": wear,
        }
    )


STEADY = [20.1, 21.4, 19.2, 20.9, 20.2, 21.0, 19.6, 20.5, 20.8, 19.9, 20.4, 20.7]


def test_valid_baseline_runs_in_the_order_made_whatever_the_order_of_the_rows():
    table = runs([20.0, 33.0, 21.0, 19.0, math.nan, 20.5], levels=["P0", "P1", "P0", "P0", "P0", "P0"],
                 verdicts=["valid", "valid", "valid", "invalid", "valid", "valid"])  # fmt: skip
    pilot = runs([22.0, 23.0]).assign(run_id=["P01", "P02"], phase="pilot")
    every = pd.concat([table, pilot], ignore_index=True)
    found = reference_chart.chart(BRIEF, every, "wear_um")
    assert found.table["run_id"].tolist() == ["P01", "P02", "R01", "R03", "R06"]
    mixed = reference_chart.chart(BRIEF, every.sample(frac=1.0, random_state=1), "wear_um")
    assert mixed.to_json() == found.to_json()
    assert found.combination == {"pin": "P0"} and found.adjusted is None
    assert found.finding == "5 reference runs: no sign of a change (provisional)"
    assert found.notes[0] == "Provisional: limits settle with 10 reference runs, and there are 5."


def test_numbers_are_those_of_ln_and_limits_in_the_own_unit():
    found = reference_chart.chart(BRIEF, runs(STEADY), "wear_um", conf_level=0.95)
    made = numbers.self_starting(np.log(STEADY), conf_level=0.95)
    assert found.table["low"][11] == pytest.approx(math.exp(made.low[11]), rel=1e-12)
    assert found.table["surprise"][5] == pytest.approx(made.surprise[5], rel=1e-12)
    assert found.table["low"][1] is None and found.table["outside"][1] is None
    assert found.table["provisional"].tolist() == [True] * 9 + [False] * 3
    assert found.finding == "12 reference runs: no sign of a change" and found.notes == ()
    assert json.loads(json.dumps(found.to_json(), allow_nan=False))["points"][0]["low"] is None


def test_a_run_far_off_and_a_level_that_moves_are_named():
    far = reference_chart.chart(BRIEF, runs([*STEADY, 27.0]), "wear_um")
    assert far.finding == "13 reference runs: R13 outside its limits"
    assert far.table["level"].tolist()[-1] == 3
    moved = reference_chart.chart(BRIEF, runs([*STEADY, 21.7, 21.9, 21.6, 22.0]), "wear_um", conf_level=0.99)
    assert moved.finding == "16 reference runs: the level has moved by R16"


def test_steps_at_rebuilds_and_a_slope_within_builds():
    builds = ["B1"] * 6 + ["B2"] * 6
    found = reference_chart.chart(BRIEF, runs([*STEADY[:6], *(1.2 * np.array(STEADY[6:]))], builds=builds), "wear_um")
    ((before, after, step),) = found.steps
    expected = np.log(1.2) + np.log(STEADY[6:]).mean() - np.log(STEADY[:6]).mean()
    assert (before, after) == ("B1", "B2") and step.estimate == pytest.approx(expected, rel=1e-12)
    assert step.low > 0.1 and found.slope.low < 0.0 < found.slope.high
    alone = reference_chart.chart(BRIEF, runs(STEADY[:3], builds=["B1", "B2", "B3"]), "wear_um")
    assert alone.slope is None and alone.steps[0][2].std_error is None
    assert alone.notes[1] == (
        "One reference run in each build: a rebuild and the scatter from run to run cannot be told apart."
    )


def test_runs_are_adjusted_only_where_asked_for_and_the_price_is_told():
    table = runs([20.0, 30.0, 22.0, 31.0, 24.0], levels=["P0", "P1", "P0", "P1", "P0"])
    found = reference_chart.chart(BRIEF, table, "wear_um", adjust=True)
    row = found.adjusted.iloc[0].to_dict()
    # By hand: the bracket R01, R03 less the mean of all three, on ln.
    amount = (math.log(20) + math.log(22)) / 2 - (math.log(20) + math.log(22) + math.log(24)) / 3
    assert row["adjusted"] == pytest.approx(30.0 * math.exp(-amount), rel=1e-12)
    assert row["adjustment"] == pytest.approx(math.exp(-amount), rel=1e-12)
    assert (row["run_id"], row["references"], row["value"]) == ("R02", "R01, R03", 30.0)
    # Two weights of 1/2 - 1/3 and one of -1/3: 1/6.
    assert row["variance_added"] == pytest.approx(1 / 6, rel=1e-12)
    # R02 less its bracket, the references as they are: they go together by the weights they have in it.
    assert found.covariance.loc["R02", ["R02", "R01", "R05"]].tolist() == pytest.approx([7 / 6, -1 / 6, 1 / 3])
    assert found.covariance.loc["R01", ["R01", "R03"]].tolist() == [1.0, 0.0]


def test_earlier_reference_runs_come_first_on_the_chart():
    earlier = pd.DataFrame({"run_id": ["E1", "E2", "E3", "E4"], "build_id": ["old"] * 4,
                            "wear_um": [20.0, -1.0, math.nan, 21.0]})  # fmt: skip
    found = reference_chart.chart(BRIEF, runs(STEADY[:3]), "wear_um", earlier=earlier)
    assert found.table["run_id"].tolist() == ["E1", "E4", "R01", "R02", "R03"]
    assert found.table["phase"].tolist() == ["earlier", "earlier", "main", "main", "main"]
    assert "Left out, as at or below 0 on the log scale: E2." in found.notes
    whole = reference_chart.chart(BRIEF, runs([20.0, 21.0, *STEADY[:3]]), "wear_um")
    assert found.table["score"].tolist() == whole.table["score"].tolist()


def test_what_cannot_be_charted_is_told():
    with pytest.raises(ModelError) as caught:
        reference_chart.chart(BRIEF, runs(STEADY), "wear", combination={"pin": "P2"})
    assert str(caught.value) == (
        "The reference chart cannot be made.\n  response: 'wear'; expected 'wear_um'.\n"
        "  combination, pin: 'P2'; expected 'P0' or 'P1'."
    )
    with pytest.raises(ModelError, match="wear_um: no valid run of pin P1 has a value yet."):
        reference_chart.chart(BRIEF, runs(STEADY), "wear_um", combination={"pin": "P1"})
    left = reference_chart.chart(BRIEF, runs([*STEADY, -1.0]), "wear_um")
    assert left.notes == ("Left out, as at or below 0 on the log scale: R13.",)


def test_the_picture_says_its_finding_and_has_a_text():
    found = reference_chart.chart(BRIEF, runs([*STEADY, 27.0], builds=["B1"] * 7 + ["B2"] * 6), "wear_um")
    single, moved = picture.reference_chart(found)
    assert single.figure.get_suptitle().replace("\n", " ") == "13 reference runs: R13 outside its limits"
    assert (single.get_title(loc="left"), moved.get_title(loc="left")) == ("Runs", "Level, smoothed")
    assert [line.get_marker() for line in single.lines].count("s") == 1
    text = picture.alt_reference_chart(found)
    assert text.startswith("13 reference runs: R13 outside its limits. Wear in µm of the ")
    assert "R13 27.0 (limits " in text and "R01 20.1;" in text
    few = reference_chart.chart(BRIEF, runs(STEADY[:2]), "wear_um")
    assert few.finding == "2 reference runs: too few to judge the rig by"
    assert len(picture.reference_chart(few)) == 2
