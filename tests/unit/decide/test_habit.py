"""Old runs, one each or one factor at a time, against textbook variances and numpy alone; INVENTED figures."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from tests.unit.briefs import factor
from toolkit.brief.model import Brief, Comparison, KnownScatter, OldData, PlanChoice, Response
from toolkit.decide import habit_runs
from toolkit.decide.habit import habit
from toolkit.errors import ModelError
from toolkit.model import fit as model_fit
from toolkit.size import scatter as size_scatter

SUM = {3: [(1.0, 0.0), (0.0, 1.0), (-1.0, -1.0)], 2: [(1.0,), (-1.0,)]}


def legacy(**changes):
    """Pin (2) by oil (3 earlier oils), as they were once run: five single runs, no plan."""
    brief = Brief(
        id="legacy",
        question="Which of the old changes is worth a campaign?",
        seed=1,
        factors=(factor("pin", "P0", "P1"), factor("oil", "X0", "X1", "X2", undo="fill")),
        responses=(Response("elongation_pct", worthwhile_change_pct=20.0),),
        comparisons=(
            Comparison("coated pin", of={"pin": "P1"}, against={"pin": "P0"}),
            Comparison("oil X1", of={"oil": "X1"}, against={"oil": "X0"}),
            Comparison("oil X2", of={"oil": "X2"}, against={"oil": "X0"}),
        ),
        new_each_run=("part", "fill"),
        old_data=OldData("as listed", "none"),
    )
    return replace(brief, **changes)


def runs_of(cells, values, names=("pin", "oil"), response="elongation_pct"):
    """Valid runs of the main phase in this order."""
    table = pd.DataFrame([dict(zip(names, cell, strict=True)) for cell in cells])
    count = len(table)
    return table.assign(
        run_id=[f"L{at + 1}" for at in range(count)],
        phase="main",
        build_id="old",
        planned_order=np.nan,
        actual_order=np.arange(1.0, count + 1),
        verdict="valid",
        **{response: values},
    )


FIVE = (("P0", "X0"), ("P1", "X0"), ("P1", "X1"), ("P0", "X1"), ("P0", "X2"))
VALUES = (0.120, 0.093, 0.086, 0.104, 0.113)
RUNS = runs_of(FIVE, VALUES)


def row(pin, oil, whole):
    """The model's row coded by hand: mean, pin, oil, and their products in the whole model."""
    mains = [*SUM[2][pin], *SUM[3][oil]]
    return np.array([1.0, *mains, *([mains[0] * mains[1], mains[0] * mains[2]] if whole else [])])


def contrasts(whole):
    """Coated pin, oil X1, oil X2 on the hand-coded columns."""
    pin = np.mean([row(1, at, whole) - row(0, at, whole) for at in range(3)], axis=0)
    oil = [np.mean([row(at, level, whole) - row(at, 0, whole) for at in (0, 1)], axis=0) for level in (1, 2)]
    return [pin, *oil]


def by_numpy(cells, whole):
    """Variance of each comparison in variances of a run (inf: not estimable) and the error df, by numpy alone."""
    matrix = np.array([row(int(pin[1]), int(oil[1]), whole) for pin, oil in cells])
    rank = np.linalg.matrix_rank(matrix)
    inverse = np.linalg.pinv(matrix.T @ matrix)
    variances = [
        one @ inverse @ one if np.linalg.matrix_rank(np.vstack([matrix, one])) == rank else math.inf
        for one in contrasts(whole)
    ]
    return variances, len(cells) - rank


