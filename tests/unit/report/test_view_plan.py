"""What the notebook and the report show of a plan before it is run."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import planning
from toolkit.campaign.looking import sentence, width
from toolkit.report import view_plan


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """A look at a plan of three builds."""
    return planning.look_at(shop.planned(tmp_path_factory.mktemp("c") / "c"), "main")


def test_every_table_is_there_with_its_figures(seen):
    tables = {table.caption: table for table in view_plan.tables_of(seen)}
    assert list(tables) == [
        "How wide each interval will be",
        "Efficiencies of the design",
        "Variance inflation (1: stands apart from all others)",
        "Correlations of the terms",
        "The runs in natural and coded units",
    ]
    widths = tables["How wide each interval will be"]
    row = seen.widths.iloc[0]
    assert widths.rows[0][4:9] == (
        f"×/÷ {row['every_run']:.2f}",
        f"×/÷ {row['one_lost']:.2f}",
        f"×/÷ {row['two_lost']:.2f}",
        "none: all alike",
        f"×/÷ {row['dearest_lost']:.2f}",
    )
    assert tables["Efficiencies of the design"].rows[0] == ("D", "100.0 %")
    triangle = tables["Correlations of the terms"]
    assert triangle.head == ("term", "builds", "pin", "oil")
    assert triangle.rows == (("pin", "0", "", ""), ("oil", "0", "0", ""), ("pin × oil", "0", "0", "0"))
    assert triangle.notes == ("Every main effect and interaction of two stands apart from every other.",)
    runs = tables["The runs in natural and coded units"]
    assert len(runs.rows) == 12 and set(runs.rows[0][-3:-1]) <= {"−1", "+1"} and runs.rows[0][-1] == "0.50"
    assert view_plan.pictures(seen) == []


def test_a_half_width_is_a_sentence(seen):
    row = seen.widths.iloc[0].to_dict()
    assert sentence(row) == (
        f"half-width of coating (wear_mg): ×/÷ {row['every_run']:.2f}, ×/÷ {row['one_lost']:.2f} with one run lost, "
        f"×/÷ {row['two_lost']:.2f} with two; every run costs the same to lose"
    )
    none = {**row, "every_run": None, "note": "no degrees of freedom are left to judge it by"}
    assert sentence(none) == "half-width of coating (wear_mg): not told: no degrees of freedom are left to judge it by"
    assert (width(1.234, "um"), width(None, "um")) == ("± 1.23 um", "none")


def test_without_a_picture_it_is_not_said_that_aliases_stand_apart(seen):
    found = seen.properties
    assert view_plan._no_picture(seen) == (
        "No picture: every prediction is equally sure, and every term stands apart from every other."
    )
    aliased = replace(found, correlations=found.correlations.assign(correlation=-1.0))
    told = view_plan._no_picture(replace(seen, properties=aliased))
    assert told == "No picture: the tables above say all there is."


def test_text_of_the_notebook_says_what_the_plan_is_like(seen):
    text = repr(view_plan.shown(seen))
    assert "How wide each interval will be" in text and "R01 | B1 | " in text
