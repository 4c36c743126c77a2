"""Picking the best level: what is asked, and prices for changes of a level, as written and with every fault told."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.unit import briefs
from toolkit.brief import checks, model, reading
from toolkit.brief.model import BestOf, Cost, CostItem, Response
from toolkit.campaign import sealed_brief


def told(brief):
    return [str(fault) for fault in checks.check(brief)]


def test_a_choice_is_read_with_its_gap():
    brief = briefs.randomised(best_of=(BestOf("finish", gap_pct=25.0),))
    assert told(brief) == []
    assert reading.canonical(brief)["best_of"] == [{"factor": "finish", "gap_pct": 25.0, "gap": None}]
    assert model.lead(brief.best_of[0], brief.responses[0]) == pytest.approx(-math.log(0.75))
    assert model.lead(BestOf("finish"), brief.responses[0]) == pytest.approx(-math.log(0.80))
    linear = Response("wear_um", scale="linear", worthwhile_change=3.0)
    assert (model.lead(BestOf("finish", gap=2.0), linear), model.lead(BestOf("finish"), linear)) == (2.0, 3.0)


def test_every_fault_of_a_choice_is_told():
    brief = briefs.randomised(best_of=(BestOf("finsh", gap_pct=120.0), BestOf("finish", gap=2.0), BestOf("finish")))
    assert told(brief) == [
        "best_of 3, factor: best_of 'finish' stands twice; expected each best_of once. Rename or delete one of them.",
        "best_of 1, factor: 'finsh' is no factor; expected 'finish'. Did you mean 'finish'?",
        "best_of 1, gap_pct: 120; expected more than 0 and less than 100.",
        "best_of 2, gap: no response is on the linear scale; expected gap_pct.",
    ]


def test_a_change_that_is_paid_names_its_factor():
    items = (
        CostItem("change", "flush", amount=1.0),
        CostItem("change", "flush", amount=1.0, of="fin"),
        CostItem("change", "flush", amount=1.0, of="finish", where={"finish": "honed"}),
        CostItem("run", "cell", amount=1.0, of="finish"),
        CostItem("change", "flush", amount=1.0, of="finish"),
    )
    assert told(briefs.randomised(cost=Cost(items=items))) == [
        "[cost] items no. 1, of: the factor is not named; expected 'finish'.",
        "[cost] items no. 2, of: 'fin'; expected 'finish'. Did you mean 'finish'?",
        "[cost] items no. 3, where: levels where changes are paid; expected the factor alone: of. Delete it.",
        "[cost] items no. 4, of: 'finish'; expected only with per = \"change\". Delete it.",
    ]


def test_seals_made_before_there_were_choices_stay_good():
    plain = briefs.randomised()
    assert "best_of" not in sealed_brief.covered(plain, "main")
    asked = replace(plain, best_of=(BestOf("finish"),))
    assert sealed_brief.covered(asked, "main")["best_of"] == [{"factor": "finish", "gap_pct": None, "gap": None}]
    assert "best_of" not in sealed_brief.covered(asked, "pilot")
