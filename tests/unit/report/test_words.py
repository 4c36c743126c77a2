"""Sentences of the report: answers, interactions, scope, model, errors, families, sizing."""

import dataclasses

import pytest

from tests.unit.plot import example as frames
from tests.unit.report import example
from toolkit.brief.model import Comparison, Factor, Family, Level, Stations
from toolkit.decide import change_words, stated
from toolkit.plot import answers
from toolkit.plot.effects import interaction_words
from toolkit.report import words

BRIEF = example.brief()
ANALYSIS = example.analysed(BRIEF)
WEAR = ANALYSIS.responses["wear_um"]
ROWS = answers.of(WEAR.comparisons, WEAR.verdicts, BRIEF)
SIZING = {
    "sentence": "whatever the sizing recommended",
    "option": {
        "name": "full factorial, 3 builds", "runs": 12, "hours": 1540.4, "cost": 187_560.0,
        "claims": [
            {"response": "wear_um", "comparison": "coating", "term": None, "assumed_change": 26.0,
             "assurance": 0.873, "detectable_ratio": 0.812, "detectable_change": None},
            {"response": "torque_Nm", "comparison": "coating", "term": None, "assumed_change": 0.5,
             "assurance": None, "detectable_ratio": None, "detectable_change": 0.612},
            {"response": "wear_um", "comparison": None, "term": "pin", "assumed_change": 26.0},
        ],
    },
    "scatter": [
        {"response": "wear_um", "source": "pilot", "stratum": "run", "sd": 0.08, "df": 2.0, "used": False},
        {"response": "wear_um", "source": "blended", "stratum": "run", "sd": 0.127, "df": 10.0, "used": True},
    ],
}  # fmt: skip


def test_an_answer_is_the_sentence_of_its_verdict():
    assert [words.answer(row) for row in ROWS] == list(WEAR.verdicts["sentence"])
    bare = answers.of(WEAR.comparisons, None, BRIEF)[0]
    assert words.answer(bare) == f"coating: {bare.change} (95 % interval {bare.interval})."


def test_a_long_reason_why_nothing_can_be_estimated_is_told_by_the_first_that_has_it():
    reason = "not estimable: no run of " + ", ".join(f"name_of_20_letters_{at} as-today" for at in range(7)) + "."
    none = [dataclasses.replace(row, estimate=None, sentence=f"{row.name}: {reason}") for row in ROWS[:3]]
    short = dataclasses.replace(ROWS[3], estimate=None, sentence=f"{ROWS[3].name}: not estimable.")
    assert words.said_once([*none, short, ROWS[3]]) == [
        f"{ROWS[0].name}: {reason}",
        f"{ROWS[1].name}: not estimable, for the same reason as 'coating'.",
        f"{ROWS[2].name}: not estimable, for the same reason as 'coating'.",
        f"{ROWS[3].name}: not estimable.",
        ROWS[3].sentence,
    ]


@pytest.mark.parametrize(("chance", "told"), [(0.9999, "over 99 %"), (0.001, "under 1 %"), (0.873, "87 %")])
def test_a_promise_is_never_rounded_onto_certainty(chance, told):
    claims = [{**SIZING["option"]["claims"][0], "assurance": chance}]
    sizing = {**SIZING, "option": {**SIZING["option"], "claims": claims}}
    assert words.promised(sizing, ROWS, BRIEF.responses[0])[0][2] == told


@pytest.mark.parametrize(
    ("low", "high", "verdict", "said"),
    [
        (0.7, 1.4, "not known yet", "it is not shown that what pin does depends on oil, nor that it does not"),
        (0.5, 0.9, "gain, size not settled", "what pin does depends on oil"),
        (0.9, 1.1, "smaller than worthwhile", "what pin does depends on oil, if at all, by less than would matter"),
        (0.85, 0.95, "smaller than worthwhile", "what pin does depends on oil, but by less than would matter"),
    ],
)
def test_an_interaction_is_told_as_people_ask_for_it(low, high, verdict, said):
    row = dataclasses.replace(ROWS[-1], low=low, high=high, verdict=verdict)
    assert words.interaction(row, BRIEF) == f"coating needs the new oil, in words: {said}."


def test_an_interaction_that_is_equivalent_and_open_is_told_with_both():
    row = dataclasses.replace(ROWS[-1], low=0.78, high=1.2, verdict="not known yet")
    row = dataclasses.replace(row, sentence=f"a; the narrower 90 % interval, {change_words.EQUIVALENCE}: b.")
    assert words.interaction(row, BRIEF) == (
        "coating needs the new oil, in words: it is not shown that what pin does depends on oil; by equivalence alone "
        "it does so less than matters."
    )


