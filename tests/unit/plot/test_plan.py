"""The plan map: which combination runs when in which build."""

import dataclasses

import pandas as pd
from matplotlib.patches import Rectangle

from tests.unit.plot import boxes, example
from toolkit.brief.model import Factor, Level, PlanChoice
from toolkit.design import factorial, orders
from toolkit.plot import plan

BRIEF = dataclasses.replace(example.brief(), plan=PlanChoice(builds=3))
ORDER = orders.randomise(factorial.full(BRIEF), seed=BRIEF.seed).table


def test_every_run_has_its_field_in_its_build_and_place():
    ax = plan.plan_map(ORDER, BRIEF)
    fields = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    names = {text.get_text(): text.get_position() for text in ax.texts}
    assert len(fields) == 12
    for at, run in enumerate(ORDER.to_dict("records")):
        left, top = names[run["run_id"]]
        assert (int(left), int(top)) == (at % 4, at // 4)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["B1", "B2", "B3"]
    assert boxes.title_of(ax) == "12 runs in 3 builds"
    assert boxes.faults(ax) == []


def test_long_builds_go_on_in_the_next_row():
    brief = dataclasses.replace(BRIEF, block_by=None, plan=PlanChoice(replicates=5))
    table = orders.randomise(factorial.full(brief), seed=1).table
    fields = plan.layout(table)
    assert [(field.row, field.column) for field in fields] == [(at // 8, at % 8) for at in range(20)]
    assert [field.run["planned_order"] for field in fields] == list(range(1, 21))
    assert boxes.faults(plan.plan_map(table, brief)) == []


def test_the_words_below_a_narrow_map_are_whole():
    factors = (dataclasses.replace(BRIEF.factors[0], name="timing sprocket", undo="build"), BRIEF.factors[1])
    asked = {"factors": factors, "comparisons": (), "block_by": None, "plan": PlanChoice(builds=4)}
    brief = dataclasses.replace(BRIEF, **asked)
    ax = plan.plan_map(orders.randomise(factorial.full(brief), seed=1).table, brief)
    assert ax.get_xlabel().replace("\n", " ") == (
        "planned order from left to right, a row for each build; colour by timing sprocket, mark by timing sprocket "
        "and oil"
    )
    assert boxes.faults(ax) == []


def test_long_names_of_three_factors_stay_inside():
    long = tuple(Level(f"hard chromium nitride {at}") for at in range(2))
    factors = (*BRIEF.factors, Factor("manufacturer_of_oil", "fill", long))
    brief = dataclasses.replace(BRIEF, factors=factors, plan=PlanChoice(builds=2))
    table = orders.randomise(factorial.full(brief), seed=1).table
    assert boxes.faults(plan.plan_map(table, brief)) == []


def test_names_that_no_field_holds_stand_once_below_the_map_and_codes_are_whole():
    levels = (Level("wie-heute-0"), Level("Äußerst-0"))
    factors = tuple(Factor(f"name_of_20_letters_{at}", "setting", levels) for at in range(4))
    brief = dataclasses.replace(BRIEF, factors=factors, comparisons=(), block_by=None, plan=PlanChoice(replicates=1))
    ax = plan.plan_map(orders.randomise(factorial.full(brief), seed=1).table, brief)
    shown = [text.get_text() for text in ax.texts if "\n" in text.get_text()]
    assert len(shown) == 16 and {line for text in shown for line in text.split("\n")} == {"wie-heute-0", "Äußerst-0"}
    told = "levels of name_of_20_letters_0, name_of_20_letters_1, name_of_20_letters_2, name_of_20_letters_3; planned "
    assert ax.get_xlabel().replace("\n", " ").startswith(told)
    assert boxes.faults(ax) == []


def test_lines_with_letters_that_bear_marks_stay_within_their_field():
    levels = (Level("wie-heute-0"), Level("Äußerst-0"))
    factors = tuple(Factor(f"name_of_20_letters_{at}", "setting", levels) for at in range(7))
    brief = dataclasses.replace(BRIEF, factors=factors, comparisons=(), block_by=None, plan=PlanChoice(replicates=1))
    rows = {"run_id": ["R01"], "build_id": ["B1"], "planned_order": [1]}
    rows |= {item.name: ["Äußerst-0"] for item in factors}
    ax = plan.plan_map(pd.DataFrame(rows), brief)
    ax.figure.canvas.draw()
    [words] = [text.get_window_extent() for text in ax.texts if text.get_text().count("Äußerst") == 7]
    fields = [item for item in ax.get_children() if isinstance(item, Rectangle) and item is not ax.patch]
    [field] = [item.get_window_extent() for item in fields]
    assert words.y0 > field.y0 + 2


def test_the_alt_text_lists_the_runs_build_by_build():
    alt = plan.alt_plan_map(ORDER, BRIEF)
    first = ORDER.iloc[0]
    assert alt.startswith(f"12 runs in planned order. Build B1: R01 pin {first['pin']}, oil {first['oil']}; R02 ")
    assert alt.count("Build ") == 3
