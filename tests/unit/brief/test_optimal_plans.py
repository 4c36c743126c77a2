"""Optimal designs in the brief: what the search is asked for, and every fault in whole sentences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief import check_optimal, checks, optimal, reading
from toolkit.brief.model import Brief, Comparison, Limit, PlanChoice
from toolkit.errors import BriefError

PIN = briefs.factor("pin", "P0", "P1", "P2")
OIL = briefs.factor("oil", "O0", "O1", undo="fill")
LOAD = briefs.numeric("load_Nm", 80, 100, 120)
SPEED = briefs.numeric("speed_rpm", 1000, 2000, 4000)


def mixed(*, new: tuple[str, ...] = ("part", "fill"), block_by: str | None = None, **plan: object) -> Brief:
    """Two named factors and two of numbers, randomised."""
    return briefs.blocked(
        factors=(PIN, OIL, LOAD, SPEED),
        block_by=block_by,
        pilot=None,
        new_each_run=new,
        comparisons=(Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),),
        plan=PlanChoice(**{"design": "optimal", "runs": 24, "replicates": 1, **plan}),
    )


def told(brief: Brief) -> list[str]:
    """The faults as lines."""
    return [str(fault) for fault in checks.check(brief)]


def test_the_model_that_is_stated() -> None:
    """Main effects, interactions named, all of them less those taken as nil, squares of numbers of three levels."""
    brief = mixed()
    assert optimal.terms(brief) == (("pin",), ("oil",), ("load_Nm",), ("speed_rpm",))
    assert optimal.space(brief).parameters == 1 + 2 + 1 + 2 + 2
    assert optimal.terms(mixed(interactions=(("oil", "pin"),)))[4:] == (("pin", "oil"),)
    whole = mixed(model="quadratic", nil_interactions=(("load_Nm", "speed_rpm"),))
    assert optimal.terms(whole)[4:] == (
        ("pin", "oil"),
        ("pin", "load_Nm"),
        ("pin", "speed_rpm"),
        ("oil", "load_Nm"),
        ("oil", "speed_rpm"),
    )
    assert optimal.sloped(whole) == {"load_Nm", "speed_rpm"} and optimal.sloped(brief) == frozenset()
    # The mean, 3 of names, 2 slopes, 2 squares; products 2 + 2 + 2 + 1 + 1.
    assert optimal.space(whole).parameters == 1 + 3 + 4 + 8
    assert optimal.coded(SPEED) == pytest.approx((-8 / 9, -2 / 9, 10 / 9))
    assert check_optimal.fewest(mixed(repeat_points=3, split_over=2, block_by="build")) == 8 + 3 + 1


def test_what_may_not_be_run() -> None:
    """Levels together and sums of numbers, gone through combination by combination."""
    brief = mixed(
        forbidden=({"pin": "P2", "oil": "O1"},), limits=(Limit({"load_Nm": 1.0, "speed_rpm": 0.02}, 180.0, 110.0),)
    )
    every = np.array(list(np.ndindex(3, 2, 3, 3)))
    expected = [
        not (pin == 2 and oil == 1) and 110 <= (80, 100, 120)[load] + 0.02 * (1000, 2000, 4000)[speed] <= 180
        for pin, oil, load, speed in every
    ]
    assert optimal.allowed(brief)(every).tolist() == expected
    assert 0 < sum(expected) < 54
    assert told(brief) == []


def test_keys_as_they_are_written_in_the_file() -> None:
    """Numbers stand for level names in forbidden combinations; what is left out stays out."""
    text = """