def test_what_is_estimable_its_error_df_and_its_standard_error_are_those_of_numpy():
    found = habit(legacy(), RUNS, "elongation_pct").comparisons
    for whole, assuming in ((True, "nothing"), (False, "no interactions")):
        variances, df = by_numpy(FIVE, whole)
        lines = found[found["assuming"] == assuming].set_index("comparison")
        for name, variance in zip(["coated pin", "oil X1", "oil X2"], variances, strict=True):
            line = lines.loc[name]
            assert line["estimable"] == math.isfinite(variance)
            if line["estimable"]:
                assert line["std_error_factor"] == pytest.approx(math.sqrt(variance), rel=1e-12)
                assert line["error_df"] == df
            else:
                assert (line["std_error_factor"], line["error_df"], line["estimate"]) == (None, None, None)
    assert by_numpy(FIVE, True)[1] == 0 and by_numpy(FIVE, False)[1] == 1


def test_estimates_under_no_interactions_are_least_squares():
    found = habit(legacy(), RUNS, "elongation_pct").comparisons
    matrix = np.array([row(int(pin[1]), int(oil[1]), False) for pin, oil in FIVE])
    beta = np.linalg.lstsq(matrix, np.log(VALUES), rcond=None)[0]
    lines = found[found["assuming"] == "no interactions"]
    np.testing.assert_allclose(
        lines["estimate"].astype(float), [math.exp(one @ beta) for one in contrasts(False)], rtol=1e-12
    )


@pytest.mark.parametrize("count", [2, 3, 5])
def test_one_factor_at_a_time_has_variance_two_and_the_factorial_four_over_n(count):
    """Textbook comparison of the two: 2 sigma^2 for each change, 4 sigma^2 / N over all combinations."""
    names = [f"f{at}" for at in range(count)]
    brief = legacy(
        factors=tuple(factor(name, "low", "high") for name in names),
        comparisons=tuple(Comparison(name, of={name: "high"}, against={name: "low"}) for name in names),
    )
    star = [tuple("high" if at == up else "low" for at in range(count)) for up in range(-1, count)]
    draw = np.random.default_rng(5)
    found = habit(brief, runs_of(star, draw.uniform(0.1, 0.2, len(star)), names), "elongation_pct")
    nil = found.comparisons[found.comparisons["assuming"] == "no interactions"]
    assert found.pattern == "one factor at a time, one run each"
    np.testing.assert_allclose(nil["std_error_factor"].astype(float) ** 2, 2.0)
    np.testing.assert_allclose(nil["if_even"].astype(float) ** 2, 4.0 / len(star))
    assert list(nil["error_df"]) == [0] * count
    assert list(nil["rests_on"]) == [f"L{at + 2} less L1" for at in range(count)]
    whole = found.comparisons[found.comparisons["assuming"] == "nothing"]
    assert list(whole["estimable"]) == [False] * count
    full = list(product(("low", "high"), repeat=count))
    found = habit(brief, runs_of(full, draw.uniform(0.1, 0.2, len(full)), names), "elongation_pct").comparisons
    np.testing.assert_allclose(found["std_error_factor"].astype(float) ** 2, 4.0 / len(full))
    np.testing.assert_allclose(found["if_even"].astype(float) ** 2, 4.0 / len(full))


def test_an_estimate_under_no_interactions_says_what_of_them_it_carries():
    brief = legacy(
        factors=(factor("pin", "P0", "P1"), factor("oil", "X0", "X1")),
        comparisons=(Comparison("coated pin", of={"pin": "P1"}, against={"pin": "P0"}),),
    )
    runs = runs_of((("P0", "X0"), ("P1", "X0"), ("P0", "X1")), (0.12, 0.09, 0.10))
    found = habit(brief, runs, "elongation_pct").comparisons.set_index("assuming")
    # P1 against P0 at X0 is the mean over both oils less half of the interaction's difference of differences.
    assert found.loc["no interactions", "carries"] == {"pin × oil": pytest.approx(-0.5)}
    assert found.loc["nothing", "carries"] == {}


