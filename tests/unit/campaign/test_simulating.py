"""The plan of a campaign folder simulated: which plan, under what, and what is written."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from toolkit.brief.model import Covariate
from toolkit.campaign import folder, simulating
from toolkit.cli import main
from toolkit.errors import SizingError
from toolkit.size import conditions
from toolkit.size.conditions import Conditions

DATA = Path(__file__).resolve().parents[3] / "data"


@pytest.fixture
def chain(tmp_path):
    shutil.copytree(DATA / "chain-soot", tmp_path / "chain")
    return folder.open_campaign(tmp_path / "chain")


def test_the_chosen_plan_keeps_its_promise_and_is_written(chain):
    told = []
    made = simulating.simulated(
        chain, campaigns=2_000, under=[Conditions()], engine="serial", progress=lambda *item: told.append(item)
    )
    assert (made.plan, made.chosen, made.runs) == ("full factorial, 3 builds of 4 runs", True, 12)
    for answer in made.parts[0].answers:
        assert abs(answer.gap("assurance")) < 0.03
        assert abs(answer.false_alarms.share - 0.05) < 0.015
    assert told[-1] == (8, 8)
    written = json.loads((chain.folder / "derived" / "simulated.json").read_text(encoding="utf-8"))
    assert written == made.to_json()
    first = written["conditions"][0]["answers"][0]
    assert set(first) == {
        "comparison",
        "contrast",
        "assumed_change",
        "alpha",
        "power",
        "assurance",
        "false_alarms",
        "coverage",
        "wrong_way",
        "shown_wrong_way",
        "not_judged",
        "verdicts",
        "worked_out",
        "gap",
    }
    assert set(first["power"]) == {"share", "low", "high"}
    assert first["power"]["low"] < first["power"]["share"] < first["power"]["high"]
    assert written["conditions"][0]["sentences"][0].startswith("coating: chance worked out 86.")
    assert "they agree. By chance the estimate ranks the two the wrong way round in" in made.parts[0].sentences[0]


def test_without_a_choice_the_recommended_plan_is_simulated(chain):
    chain = replace(chain, brief=replace(chain.brief, plan=replace(chain.brief.plan, builds=0, replicates=0)))
    made = simulating.simulated(chain, campaigns=100, under=[Conditions()], engine="serial")
    assert (made.plan, made.chosen) == ("full factorial, 3 builds of 4 runs", False)


def test_without_a_plan_there_is_none_to_simulate(chain):
    cost = replace(chain.brief.cost, budget=130_000.0)
    brief = replace(chain.brief, plan=replace(chain.brief.plan, builds=0, replicates=0), cost=cost, power=0.999)
    with pytest.raises(SizingError) as told:
        simulating.simulated(replace(chain, brief=brief), campaigns=100, engine="serial")
    text = str(told.value)
    assert text.startswith("no plan is chosen in campaign.toml, and none can be recommended, so there is none to simul")
    assert text.endswith("Write the plan you have in mind into [plan] of campaign.toml.")
    assert not (chain.folder / "derived" / "simulated.json").exists()


def test_what_is_tried_when_nothing_else_is_asked(chain):
    found = simulating.sizing.sizing_of(chain, chain.records())
    usual = conditions.usual(chain.brief, found.scatters[0])
    assert [item.name for item in usual] == [
        "as planned",
        "8 % of the runs lost at random",
        "a steady drift, one run SD in all",
        "a wandering rig, 0.3 run SDs a run",
        "a step of one run SD",
    ]
    sd = found.scatters[0].sd
    assert (usual[1].lost_share, usual[2].steady, usual[3].wander, usual[4].jump) == (0.08, sd, 0.3 * sd, sd)
    assert usual[0].station_sd is not None and usual[0].plain
    none = replace(chain.brief, cost=replace(chain.brief.cost, lost_runs_pct=0.0))
    assert conditions.usual(none, found.scatters[0])[1].name == "10 % of the runs lost at random"
    hard = replace(chain.brief, covariates=(Covariate("blank_HV", before_run=True), Covariate("run_order")))
    assert [item.name for item in conditions.usual(hard, found.scatters[0])[5:]] == [
        "blank_HV carries a third of the scatter"
    ]


def test_the_command(capsys, chain):
    code = main(["size", str(chain.folder), "--simulate", "200"])
    told = capsys.readouterr()
    assert code == 0
    lines = told.out.splitlines()
    assert lines[0] == (
        "full factorial, 3 builds of 4 runs (chosen in campaign.toml, 12 runs), 200 campaigns simulated under each "
        "condition."
    )
    assert lines[2].split() == (
        "conditions comparison worked out % simulated % gap false alarms % coverage % wrong way %".split()
    )
    assert "note: where a chance worked out and a simulated one differ, the simulation decides" in lines
    assert "simulated 100 %\n" in told.err
    assert "different sets of runs left (" in told.err
    assert "wrote derived/simulated.json\n" in told.err
    code = main(["size", str(chain.folder), "--simulate", "200", "--json"])
    assert json.loads(capsys.readouterr().out)["campaigns"] == 200
    with pytest.raises(SystemExit) as stopped:
        main(["size", str(chain.folder), "--simulate", "5"])
    assert stopped.value.code == 2
    told = capsys.readouterr().err.splitlines()[-1]
    assert told == "wearbook size: error: argument --simulate: '5'; expected a whole number from 100 to 10000000"


def test_habits_stand_in_the_sizing(chain):
    found = simulating.sizing.sizing_of(chain, chain.records())
    made = found.to_json()["habit_cost"]
    assert made["response"] == "elongation_pct"
    assert made["plan"] == "full factorial, 3 builds of 4 runs"
    assert {item["habit"] for item in made["habits"]} >= {
        "one run of each combination, read as it is",
        "one factor changed at a time, read as it is",
        "stations counted as runs",
    }
