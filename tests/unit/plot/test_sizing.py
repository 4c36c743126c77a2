"""Pictures of a sizing: detectable changes by cost, forecasts, scatter."""

import dataclasses

import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.brief.model import Cost
from toolkit.plot import answers, forecast, scatter, sizing


def brief_of(names=example.SHORT, count=4, **changed):
    """An example brief with a budget."""
    return dataclasses.replace(example.brief(names, count, **changed), cost=Cost("EUR", 240_000.0))


BRIEF = brief_of()
TABLE = example.options(BRIEF)
RESPONSE = "elongation_pct"


@pytest.mark.parametrize("names", [example.SHORT, example.LONG], ids=["short", "long"])
@pytest.mark.parametrize("count", [2, 7])
@pytest.mark.parametrize("draw", ["detectable", "outcomes"])
def test_no_text_lies_on_another_or_is_cut(names, count, draw):
    brief = brief_of(names, count)
    table = example.options(brief)
    if draw == "outcomes":
        ax = forecast.outcomes(table, brief, response=RESPONSE, name="full factorial, 3 builds")
    else:
        ax = sizing.detectable(table, brief, response=RESPONSE)
    assert boxes.faults(ax) == []


def test_detectable_changes_stand_over_their_cost_with_budget_and_worthwhile_change():
    ax = sizing.detectable(TABLE, BRIEF, response=RESPONSE)
    coating = TABLE[TABLE["comparison"] == "coating"]
    line = next(item for item in ax.lines if len(item.get_xdata()) == 5)
    assert list(line.get_xdata()) == pytest.approx(list(coating["cost"] / 1000))
    assert list(line.get_ydata()) == pytest.approx(list(coating["detectable_ratio"]))
    levels = [item.get_ydata()[0] for item in ax.lines if item.get_linestyle() == "--" and len(item.get_xdata()) == 2]
    assert levels == pytest.approx([0.8])
    assert 240.0 in [item.get_xdata()[0] for item in ax.lines]
    assert ax.get_xlabel() == "cost with expected repeats (thousand EUR)"
    assert "budget 240,000 EUR" in [text.get_text() for text in ax.texts]
    assert ax.get_ylabel() == "smallest change of elongation\nshown with power 80 %, log scale"
    assert "worthwhile: −20\u00a0%" in [text.get_text() for text in ax.texts]
    assert boxes.title_of(ax).startswith("Within the budget can be found: coating from −17 %; new oil from −22 %; ")


def test_for_larger_is_better_the_worthwhile_line_lies_above_no_change():
    brief = brief_of(better="larger")
    table = example.options(brief).assign(detectable_ratio=1 / TABLE["detectable_ratio"])
    found = sizing.lines(table, RESPONSE, "detectable_ratio", brief)
    assert found[0].worthwhile == pytest.approx(1.20)
    assert found[0].assumed == "+26 %"


def test_a_plan_that_a_cheaper_one_outdoes_is_left_out():
    worse = TABLE[TABLE["runs"] == 12].assign(runs=13, cost=190_000.0, detectable_ratio=0.5, assurance=0.1)
    table = pd.concat([TABLE, worse], ignore_index=True)
    for column in ("detectable_ratio", "assurance"):
        assert sizing.lines(table, RESPONSE, column, BRIEF)[0].runs == (8, 12, 16, 20, 24)


def test_the_forecast_stacks_the_six_verdicts_to_a_hundred():
    ax = forecast.outcomes(TABLE, BRIEF, response=RESPONSE, name="full factorial, 3 builds")
    rows = TABLE[(TABLE["runs"] == 12) & TABLE["comparison"].notna()]
    for at in range(len(rows)):
        bars = [patch for patch in ax.patches if round(patch.get_y() + patch.get_height() / 2) == at]
        assert [bar.get_width() for bar in bars] == pytest.approx(
            [100 * rows.iloc[at][name] for name in example.VERDICTS]
        )
        assert sum(bar.get_width() for bar in bars) == pytest.approx(100.0)
    assert [text.get_text() for text in ax.figure.legends[0].get_texts()] == list(answers.VERDICTS[:6])
    looks = {(bar.get_facecolor(), bar.get_hatch()) for bar in ax.patches}
    assert len(looks) == 6
    assert boxes.title_of(ax) == (
        "Elongation, 12 runs (full factorial, 3 builds), most likely: not known yet for every comparison"
    )


def test_the_forecast_says_which_verdict_is_the_likeliest_of_each_or_counts_them():
    rows = TABLE[(TABLE["runs"] == 12) & TABLE["comparison"].notna()].reset_index(drop=True)
    other = rows.copy()
    other.loc[0, list(example.VERDICTS)] = [0.7, 0.1, 0.05, 0.1, 0.05, 0.0]
    said = forecast.outcomes(other, BRIEF, response=RESPONSE, name="full factorial, 3 builds")
    names = rows["comparison"].tolist()
    assert boxes.title_of(said).endswith(
        f"most likely: {names[0]} – worthwhile gain; " + "; ".join(f"{name} – not known yet" for name in names[1:])
    )
    long = other.assign(comparison=[f"{name} of the second supplier, as he sent it in spring" for name in names])
    counted = forecast.outcomes(long, BRIEF, response=RESPONSE, name="full factorial, 3 builds")
    assert boxes.title_of(counted).endswith("most likely: worthwhile gain for 1; not known yet for 3 of 4 comparisons")


def test_the_scatter_shows_each_source_with_its_interval_in_per_cent():
    table = example.scatter(BRIEF)
    ax = scatter.scatter(table, BRIEF, response=RESPONSE)
    dots = [float(line.get_xdata()[0]) for line in ax.lines if len(line.get_xdata()) == 1]
    bars = [tuple(line.get_xdata()) for line in ax.lines if len(line.get_xdata()) == 2]
    assert dots == pytest.approx([12.0, 13.5, 13.2, 15.0])
    assert bars[0] == pytest.approx((6.2, 75.0))
    assert [label.get_text() for label in ax.get_yticklabels()][:2] == ["pilot, run (2 df)", "history, run (8 df)"]
    assert ax.texts[2].get_text() == "13 % (9.0 to 24 %)\nthe sizing rests on this"
    assert boxes.faults(ax) == []


def test_alt_texts_tell_the_numbers():
    assert sizing.alt_detectable(TABLE, BRIEF, response=RESPONSE).startswith(
        "Smallest change of elongation shown with power 80 %, by cost with expected repeats. "
        "coating: −20 % for 124,800, −17 % for 187,200,"
    )
    assert forecast.alt_outcomes(TABLE, BRIEF, response=RESPONSE, name="full factorial, 2 builds").startswith(
        "Forecast of the verdicts on elongation with the plan 'full factorial, 2 builds'. "
        "coating (true change −26 %): worthwhile gain 5 %, gain, size not settled 30 %,"
    )
    assert scatter.alt_scatter(example.scatter(BRIEF), BRIEF, response=RESPONSE).startswith(
        "Standard deviation of elongation by source. pilot, run: 12 % (6.2 to 75 %) on 2 df; history, run: 14 %"
    )
