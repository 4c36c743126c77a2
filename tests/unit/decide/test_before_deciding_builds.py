"""Builds and few degrees of freedom told before deciding, and nothing where they are in order."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import brief_of, runs_of, simple
from toolkit.brief.model import Comparison
from toolkit.decide import before_deciding, verdict
from toolkit.decide.next_runs import next_runs
from toolkit.model._few_df import warning
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit


def told_of(builds):
    """The fit of twelve INVENTED runs, and what is told of builds."""
    data = pd.DataFrame({"pin": ["P0"] * 6 + ["P1"] * 6, "build": builds,
                         "wear_um": [19.0, 19.3, 18.8, 19.1, 18.9, 19.2, 20.4, 20.7, 20.5, 20.3, 20.8, 20.2]})
    brief = brief_of(data, ["pin"], "wear_um", levels={"pin": ["P0", "P1"]}, worthwhile=1.0,
                     comparisons=[simple("pin", "pin", "P1", "P0")])
    made = fit(brief, runs_of(data, ["pin"], "wear_um", build="build"), "wear_um")
    return made, before_deciding._along_builds(SimpleNamespace(fit=made, response="wear_um"), brief)


def test_builds_in_place_of_pins_are_told_with_a_way_out():
    made, rows = told_of(["B1"] * 6 + ["B2"] * 6)
    assert [(row["response"], row["kind"], row["comparison"]) for row in rows] == [
        ("wear_um", "goes along with builds", "pin")
    ]
    assert rows[0]["sentence"] == (
        "pin (wear) cannot be told apart from builds: every run with pin P0 was in build B1; every run with pin P1 was "
        "in build B2. So no interval and no test: repeat both sides within one build, or declare builds as blocks in "
        "the brief and run both sides in each."
    )
    judged = verdict.verdicts(comparisons(made), made.brief)
    assert list(judged["verdict"]) == ["no error estimate"]
    found = next_runs(made, judged)
    assert not len(found.table)
    assert found.sentence == (
        "wear_um: pin cannot be told apart from builds: no run is priced for that; run both sides within one build."
    )


def test_builds_that_hold_both_pins_are_not_told():
    assert told_of(["B1", "B2"] * 6)[1] == []
    assert told_of(["B1"] * 12)[1] == []


def mixing(builds):
    """The comparisons of INVENTED whole plots: a sprocket for each build, both oils in it twice."""
    lines = [(f"B{at}", f"S{at % 2}", oil) for at in range(builds) for oil in ("O0", "O1", "O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "sprocket", "oil"])
    draw = np.random.default_rng(3)
    data["wear_um"] = 20.0 + draw.normal(size=builds)[data["build"].str[1:].astype(int)] + draw.normal(size=len(data))
    mix = Comparison("mix", of={"sprocket": "S1", "oil": "O1"}, against={"sprocket": "S0", "oil": "O0"})
    brief = brief_of(data, ["sprocket", "oil"], "wear_um", build_level=["sprocket"],
                     comparisons=[simple("sprocket", "sprocket", "S1", "S0"), mix])
    return comparisons(fit(brief, runs_of(data, ["sprocket", "oil"], "wear_um", build="build"), "wear_um"))


def test_a_mixed_comparison_on_two_df_of_builds_is_judged_by_both_and_says_so():
    table = mixing(4)
    row = table.set_index("comparison").loc["mix"]
    assert row["note"] == (
        f"mixes the build and run strata, 2 df of builds: critical value weighted by both (Cochran and Cox), as of t "
        f"on {row['df']:.1f} df"
    )
    assert 2.0 <= row["df"] < 5.0
    assert before_deciding._few_df(SimpleNamespace(comparisons=table, response="wear_um")) == []


def test_one_judged_by_kenward_and_roger_says_that_its_level_is_held_less_well():
    table = mixing(4).assign(note="df by Kenward and Roger (3.2); rests on 2 df of builds: the level is held less well")
    rows = before_deciding._few_df(SimpleNamespace(comparisons=table.iloc[1:], response="wear_um"))
    assert [(row["kind"], row["comparison"], row["sentence"]) for row in rows] == [
        ("few degrees of freedom", "mix", "mix (wear) rests on 2 df of builds: the level is held less well.")
    ]


def test_four_df_of_builds_are_not_told():
    table = mixing(6)
    assert "less well" not in "".join(table["note"])
    assert before_deciding._few_df(SimpleNamespace(comparisons=table, response="wear_um")) == []


@pytest.mark.parametrize(("df", "told"), [
    ({"build": 1, "run": 9}, "; rests on 1 df of builds: the level is held less well"),
    ({"build": 2, "fill": 1, "run": 9}, "; rests on 2 df of builds and 1 df of fills: the level is held less well"),
    ({"build": 3, "run": 9}, ""), ({"build": 1}, ""), ({"build": None, "run": 4}, ""),
])
def test_the_warning_names_the_strata_with_fewer_than_three_df(df, told):
    assert warning(df) == told