def test_single_differences_are_pairs_that_differ_in_one_factor():
    found = habit(legacy(), RUNS, "elongation_pct").differences
    value = dict(zip(FIVE, VALUES, strict=True))
    expected = [
        (f"pin P1 against P0, at oil {oil} ({rests})", value["P1", oil] / value["P0", oil])
        for oil, rests in (("X0", "L2 less L1"), ("X1", "L3 less L4"))
    ] + [
        ("oil X1 against X0, at pin P0 (L4 less L1)", value["P0", "X1"] / value["P0", "X0"]),
        ("oil X2 against X0, at pin P0 (L5 less L1)", value["P0", "X2"] / value["P0", "X0"]),
        ("oil X1 against X0, at pin P1 (L3 less L2)", value["P1", "X1"] / value["P1", "X0"]),
        ("oil X2 against X1, at pin P0 (L5 less L4)", value["P0", "X2"] / value["P0", "X1"]),
    ]
    assert list(found["what"]) == [what for what, _ in expected]
    np.testing.assert_allclose(found["estimate"].astype(float), [ratio for _, ratio in expected], rtol=1e-12)
    np.testing.assert_allclose(found["std_error_factor"].astype(float), math.sqrt(2.0))


def test_a_repeated_combination_counts_as_a_mean():
    found = habit(legacy(), runs_of((*FIVE, ("P0", "X0")), (*VALUES, 0.130)), "elongation_pct")
    line = found.differences.iloc[0]
    assert found.pattern == "some combinations repeated"
    assert line["rests_on"] == "L2 less the mean of L1 and L6"
    assert line["estimate"] == pytest.approx(0.093 / math.sqrt(0.120 * 0.130))
    assert line["std_error_factor"] == pytest.approx(math.sqrt(1.5))
    assert found.sentences[1] == "The runs leave 1 degree of freedom of error."


@pytest.mark.parametrize("missing", [(0,), (2,), (5,), (2, 5)])
@pytest.mark.parametrize("extra", [None, 1])
def test_the_run_that_helps_most_is_that_of_a_brute_force_by_numpy(missing, extra):
    every = list(product(("P0", "P1"), ("X0", "X1", "X2")))
    cells = [cell for at, cell in enumerate(every) if at not in missing]
    cells += [cells[extra]] if extra is not None else []
    draw = np.random.default_rng(missing)
    found = habit(legacy(), runs_of(cells, draw.uniform(0.08, 0.13, len(cells))), "elongation_pct").next_runs
    worth = {}
    for cell in every:
        whole, df = by_numpy([*cells, cell], True)
        less, df_nil = by_numpy([*cells, cell], False)
        known, known_nil = ([one for one in told if math.isfinite(one)] for told in (whole, less))
        mean, mean_nil = (round(float(np.mean(one)), 9) if one else math.inf for one in (known, known_nil))
        worth[cell] = (-len(known), df == 0, mean, -len(known_nil), df_nil == 0, mean_nil)
        line = found[(found["pin"] == cell[0]) & (found["oil"] == cell[1])].iloc[0]
        assert (line["estimable"], line["error_df"]) == (len(known), df)
        assert (line["estimable_nil"], line["error_df_nil"]) == (len(known_nil), df_nil)
        assert (line["mean_variance"] or math.inf) == pytest.approx(mean, rel=1e-8)
        assert line["mean_variance_nil"] == pytest.approx(mean_nil, rel=1e-8)
        assert line["runs_so_far"] == cells.count(cell)
    best = min(every, key=lambda cell: worth[cell])
    assert tuple(found.iloc[0][["pin", "oil"]]) == best
    # One cell of a level that was never run opens nothing: a repeat, which gives the first error df, comes before it.
    assert best == every[missing[0]] if len(missing) == 1 else best in cells
    ranked = [worth[tuple(line)] for line in found[["pin", "oil"]].itertuples(index=False)]
    assert ranked == sorted(ranked)


def test_in_blocks_the_run_goes_into_a_build_that_helps():
    brief = legacy(block_by="build", new_each_run=("part", "fill"))
    runs = RUNS.assign(build_id=["A", "A", "A", "B", "B"])
    found = habit(brief, runs, "elongation_pct")
    assert len(found.next_runs) == 12
    assert found.next_runs.iloc[0]["build_id"] in ("A", "B")
    assert list(found.differences["what"]) == [
        "pin P1 against P0, at oil X0, build A (L2 less L1)",
        "oil X1 against X0, at pin P1, build A (L3 less L2)",
        "oil X2 against X1, at pin P0, build B (L5 less L4)",
    ]
    assert found.sentences[-1].endswith("A build that was taken apart cannot take the run any more.")


