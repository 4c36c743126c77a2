"""What the notebook shows of a sizing: every figure is one of the results, text alone where nothing is asked."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.size.test_best_of import coatings
from tests.unit.size.test_options import BRIEF, known
from tests.unit.size.test_routes import BRIEF as SPLIT_PLOT
from tests.unit.size.test_routes import scatter_of
from tests.unit.size.test_split import lines
from toolkit.brief.model import Cost
from toolkit.report import sliders, view_sizing
from toolkit.report.notebooks import HEADLESS
from toolkit.size import advice, options
from toolkit.size.what_if import what_if

PLAN = "full factorial, 3 builds of 4 runs"


@pytest.fixture(scope="module")
def sizing():
    """The plans of a blocked brief with what is said beside them."""
    found = options.options(BRIEF, [replace(known(BRIEF), _table=lines())])
    return replace(found, advice=advice.of_options(found))


def test_the_recommendation_and_what_it_cannot_show(sizing):
    text = repr(view_sizing.advice(sizing))
    for sentence in (*sizing.advice.spoken, *sizing.advice.cannot):
        assert sentence in text.replace("−", "-")
    # What is read out has the minus of all numbers.
    assert "(true change −30 %, chance 91 %)" in text and "-30" not in text
    assert f"What {PLAN} cannot show:" in text
    assert repr(view_sizing.advice(replace(sizing, advice=None))) == sizing.sentence


def test_the_price_item_by_item(sizing):
    text = repr(view_sizing.price(sizing, PLAN))
    assert "test cell | run | 12 | 13.04 | 1,435 | 157,826" in text
    assert "rebuild | build | 3 | 3 | 72 | 7,740" in text
    assert text.splitlines()[-1].strip() == "in all |  |  |  | 1,598 | 188,718"
    free = replace(BRIEF, cost=Cost())
    found = options.options(free, [known(free)])
    assert repr(view_sizing.price(found, found.options[0].name)) == (
        "[cost] of campaign.toml has no items, so that hours and money are not told."
    )


def test_runs_stations_readings_and_routes(sizing):
    text = repr(view_sizing.sharing(sizing))
    assert sizing.advice.split.sentences[0] in text
    assert "What more stations buy" in text
    found = options.options(SPLIT_PLOT, [scatter_of(SPLIT_PLOT)])
    told = repr(view_sizing.sharing(replace(found, advice=advice.of_options(found))))
    assert told.startswith("With sprocket kept over a build, ")
    assert repr(view_sizing.sharing(found)) == "Nothing is told beside the plans."


def test_choices_of_the_best(sizing):
    assert repr(view_sizing.picks(sizing)) == "No [[best_of]] is asked for in campaign.toml."
    brief = coatings()
    found = options.options(brief, [known(brief)])
    pick = found.options[0].picks[0]
    assert (
        f"full factorial, 2 replicates | 8 | best of 4 coating (elongation_pct) | 20 % | {100 * pick.chance:.0f} % | "
        f"{100 * pick.chance_if_known:.0f} % | {100 * pick.proof:.0f} % | {pick.overstated_pct:.3g} %"
    ) in repr(view_sizing.picks(found))


def test_the_lines_to_paste(sizing):
    assert repr(view_sizing.to_paste(sizing)) == "[plan]\nbuilds = 3"


def test_headless_the_sliders_are_a_line(sizing, monkeypatch):
    monkeypatch.setenv(HEADLESS, "1")
    assert repr(sliders.what_if_sliders(sizing, PLAN)) == (
        "The tables and figures above are the answer; run this notebook in JupyterLab to move sliders beside them."
    )


def test_the_curves_are_drawn_where_a_chance_is_known(sizing, monkeypatch):
    shown = []
    monkeypatch.setattr(sliders, "show", lambda drawn, alt: shown.append(alt))
    assert sliders.curves(sizing, PLAN) is None
    assert shown[0].startswith("Chance that a difference of elongation is shown, by its true size, with 12 runs, ")
    told = repr(sliders.curves(replace(sizing, phase="extension"), PLAN))
    assert told == "For an extension there is no such picture: its plans count together with runs that are made."
    unasked = replace(BRIEF, comparisons=())
    found = options.options(unasked, [known(unasked)])
    assert repr(sliders.curves(found, found.options[0].name)) == "The chance is not known for any comparison."
    assert len(shown) == 1


def test_an_extension_has_no_sliders(sizing, monkeypatch):
    monkeypatch.delenv(HEADLESS, raising=False)
    told = sliders.what_if_sliders(replace(sizing, phase="extension"), PLAN)
    assert repr(told) == "For an extension there are no sliders: its plans count together with runs that are made."


def test_sliders_begin_where_the_plan_stands(sizing, monkeypatch):
    monkeypatch.delenv(HEADLESS, raising=False)
    box = sliders.what_if_sliders(sizing, PLAN)
    plans, times, as_asked, change, _ = box.children
    assert (plans.value, times.value, as_asked.value, change.value) == (PLAN, 1.0, True, 20.0)
    assert [name for _, name in plans.options] == [option.name for option in sizing.options]
    assert [label for label, _ in plans.options] == ["8 runs", "12 runs", "16 runs", "20 runs"]
    assert (change.description, change.disabled) == ("true change (%)", True)
    as_asked.value = False
    assert not change.disabled
    box.close_all()


def test_what_the_sliders_show_is_what_the_plan_shows(sizing):
    told = what_if(sizing, PLAN, scatter_times=1.5, change=40.0)
    shown = repr(sliders.what_is_shown(told))
    assert told.sentence in shown
    assert f"coating | -40 % | {100 * told.table['chance_shown'].iloc[0]:.0f} % | " in shown
    assert shown.endswith("To choose this plan, write into [plan] of campaign.toml: builds = 3")
