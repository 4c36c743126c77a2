"""The page of a sealed plan with seven factors of long names: levels alone beside each other, their meaning below."""

from __future__ import annotations

import re
from dataclasses import replace

from tests.notebooks.test_awkward_templates import BRIEF
from toolkit import shipped
from toolkit.brief import by_position, reading
from toolkit.brief.model import Factor, Level
from toolkit.campaign import plan_page
from toolkit.design import chosen, factorial, orders

NAMED = Factor("soot", "fill", (Level("0.5 %", "0.5 %"), Level("2 %", "as worn in")))


def run_list(brief):
    """The run list of a brief as HTML."""
    order = orders.randomise(chosen.main(brief), seed=brief.seed)
    return str(plan_page._runs_table(order.table, by_position.columns(brief), order, {})), order


def test_seven_factors_of_long_names_stand_on_a_page_and_what_their_levels_mean_below():
    brief = reading.parse(BRIEF)
    page, order = run_list(brief)
    runs, levels = page.split("<caption>What the levels mean</caption>")
    assert '<table class="wide"><caption>Runs in the order they are made</caption>' in runs
    assert re.findall(r"<td>(.*?)</td>", runs)[:7] == [str(order.table[name].iloc[0]) for name in brief.factor_names]
    rows = re.findall(r"<tr><td>(.*?)</td><td>(.*?)</td><td>(.*?)</td></tr>", levels)
    assert rows[:2] == [
        ("name_of_20_letters_0", "wie-heute-0", "unverändert, wie seit Jahren üblich"),
        ("name_of_20_letters_0", "Äußerst-0", "geändert: Öl à 90 °C, ±0,5 %"),
    ]
    assert len(rows) == 14


def test_few_factors_have_the_meaning_beside_the_level():
    brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    order = orders.randomise(factorial.full(brief, builds=3), seed=brief.seed)
    page = str(plan_page._runs_table(order.table, by_position.columns(brief), order, {}))
    factor = brief.factors[0]
    assert f"<td>{factor.names[0]} ({factor.label_of(factor.names[0])})</td>" in page
    assert "What the levels mean" not in page and 'class="wide"' not in page
    assert plan_page._level(replace(brief, factors=(NAMED,)), "soot", "0.5 %") == "0.5 %"
    assert plan_page._level(replace(brief, factors=(NAMED,)), "soot", "2 %") == "2 % (as worn in)"