def test_an_interaction_that_cannot_be_estimated_says_so():
    row = dataclasses.replace(
        ROWS[-1], estimate=None, low=None, high=None, note="not estimable: no run of pin P1, oil O1."
    )
    assert words.interaction(row, BRIEF) == "coating needs the new oil: not estimable: no run of pin P1, oil O1."


def test_the_scope_says_what_was_one_and_the_same():
    assert words.scope(BRIEF, WEAR.fit.strata) == (
        "These answers come from one engine or rig and one test procedure; 3 builds of it; new measured parts and oil "
        "fill in every run, as far as recorded of one batch each; sump temp 100 °C and run time 100 h held constant. "
        "They hold for the levels that were run (pin P0 (ground steel) and P1 (nitride-coated); oil O0 (current) and "
        "O1 (new additive system, same grade)). Nothing here speaks of other engines, other batches of parts, coating "
        "or oil, other conditions or other levels."
    )


def test_the_scope_of_a_bare_brief_claims_no_more():
    bare = dataclasses.replace(BRIEF, new_each_run=(), held=(), protocol=type(BRIEF.protocol)())
    told = words.scope(bare, None)
    assert told.startswith("These answers come from one engine or rig and one test procedure. They hold for")
    assert "held constant" not in told and "builds" not in told


def test_the_model_is_an_equation_with_its_strata():
    assert stated.equation(WEAR.fit) == "ln(wear) = mean + build + pin + oil + pin × oil + error (run)"
    assert stated.equation(ANALYSIS.responses["torque_Nm"].fit) == (
        "torque = mean + build + pin + oil + pin × oil + error (run)"
    )


def test_whole_plots_have_two_errors_in_the_equation_and_in_the_method():
    pin = dataclasses.replace(BRIEF.factors[0], undo="build")
    plan = dataclasses.replace(BRIEF.plan, builds=6)
    brief = dataclasses.replace(BRIEF, factors=(pin, BRIEF.factors[1]), block_by=None, plan=plan)
    fit = example.analysed(brief, void="none").responses["wear_um"].fit
    assert stated.equation(fit) == "ln(wear) = mean + pin + error (build) + oil + pin × oil + error (run)"
    told = words.method(fit, brief)
    assert "whole plots" in told[1]
    assert [line.split(", SD")[0] for line in told[2:4]] == [
        "Error between builds: 4 df", "Error between runs within builds: 4 df"
    ]  # fmt: skip


def test_the_method_names_errors_with_their_df():
    told = words.method(WEAR.fit, BRIEF)
    square, df = WEAR.fit.mean_squares["run"]
    assert df == 5
    sd = 100 * square**0.5
    assert told[2] == (
        f"Error between runs within builds: 5 df, SD of a run value {sd:.3g} %, of ln (about the coefficient of "
        f"variation)."
    )
    assert told[3].startswith("Intervals at 95 % and two-sided tests by t on the df of the error of each comparison.")


def test_run_values_say_how_stations_made_them():
    response = frames.brief().responses[0]
    assert words.run_value(response) == (
        "The run value of elongation is the arithmetic mean of the 10 segments, after less before, 2 readings each. "
        "Segments and readings are sub-samples of a run, never replicates."
    )
    largest = dataclasses.replace(response, per_run="max", stations=Stations("lobe", 8))
    assert words.run_value(largest) == (
        "The run value of elongation is the largest of the 8 lobes. Lobes and readings are sub-samples of a run, never "
        "replicates."
    )
    assert words.run_value(BRIEF.responses[0]) == "The run value of wear is the value entered for the run."


OWN = "each judged by its own 95 % interval, not adjusted for their number."
JOINT = (
    "95 % intervals that hold for all of them together (multivariate t); "
    "all of them were asked for, and the sizing told the chance of each by itself."
)
HOLM = (
    "p values adjusted by Holm's steps, intervals at 95 % for all together (Bonferroni); "
    "at least one of them was asked for, and the sizing told the chance of each by itself."
)


