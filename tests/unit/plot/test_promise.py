"""The picture of what one plan promises: a named line a curve, with the worthwhile change and the asked power."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.plot import promise

RESPONSE = "elongation_pct"
PLAN = "12 runs, 1,598 h, 188,718 EUR, within the budget"
CHANGES = (0.0, 10.0, 20.0, 40.0, 60.0)
CHANCES = ((0.05, 0.30, 0.72, 0.97, 1.0), (0.05, 0.30, 0.72, 0.97, 1.0), (0.05, 0.12, 0.31, 0.66, 0.95))


def table_of(brief, edge=20.0):
    """INVENTED chances: the first two comparisons are alike."""
    rows = [
        (item.name, change, chance * (1 - 0.01 * max(at - 1, 0)), change == edge)
        for at, item in enumerate(brief.comparisons)
        for change, chance in zip(CHANGES, CHANCES[min(at, 2)], strict=True)
    ]
    return pd.DataFrame(rows, columns=["comparison", "change", "chance", "worthwhile"])


def drawn(brief, **more):
    return promise.curves(table_of(brief, **more), brief, response=brief.responses[0].name, plan=PLAN)


@pytest.mark.parametrize("names", [example.SHORT, example.LONG], ids=["short", "long"])
@pytest.mark.parametrize("count", [2, 7])
def test_no_text_lies_on_another_or_is_cut(names, count):
    assert boxes.faults(drawn(example.brief(names, count))) == []


def test_alike_comparisons_share_a_line_with_the_worthwhile_change_marked():
    ax = drawn(example.brief(count=3))
    curves = [line for line in ax.lines if len(line.get_xdata()) == len(CHANGES)]
    assert [list(line.get_ydata()) for line in curves] == [
        pytest.approx([5, 30, 72, 97, 100]), pytest.approx([100 * chance * 0.99 for chance in CHANCES[2]])
    ]  # fmt: skip
    assert [list(line.get_xdata()) for line in curves] == [list(CHANGES)] * 2
    marks = [(line.get_xdata()[0], line.get_ydata()[0]) for line in ax.lines if len(line.get_xdata()) == 1]
    assert marks == [pytest.approx((20.0, 72.0)), pytest.approx((20.0, 30.69))]
    said = [text.get_text() for text in ax.texts]
    assert said == ["worthwhile: −20 %", "coating and new oil", "both", "asked: 80 %"]
    assert boxes.title_of(ax) == (
        f"{PLAN}: chance at −20 %: 72 % for coating and new oil; 31 % for both"
    )
    assert ax.get_xlabel() == "true change of elongation (% less); at 0 every difference shown is a false alarm"


def test_a_linear_response_is_told_in_its_unit_and_without_a_worthwhile_change_none_is_marked():
    brief = example.brief(count=2, scale="linear", better="larger", name="torque_Nm")
    ax = drawn(brief, edge=None)
    assert ax.get_xlabel().startswith("true change of torque (N·m more); ")
    assert boxes.title_of(ax) == f"What {PLAN} can show"
    assert [text.get_text() for text in ax.texts] == ["coating and new oil", "asked: 80 %"]


def test_many_names_are_counted_in_the_title():
    assert boxes.title_of(drawn(example.brief(example.LONG, 7))) == (
        f"{PLAN}: chance at −20 %: 29 % to 72 % by comparison"
    )


def test_the_text_alternative_holds_the_numbers():
    brief = example.brief(count=3)
    assert promise.alt_curves(table_of(brief), brief, response=RESPONSE, plan=PLAN) == (
        f"Chance that a difference of elongation is shown, by its true size, with {PLAN}. coating and new oil: 5 % at "
        "0 %, 100 % at −60 %. both: 5 % at 0 %, 94 % at −60 %. Asked: 80 %."
    )
