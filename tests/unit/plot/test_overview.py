"""The picture of what the money buys: comparisons, terms and lost runs, each number where it belongs."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.brief.model import Cost, CostItem
from toolkit.plot import overview

RESPONSE = "elongation_pct"
PLAN = "full factorial, 3 builds"
ITEMS = (CostItem("run", "test cell", amount=1.0),)


def brief_of(names=example.SHORT, count=4, *, items=ITEMS):
    return dataclasses.replace(example.brief(names, count), cost=Cost("EUR", 240_000.0, items=items))


def table_of(brief):
    """The example's comparisons, and two main effects and their interaction beside them."""
    table = example.options(brief)
    coating = table[table["comparison"] == table["comparison"].iloc[0]]
    terms = [
        coating.assign(comparison=None, term=name, detectable_ratio=coating["detectable_ratio"] ** power)
        for name, power in (("pin", 1.0), ("oil", 1.1), ("pin × oil", 2.0))
    ]
    return pd.concat([table, *terms], ignore_index=True)


def lost_of(brief):
    table = pd.DataFrame({"comparison": [item.name for item in brief.comparisons]})
    return table.assign(as_planned=0.9, after_one_lost=0.8, after_two_lost=0.6, after_worst_lost=0.7)


def drawn(brief, **changed):
    given = {"table": table_of(brief), "lost": lost_of(brief)} | changed
    return overview.overview(given["table"], given["lost"], brief, response=RESPONSE, plan=PLAN)


@pytest.mark.parametrize("names", [example.SHORT, example.LONG], ids=["short", "long"])
@pytest.mark.parametrize("count", [2, 7])
def test_no_text_lies_on_another_or_is_cut(names, count):
    assert boxes.faults(drawn(brief_of(names, count))) == []


def test_comparisons_and_terms_stand_apart_over_their_cost():
    brief = brief_of()
    figure = drawn(brief)
    comparisons, terms, chances = figure.axes
    table = table_of(brief)
    first = table[table["comparison"] == "coating"]
    assert list(comparisons.lines[0].get_xdata()) == pytest.approx(list(first["cost"] / 1000))
    assert list(comparisons.lines[0].get_ydata()) == pytest.approx(list(first["detectable_ratio"]))
    together = next(item for item in terms.lines if item.get_markerfacecolor() == "white")
    assert list(together.get_ydata()) == pytest.approx(list(first["detectable_ratio"] ** 2))
    assert together.get_linestyle() == "--"
    assert comparisons.get_ylim() == terms.get_ylim()
    for ax in (comparisons, terms):
        assert 240.0 in [item.get_xdata()[0] for item in ax.lines]
        assert "worthwhile: −20\u00a0%" in [text.get_text() for text in ax.texts]
    assert chances.get_xlabel() == "chance that a difference is shown (%), asked: 80 %"


def test_lost_runs_stand_beside_the_plan():
    brief = brief_of()
    ax = drawn(brief).axes[-1]
    shown = {item.get_label(): list(item.get_xdata()) for item in ax.lines if not item.get_label().startswith("_")}
    assert shown == {
        "as planned": [90.0] * 4,
        "one run lost for good": [80.0] * 4,
        "two runs lost": [60.0] * 4,
    }
    without = drawn(brief, lost=lost_of(brief).iloc[:0])
    assert len(without.axes) == 2
    untold = drawn(brief, lost=lost_of(brief).assign(after_two_lost=None)).axes[-1]
    assert "two runs lost" not in [item.get_label() for item in untold.lines]


def test_without_a_price_list_the_plans_stand_over_their_runs():
    brief = brief_of(items=())
    ax = drawn(brief).axes[0]
    assert list(ax.lines[0].get_xdata()) == [8, 12, 16, 20, 24]
    assert ax.get_xlabel() == "runs"
    assert not [text for text in ax.texts if text.get_text().startswith("budget")]


def test_the_text_tells_what_the_picture_shows():
    brief = brief_of(count=2)
    text = overview.alt_overview(table_of(brief), lost_of(brief), brief, response=RESPONSE, plan=PLAN)
    assert "Main effect pin: " in text
    assert "Interaction pin × oil: " in text
    assert text.endswith(
        "new oil by full factorial, 3 builds: chance shown 90 % as planned, 80 % one run lost for good, 60 % two runs "
        "lost."
    )