[campaign]
id = "c"
question = "Which?"
seed = 3
new_each_run = ["part", "fill"]
[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "bare", P1 = "coated" }
[[factor]]
name = "load_Nm"
undo = "setting"
levels = [80, 100, 120]
[[response]]
name = "wear_um"
role = "primary"
worthwhile_change_pct = 20
[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }
[plan]
design = "optimal"
runs = 8
replicates = 1
model = "main effects"
criterion = "A"
interactions = [["pin", "load_Nm"]]
forbidden = [ { pin = "P1", load_Nm = 120 } ]
limits = [ { sum = { load_Nm = 2 }, at_most = 240 } ]
"""
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    assert str(caught.value) == (
        "campaign.toml is not in order (1 fault):\n"
        "  campaign.toml line 31: [plan] limits: the 5 combinations that may be run cannot tell pin × load_Nm; "
        "expected "
        "every term of the model told. Take the term out of the model (leave it out of [plan] interactions), or allow "
        "more."
    )
    read = reading.parse(text.replace('interactions = [["pin", "load_Nm"]]\n', ""))
    assert read.plan.forbidden == ({"pin": "P1", "load_Nm": "120"},)
    assert read.plan.limits == (Limit({"load_Nm": 2.0}, at_most=240.0),)
    assert (read.plan.criterion, read.plan.variance_ratio, read.plan.plots) == ("A", 1.0, {})


def test_every_fault_of_the_keys_at_once() -> None:
    """Words, names, levels, sums, numbers."""
    assert told(
        mixed(
            criterion="G",
            model="linear",
            interactions=(("pin", "pin"), ("pin", "cork")),
            forbidden=({"pin": "P9", "oyl": "O1"}, {}, {"oil": "O1"}),
            limits=(Limit({"pin": 1.0}, at_most=3.0), Limit({"load_Nm": 1.0}), Limit({"load_Nm": 1.0}, 90.0, 100.0)),
            repeat_points=-1,
            variance_ratio=-2.0,
            interactions_up_to=2,
        )
    ) == [
        "[plan] criterion: 'G'; expected 'D', 'A' or 'I'.",
        "[plan] model: 'linear'; expected 'main effects', 'two-factor interactions' or 'quadratic'.",
        "[plan] interactions_up_to: 2 though an optimal design states its model; expected left out. Say it by [plan] "
        "model.",
        "[plan] interactions no. 1: 2 names: pin × pin; expected two different factors.",
        "[plan] interactions no. 2: there is no factor 'cork'; expected 'pin', 'oil', 'load_Nm' or 'speed_rpm'.",
        "[plan] forbidden no. 1, pin: factor 'pin' has no level 'P9'; expected 'P0', 'P1' or 'P2'.",
        "[plan] forbidden no. 1, oyl: there is no factor 'oyl'; expected 'pin', 'oil', 'load_Nm' or 'speed_rpm'. Did "
        "you "
        "mean 'oil'?",
        '[plan] forbidden no. 2: an empty table; expected levels by factor: { pin = "P1", oil = "O0" }. Delete it.',
        "[plan] forbidden no. 3: oil O1 with nothing beside, so that the level is never run; expected levels of two "
        "factors or more. Take the level out of the factor instead.",
        "[plan] limits no. 1, sum.pin: factor 'pin' has no numbers; expected a numeric factor.",
        "[plan] limits no. 2: neither at_most nor at_least; expected one of them. Add at_most = the largest sum.",
        "[plan] limits no. 3: at least 100 and at most 90; expected at_least below at_most. Exchange them.",
        "[plan] repeat_points: -1; expected a whole number from 0 up.",
        "[plan] variance_ratio: -2; expected a number, 0 or more.",
    ]


def test_what_cannot_be_says_why_and_what_can() -> None:
    """No candidate left, terms that cannot be told, more terms than runs, interactions that are not in the model."""
    nothing = mixed(limits=(Limit({"load_Nm": 1.0}, at_most=200.0), Limit({"load_Nm": 1.0}, at_most=10.0)))
    assert told(nothing) == [
        "[plan] limits: not one combination is left that may be run; expected one at least. Without limits no. 2 there "
        "are 54 of 54 left."
    ]
    assert told(mixed(model="two-factor interactions", runs=40, forbidden=({"pin": "P1", "oil": "O1"},))) == [
        "[plan] forbidden: the 45 combinations that may be run cannot tell pin × oil; expected every term of the model "
        "told. Take the term out of the model (name it in [plan] nil_interactions), or allow more."
    ]
    assert told(mixed(model="quadratic", runs=12)) == [
        "[plan] runs: 12 for 17 parameters (the mean, 7 of main effects, 9 of interactions); expected 17 at least. "
        "Main "
        "effects alone are 8 parameters, which 12 runs tell."
    ]
    assert told(mixed(runs=9, repeat_points=2)) == [
        "[plan] runs: 9 for 8 parameters (the mean, 7 of main effects) and 2 runs that repeat others; expected 10 at "
        "least. Take more runs, or fewer factors or levels."
    ]
    assert told(mixed(runs=0)) == [
        "[plan] runs: 0, so the number of runs is not chosen; expected 8 at least. 12 leave some degrees of freedom "
        "for "
        "the error."
    ]
    asked = replace(mixed(), comparisons=(Comparison("both", interaction=("oil", "pin")),))
    assert told(asked)[-1] == (
        "comparison 'both', interaction: oil × pin, which is not in the model of the optimal design; expected an "
        'interaction of the model. Add ["oil", "pin"] to [plan] interactions.'
    )
    assert told(mixed(interactions=(("pin", "oil"),), model="quadratic", runs=30)) == [
        "[plan] interactions: set though model = 'quadratic' holds every interaction of two; expected left out. Delete "
        "it, or write model = 'main effects'."
    ]
    assert told(mixed(runs=11, split_over=2, block_by="build", builds=2, replicates=0)) == [
        "[plan] split_over: 11 runs cannot be spread evenly over 2 builds of two runs or more; expected a number that "
        "divides 11. Take 1, or runs = 12."
    ]
    assert told(mixed(repeat_points=13)) == [
        "[plan] repeat_points: 13 of 24 runs; expected 12 at most. Take more sets (builds or replicates) where "
        "everything "
        "is to be repeated."
    ]


def test_whole_plots_that_do_not_divide_or_leave_nothing() -> None:
    """Left out, not dividing, too few for what is told between them, of no factor."""
    kept = ("fill",)
    assert told(mixed(new=kept)) == [
        "[plan] plots: left out, though factor 'pin' is kept over several runs with the part; expected how many sets "
        "of "
        "parts one set has. Write plots = { part = 8 }, for example; or put 'part' into new_each_run."
    ]
    assert told(mixed(new=kept, plots={"part": 7})) == [
        "[plan] plots.part: 24 runs cannot be spread evenly over 7 sets of parts; expected a number that divides 24. "
        "Take "
        "runs = 21 or 28, or 6 sets of parts."
    ]
    assert told(mixed(new=kept, plots={"part": 3})) == [
        "[plan] plots.part: 3 sets of parts for 3 parameters that are told between them, which leaves nothing to judge "
        "these by; expected 4 at least."
    ]
    assert told(mixed(new=kept, plots={"part": 6, "fill": 12})) == [
        "[plan] plots.fill: 'fill' though no factor is kept with the fill; expected units of factors that are kept "
        "over "
        "several runs."
    ]
    assert told(mixed(new=(), plots={"part": 4, "fill": 6})) == [
        "[plan] plots.fill: 6 fills cannot be spread evenly over 4 sets of parts; expected a multiple of 4. Take 4 or "
        "8."
    ]
    assert told(mixed(new=kept, plots={"part": 8}, repeat_points=8)) == []
    assert told(mixed(new=kept, plots={"part": 8}, repeat_points=9)) == [
        "[plan] repeat_points: 9, though a run and its repeat lie in one set of parts, of 3 runs each; expected 8 at "
        "most. Take fewer sets of parts, or more sets (builds or replicates), which repeat everything."
    ]
    assert told(mixed(new=(), plots={"part": 4, "fill": 8})) == []