@pytest.mark.parametrize(
    ("promise", "adjust", "said"),
    [("each", "none", OWN), ("all", "multivariate_t", JOINT), ("any", "holm", HOLM)],
)
def test_families_say_how_they_are_judged(promise, adjust, said):
    brief = dataclasses.replace(BRIEF, families=(Family("may we switch", promise, adjust),))
    assert words.families(brief) == (
        f"Family 'may we switch' (coating, new oil and both together): {said} Judged alone, each by its own 95 % "
        f"interval: coating needs the new oil."
    )


def test_the_sealed_plan_and_its_promise_are_told():
    brief = dataclasses.replace(BRIEF, cost=dataclasses.replace(BRIEF.cost, currency="EUR"))
    assert words.sizing(SIZING, brief) == (
        "Sealed plan: full factorial, 3 builds, 12 runs, 1,540 h, 187,560 EUR with the expected repeats. Chances told "
        "before the runs are averages over the doubt in the scatter known then; asked were 80 %."
    )
    nothing = "No sizing was sealed with the plan, so nothing tells what these runs were expected to show."
    assert words.sizing(None, brief) == words.sizing({"option": None}, brief) == nothing
    coating = ROWS[0]
    assert words.promised(SIZING, ROWS, BRIEF.responses[0]) == [
        ("coating", "−26 %", "87 %", "−19 %", f"{coating.change} ({coating.interval})")
    ]
    torque = ANALYSIS.responses["torque_Nm"]
    rows = answers.of(torque.comparisons, torque.verdicts, BRIEF)
    assert words.promised(SIZING, rows, BRIEF.responses[1])[0][:4] == ("coating", "−0.5 N·m", "–", "−0.612 N·m")


def test_planned_and_found_scatter_stand_side_by_side():
    found = 100 * WEAR.fit.mean_squares["run"][0] ** 0.5
    assert words.scatter(SIZING, WEAR.fit) == (
        f"Run-to-run SD: planned with 12.7 % (blended, 10 df), found {found:.3g} % (5 df)."
    )
    bound = {"scatter": [{**line, "bound": True} for line in SIZING["scatter"]]}
    assert words.scatter(bound, WEAR.fit).startswith("Run-to-run SD: planned with at most 12.7 % (blended, 10 df), ")
    assert words.scatter(None, WEAR.fit) == ""


def test_with_and_without_says_whether_anything_moves():
    assert words.with_and_without(WEAR.sensitivity, BRIEF) == (
        "The verdict on every comparison is the same without flagged and with void runs that have a value."
    )
    moved = WEAR.sensitivity.copy()
    at = moved.index[(moved["runs"] == "without flagged") & (moved["comparison"] == "coating")]
    moved.loc[at, ["conf_low", "conf_high"]] = [0.5, 1.2]
    assert words.with_and_without(moved, BRIEF) == (
        "The verdict changes for coating (without flagged): look at those runs before deciding."
    )
    assert words.with_and_without(moved, BRIEF, interim="7 of 12 runs") == (
        "Interim, 7 of 12 runs: the estimates without flagged and with void runs that have a value stand below; "
        "nothing is claimed from them yet."
    )
    alone = WEAR.sensitivity[WEAR.sensitivity["runs"] == "as judged"]
    assert words.with_and_without(alone, BRIEF) == (
        "No run was flagged and no void run has a value, so there is only one analysis."
    )


def three_factors():
    """A brief with numeric factors and an interaction of three."""
    speed = Factor("speed_rpm", "setting", (Level("1500", value=1500.0), Level("3000", value=3000.0)))
    asked = (Comparison("all three", interaction=("speed_rpm", "oil", "pin")),)
    return dataclasses.replace(BRIEF, factors=(speed, *BRIEF.factors), comparisons=asked)


def test_an_interaction_of_three_factors_is_told_as_one_of_two_at_the_levels_of_the_third():
    # By the algebra of the contrast: (speed x oil at pin P1) less (speed x oil at pin P0).
    brief = three_factors()
    row = dataclasses.replace(ROWS[-1], name="all three", low=0.7, high=1.4, verdict="not known yet")
    assert words.interaction(row, brief) == (
        "all three, in words: it is not shown that how speed and oil act together depends on pin, nor that it does not."
    )
    told = interaction_words(row, brief.comparisons[0], brief)
    assert told.startswith("all three: the ratio of ratios for speed × oil at pin P1 is ")
    assert " times that at pin P0 (95 % interval 0.700 to 1.400) – not known yet" in told


def test_numbers_stand_with_their_unit_and_without_the_suffix_of_the_name():
    assert "speed 1500 r/min and 3000 r/min; pin P0 (ground steel)" in words.scope(three_factors(), None)