def test_intervals_from_a_declared_guess_by_hand():
    brief = legacy(scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)))
    scatter = size_scatter.known(brief, "elongation_pct")
    found = habit(brief, RUNS, "elongation_pct", scatter=scatter).intervals
    line = found[(found["what"] == "pin P1 against P0, at oil X0 (L2 less L1)")].set_index("basis")
    assert list(line.index) == ["declared, lowest", "declared, highest"]
    for basis, cv in (("declared, lowest", 0.1), ("declared, highest", 0.2)):
        error = math.sqrt(2.0 * math.log(1.0 + cv**2))
        assert line.loc[basis, "conf_low"] == pytest.approx(0.775 * math.exp(-1.959963985 * error), rel=1e-9)
        assert line.loc[basis, "conf_high"] == pytest.approx(0.775 * math.exp(1.959963985 * error), rel=1e-9)
        assert line.loc[basis, "df"] is None


@pytest.mark.parametrize(("gain", "share"), [(10.0, 0.35), (20.0, 0.21), (30.0, 0.10)])
def test_the_chance_of_ranking_two_single_runs_wrongly(gain, share):
    """CV 20 %, one run each: 35, 21, 10 % for true gains of 10, 20, 30 % (normal theory on ln, worked apart)."""
    brief = legacy(
        responses=(Response("elongation_pct", worthwhile_change_pct=gain),),
        scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)),
    )
    found = habit(brief, RUNS, "elongation_pct", scatter=size_scatter.known(brief, "elongation_pct")).intervals
    chosen = found[(found["kind"] == "single difference") & (found["basis"] == "declared, highest")]
    assert set(chosen["wrong_way"].round(2)) == {share}


def test_the_chance_of_ranking_wrongly_is_that_of_a_simulation():
    brief = legacy(scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)))
    found = habit(brief, RUNS, "elongation_pct", scatter=size_scatter.known(brief, "elongation_pct")).intervals
    told = found[(found["kind"] == "single difference") & (found["basis"] == "declared, highest")].iloc[0]
    draw = np.random.default_rng(31)
    sd, count = math.sqrt(math.log(1.04)), 200_000
    better, worse = draw.normal(math.log(0.8), sd, count), draw.normal(0.0, sd, count)
    wrong = float(np.mean(better > worse))
    assert abs(wrong - told["wrong_way"]) < 3.24 * math.sqrt(wrong * (1 - wrong) / count)


def test_intervals_from_the_history_of_the_rig_have_its_df():
    history = pd.DataFrame(
        {
            "campaign_id": ["a", "b", "c", "d"],
            "response": "elongation_pct",
            "scale": "log",
            "per_run": "value",
            "stratum": "run",
            "sd": [0.11, 0.13, 0.12, 0.10],
            "df": [6.0, 4.0, 8.0, 6.0],
            "rig_state": "as now",
        }
    )
    scatter = size_scatter.known(legacy(), "elongation_pct", history=history)
    found = habit(legacy(), RUNS, "elongation_pct", scatter=scatter)
    line = found.intervals[found.intervals["what"] == "oil X1"].iloc[0]
    from scipy import stats

    half = stats.t.ppf(0.975, scatter.run.df) * scatter.sd * 1.0
    ratio = math.sqrt(0.086 * 0.104 / (0.120 * 0.093))
    assert (line["basis"], line["sd"]) == ("rig history", scatter.sd)
    assert line["df"] == pytest.approx(scatter.run.df)
    assert [line["conf_low"], line["conf_high"]] == pytest.approx([ratio * math.exp(-half), ratio * math.exp(half)])
    assert line["note"] == "scatter of earlier campaigns of the rig, not of these runs"
    assert found.sentences[4] == (
        "Intervals are given from the rig's history (run-to-run SD 12.6 % of ln, 4 df), not from these runs: they hold "
        "if these runs scattered like that."
    )


def test_without_any_scatter_there_is_no_interval_for_single_runs_and_it_is_said_why():
    found = habit(legacy(), RUNS.iloc[:3], "elongation_pct")
    assert list(found.intervals["basis"]) == []
    assert (
        "No scatter of elsewhere is known either, so no interval can be given: name a table of earlier campaigns as "
        "history, or a range as declared_cv_pct, in [scatter]."
    ) in found.sentences


def test_the_scatter_of_these_runs_on_one_df_says_how_little_it_is():
    found = habit(legacy(), RUNS, "elongation_pct").intervals
    assert set(found["basis"]) == {"these runs"} and set(found["assuming"]) == {"no interactions"}
    assert set(found["note"]) == {
        "what the interactions do is counted as scatter; on 1 df the true SD may be 0.45 to 32 times this one"
    }
    assert set(found["wrong_way"]) == {None}


def test_how_each_factor_followed_the_order():
    found = habit(legacy(), RUNS, "elongation_pct").orders.set_index("factor")
    order = np.arange(1.0, 6.0)
    pin = np.array([0.0, 1.0, 1.0, 0.0, 0.0])
    assert found.loc["pin", "correlation"] == pytest.approx(abs(np.corrcoef(order, pin)[0, 1]))
    marks = np.array([[1, 0, 0], [1, 0, 0], [0, 1, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    fitted = marks @ np.linalg.lstsq(marks, order, rcond=None)[0]
    assert found.loc["oil", "correlation"] == pytest.approx(np.corrcoef(order, fitted)[0, 1])
    assert list(found["changes"]) == [2, 2] and list(found["fewest"]) == [1, 2]
    assert found.loc["oil", "told"] == (
        "each level of oil was run in one stretch (changed between L2 and L3 and between L4 and L5): drift, and "
        "whatever else changed then, cannot be told apart from it"
    )
    assert found.loc["pin", "told"] == "pin changed 2 times in 5 runs"


def test_a_random_order_gives_the_correlation_that_is_told_as_by_chance():
    """Mean of the squared multiple correlation with a random order: (levels - 1) / (runs - 1), by simulation."""
    draw = np.random.default_rng(8)
    levels = ["X0", "X0", "X1", "X1", "X2"]
    marks = np.array([[float(level == name) for name in ("X0", "X1", "X2")] for level in levels])
    squares = []
    for _ in range(20_000):
        order = draw.permutation(5).astype(float)
        fitted = marks @ np.linalg.lstsq(marks, order, rcond=None)[0]
        squares.append(np.var(fitted) / np.var(order))
    found = habit(legacy(), RUNS, "elongation_pct").orders.set_index("factor")
    assert found.loc["oil", "by_chance"] ** 2 == pytest.approx(np.mean(squares), abs=0.01)


@pytest.mark.parametrize("changes", [{"old_data": OldData("unknown", "none")}, {}])
def test_an_unknown_order_is_told_and_nothing_is_told_of_it(changes):
    runs = RUNS if changes else RUNS.assign(actual_order=np.nan)
    found = habit(legacy(**changes), runs, "elongation_pct")
    assert len(found.orders) == 0
    assert set(found.comparisons["with_order"]) == {None}
    assert (
        "The order of these runs is not known: drift, wear of the rig and whatever else changed in the meantime cannot "
        "be told apart from any factor, nor can it be said that they were kept apart."
    ) in found.sentences


def test_the_sentences_of_the_five_runs_whole():
    brief = legacy(scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)))
    found = habit(brief, RUNS, "elongation_pct", scatter=size_scatter.known(brief, "elongation_pct"))
    assert found.missing == ({"pin": "P1", "oil": "X2"},)
    assert found.sentences == (
        "5 runs of 5 of the 6 combinations, one factor at a time, one run each; never run: pin P1, oil X2.",
        "Nothing in these runs tells their scatter (0 degrees of freedom of error): the difference of two single runs "
        "is a difference and nothing more. With every interaction assumed nil, 1 degree of freedom of error remains; "
        "what the interactions do counts as scatter then.",
        "Can be estimated without assuming anything: 'oil X1'.",
        "Can be estimated only with every interaction assumed nil, which nothing in these runs can show: 'coated pin' "
        "and 'oil X2'.",
        "Intervals are given from a declared guess (run-to-run CV 10 to 20 %), not from these runs: they hold if these "
        "runs scattered like that.",
        "coated pin: standard error 1.00 times the SD of a run (every interaction assumed nil); as many runs spread "
        "evenly over all combinations would have given 0.89.",
        "oil X2: standard error 1.32 times the SD of a run (every interaction assumed nil); as many runs spread evenly "
        "over all combinations would have given 1.10.",
        "Each level of oil was run in one stretch (changed between L2 and L3 and between L4 and L5): drift, and "
        "whatever else changed then, cannot be told apart from it.",
        "The one run that would help most: pin P1, oil X2; with it 'coated pin' and 'oil X2' can be estimated without "
        "assuming anything.",
        "Even then nothing tells the scatter: a repeat of any combination, with new parts and a new fill, gives the "
        "first degree of freedom of error.",
        "A run made now is compared with runs made then: repeat an old combination beside it, so that a change of the "
        "rig in between shows.",
    )


def test_where_all_was_run_once_a_repeat_helps_most():
    every = list(product(("P0", "P1"), ("X0", "X1", "X2")))
    found = habit(legacy(), runs_of(every, (0.12, 0.11, 0.115, 0.09, 0.08, 0.085)), "elongation_pct")
    assert found.pattern == "one run each" and found.missing == ()
    assert list(found.next_runs["error_df"]) == [1] * 6
    assert found.sentences[-2] == (
        "The one run that would help most: pin P0, oil X0; it gives the first degree of freedom of error (pin P1, oil "
        "X0 would do as well)."
    )


def test_what_is_said_where_runs_have_an_error_already():
    every = [*product(("P0", "P1"), ("X0", "X1", "X2"))] * 2
    values = np.random.default_rng(3).uniform(0.08, 0.12, 12)
    found = habit(legacy(), runs_of(every, values), "elongation_pct")
    assert found.sentences[1] == "The runs leave 6 degrees of freedom of error."
    assert "the mean variance of the comparisons falls from " in found.sentences[-2]
    assert set(found.intervals["basis"]) == {"these runs"}


def test_a_linear_response_has_differences_in_its_unit():
    brief = legacy(responses=(Response("loss_mg", scale="linear", worthwhile_change=2.0),))
    found = habit(brief, runs_of(FIVE, (12.0, 9.3, 8.6, 10.4, 11.3), response="loss_mg"), "loss_mg")
    line = found.differences.iloc[0]
    assert (line["estimate"], line["measured_in"]) == (pytest.approx(-2.7), "mg")
    assert found.comparisons.iloc[1]["measured_in"] == "mg"
    few = habit(brief, runs_of(FIVE[:3], (12.0, 9.3, 8.6), response="loss_mg"), "loss_mg")
    assert (
        "No scatter of elsewhere is known either, so no interval can be given: name a table of earlier campaigns as "
        "history in [scatter] (a declared CV serves the log scale only)."
    ) in few.sentences


def test_a_declared_nil_interaction_is_no_second_assumption():
    brief = legacy(plan=PlanChoice(nil_interactions=(("pin", "oil"),)))
    found = habit(brief, RUNS, "elongation_pct")
    assert list(found.comparisons["assuming"]) == ["nothing"] * 3
    assert list(found.next_runs["error_df_nil"]) == [None] * 6


def test_an_interaction_is_not_asked_where_it_is_assumed_nil():
    brief = legacy(
        factors=(factor("pin", "P0", "P1"), factor("oil", "X0", "X1", undo="fill")),
        comparisons=(Comparison("together", interaction=("pin", "oil")),),
    )
    every = list(product(("P0", "P1"), ("X0", "X1")))
    found = habit(brief, runs_of(every, (0.12, 0.11, 0.09, 0.08)), "elongation_pct").comparisons
    assert list(found["assuming"]) == ["nothing"]
    # A difference of differences of four single runs: variance 4; four runs spread evenly are those four.
    assert found.iloc[0]["std_error_factor"] == pytest.approx(2.0)
    assert found.iloc[0]["if_even"] == pytest.approx(2.0)


def test_void_runs_do_not_count_and_no_run_at_all_is_told():
    runs = RUNS.assign(verdict=["valid", "invalid", "valid", "valid", "valid"], reason="", role="")
    found = habit(legacy(), runs, "elongation_pct")
    assert found.missing == ({"pin": "P1", "oil": "X0"}, {"pin": "P1", "oil": "X2"})
    with pytest.raises(ModelError) as caught:
        habit(legacy(), runs.assign(verdict="pending"), "elongation_pct")
    assert str(caught.value) == (
        "elongation_pct: no valid run of the main phase has a value yet (5 recorded). Enter the measurements, or judge "
        "the runs that are pending."
    )


def test_builds_as_units_say_what_is_not_covered():
    brief = legacy(factors=(factor("pin", "P0", "P1", undo="build"), factor("oil", "X0", "X1", undo="fill")),
                   comparisons=(Comparison("coated pin", of={"pin": "P1"}, against={"pin": "P0"}),))  # fmt: skip
    every = list(product(("P0", "P1"), ("X0", "X1")))
    runs = runs_of(every, (0.12, 0.11, 0.09, 0.08)).assign(build_id=["A", "A", "B", "B"])
    found = habit(brief, runs, "elongation_pct")
    assert len(found.next_runs) == len(found.intervals) == 0
    assert found.sentences[-1] == (
        "Builds are units here: intervals from another scatter and the run that helps are not covered."
    )


def test_all_of_it_is_plain_data():
    brief = legacy(scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)))
    found = habit(brief, RUNS, "elongation_pct", scatter=size_scatter.known(brief, "elongation_pct"))
    text = json.dumps(found.to_json(), allow_nan=False)
    told = json.loads(text)
    assert list(told) == [
        "response",
        "pattern",
        "comparisons",
        "differences",
        "intervals",
        "orders",
        "next_runs",
        "missing",
        "sentences",
    ]
    assert told["next_runs"][0]["newly_estimable"] == ["coated pin", "oil X2"]
    assert told["comparisons"][0]["estimate"] is None


def test_many_factors_take_no_time():
    """Eight factors of two levels: 256 combinations and 256 columns, nine runs."""
    names = [f"f{at}" for at in range(8)]
    brief = legacy(
        factors=tuple(factor(name, "low", "high") for name in names),
        comparisons=tuple(Comparison(name, of={name: "high"}, against={name: "low"}) for name in names),
    )
    star = [tuple("high" if at == up else "low" for at in range(8)) for up in range(-1, 8)]
    runs = runs_of(star, np.linspace(0.1, 0.12, 9), names)
    found = habit_runs.next_runs(model_fit.fit(brief, runs, "elongation_pct"), None)
    assert len(found) == 256


def test_what_the_plan_takes_as_nil_is_named_where_comparisons_rest_on_it():
    taken = replace(legacy().plan, nil_interactions=(("pin", "oil"),))
    told = habit(replace(legacy(), plan=taken), RUNS, "elongation_pct").sentences
    assert (
        "Can be estimated with no more assumed nil than [plan] does (pin × oil): 'coated pin', 'oil X1' and 'oil X2'."
    ) in told
    assert not any("without assuming anything" in sentence for sentence in told)
