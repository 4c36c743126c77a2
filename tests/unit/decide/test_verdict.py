"""Verdicts at both sides of every edge, and their whole sentences."""

import math

import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.decide.verdict import NAMES, name_of, verdicts
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

M = 0.2231435513142097  # -ln(1 - 20 %): the band runs from 0.80 to 1.25 in ratio
TINY = 1e-9


@pytest.mark.parametrize("low, high, expected", [
    (M + TINY, 1.0, "worthwhile gain"),
    (M, 1.0, "gain, size not settled"),
    (TINY, 1.0, "gain, size not settled"),
    (TINY, M, "gain, size not settled"),
    (TINY, M - TINY, "smaller than worthwhile"),
    (0.0, M - TINY, "smaller than worthwhile"),
    (-M + TINY, M - TINY, "smaller than worthwhile"),
    (-M + TINY, -TINY, "smaller than worthwhile"),
    (-M, M - TINY, "not known yet"),
    (-M + TINY, M, "not known yet"),
    (0.0, M, "not known yet"),
    (-M, 0.0, "not known yet"),
    (-1.0, 1.0, "not known yet"),
    (-M, -TINY, "loss, size not settled"),
    (-1.0, -TINY, "loss, size not settled"),
    (-1.0, -M, "loss, size not settled"),
    (-1.0, -M - TINY, "worthwhile loss"),
])
def test_the_six_names_at_both_sides_of_every_edge(low, high, expected):
    assert name_of(low, high, M) == expected
    assert expected in NAMES


def test_without_a_worthwhile_change_only_the_sign_is_judged():
    assert [name_of(*ends, None) for ends in ((0.1, 9.0), (-9.0, -0.1), (0.0, 0.1), (-0.1, 0.0))] == [
        "gain, size not settled", "loss, size not settled", "not known yet", "not known yet"]


WEAR = Response("elongation_pct", worthwhile_change_pct=20)
TORQUE = Response("torque_Nm", better="larger", scale="linear", worthwhile_change=2.0)
GRIP = Response("grip_N", better="larger", worthwhile_change_pct=20)
PLAIN = Response("loss_mg", scale="linear")
SMALLER, EITHER = (Comparison("coating", direction=word) for word in ("smaller", "either"))
NEEDS = Comparison("needs", interaction=("pin", "oil"))


def judged(response, comparison, estimate, low, high, *, interim="", **more):
    """The verdict on one row of comparisons."""
    brief = Brief(id="x", question="?", seed=1, factors=(), responses=(response,), comparisons=(comparison,))
    row = {"response": response.name, "comparison": comparison.name, "estimate": estimate, "conf_low": low,
           "conf_high": high, "std_error": 0.1 if response.scale == "log" else 1.0, "df": 6.0, "note": "", **more}
    return verdicts(pd.DataFrame([row], dtype=object), brief, interim=interim).iloc[0]


SENTENCES = [
    (WEAR, SMALLER, 0.74, 0.62, 0.88, "gain, size not settled",
     "coating: 26 % less elongation (95 % interval: 12 to 38 % less); a gain is shown, but not that it reaches 20 %."),
    (WEAR, SMALLER, 0.5, 0.4, 0.7, "worthwhile gain",
     "coating: 50 % less elongation (95 % interval: 30 to 60 % less); a gain is shown, and that it goes beyond 20 %."),
    (WEAR, SMALLER, 0.95, 0.85, 1.1, "smaller than worthwhile",
     "coating: 5 % less elongation (95 % interval: 15 % less to 10 % more); the change is smaller than worthwhile "
     "(20 % less to 25 % more)."),
    (WEAR, SMALLER, 0.9, 0.82, 0.97, "smaller than worthwhile",
     "coating: 10 % less elongation (95 % interval: 3 to 18 % less); a gain is shown, but the change is smaller than "
     "worthwhile (20 % less to 25 % more)."),
    (WEAR, SMALLER, 1.1, 1.03, 1.2, "smaller than worthwhile",
     "coating: 10 % more elongation (95 % interval: 3 to 20 % more); a loss is shown, but the change is smaller than "
     "worthwhile (20 % less to 25 % more)."),
    (WEAR, SMALLER, 1.0, 0.7, 1.5, "not known yet",
     "coating: no change of elongation (95 % interval: 30 % less to 50 % more); neither a change nor its absence is "
     "shown."),
    (WEAR, SMALLER, 1.3, 1.1, 1.5, "loss, size not settled",
     "coating: 30 % more elongation (95 % interval: 10 to 50 % more); a loss is shown, but not that it reaches 25 %."),
    (WEAR, SMALLER, 1.5, 1.3, 1.7, "worthwhile loss",
     "coating: 50 % more elongation (95 % interval: 30 to 70 % more); a loss is shown, and that it goes beyond 25 %."),
    # Decimals are added until no rounded limit says another thing than the verdict.
    (WEAR, SMALLER, 0.7, 0.612, 0.8004, "gain, size not settled",
     "coating: 30.00 % less elongation (95 % interval: 19.96 to 38.80 % less); a gain is shown, but not that it "
     "reaches 20 %."),
    (WEAR, EITHER, 0.74, 0.62, 0.88, "gain, size not settled",
     "coating: 26 % less elongation (95 % interval: 12 to 38 % less); a decrease is shown, but not that it reaches "
     "20 %."),
    (GRIP, EITHER, 0.74, 0.62, 0.79, "worthwhile loss",
     "coating: 26 % less grip (95 % interval: 21 to 38 % less); a decrease is shown, and that it goes beyond 16.7 %."),
    (GRIP, Comparison("coating", direction="larger"), 1.3, 1.26, 1.5, "worthwhile gain",
     "coating: 30 % more grip (95 % interval: 26 to 50 % more); a gain is shown, and that it goes beyond 20 %."),
    (TORQUE, Comparison("oil", direction="larger"), 3.0, 2.5, 3.5, "worthwhile gain",
     "oil: 3.0 N·m more torque (95 % interval: 2.5 to 3.5 N·m more); a gain is shown, and that it goes beyond 2 N·m."),
    (TORQUE, Comparison("oil", direction="larger"), -1.0, -3.0, 1.0, "not known yet",
     "oil: 1.0 N·m less torque (95 % interval: 3.0 N·m less to 1.0 N·m more); neither a change nor its absence is "
     "shown."),
    (PLAIN, SMALLER, -3.0, -4.0, -2.0, "gain, size not settled",
     "coating: 3.0 mg less loss (95 % interval: 2.0 to 4.0 mg less); a gain is shown."),
    (WEAR, NEEDS, 0.95, 0.7, 1.3, "not known yet",
     "needs: a ratio of ratios of 0.95 (95 % interval: 0.70 to 1.30); neither an interaction nor its absence is "
     "shown."),
    (WEAR, NEEDS, 0.7, 0.6, 0.9, "gain, size not settled",
     "needs: a ratio of ratios of 0.70 (95 % interval: 0.60 to 0.90); a ratio below 1 is shown, but not that it "
     "reaches 0.8."),
    (WEAR, NEEDS, 1.05, 0.9, 1.2, "smaller than worthwhile",
     "needs: a ratio of ratios of 1.05 (95 % interval: 0.90 to 1.20); the change is smaller than worthwhile (0.8 to "
     "1.25)."),
    (TORQUE, NEEDS, 3.0, 2.5, 3.5, "worthwhile gain",
     "needs: a difference of differences of +3.0 N·m (95 % interval: +2.5 N·m to +3.5 N·m); a value above 0 is shown, "
     "and that it goes beyond 2 N·m."),
]


@pytest.mark.parametrize("response, comparison, estimate, low, high, verdict, sentence", SENTENCES)
def test_whole_sentences(response, comparison, estimate, low, high, verdict, sentence):
    found = judged(response, comparison, estimate, low, high)
    assert (found["verdict"], found["sentence"]) == (verdict, sentence)


def test_a_gain_is_what_the_response_calls_better():
    found = judged(WEAR, SMALLER, 0.74, 0.62, 0.88)
    assert (found["gain"], found["gain_low"], found["gain_high"]) == (
        pytest.approx(-math.log(0.74)), pytest.approx(-math.log(0.88)), pytest.approx(-math.log(0.62)))
    assert found["worthwhile"] == pytest.approx(M, rel=1e-12)
    # T. Schweder and N. L. Hjort: the share of the confidence distribution beyond the margin.
    assert found["chance_worthwhile"] == pytest.approx(stats.t.cdf((-math.log(0.74) - M) / 0.1, 6), rel=1e-12)
    assert judged(PLAIN, SMALLER, -3.0, -4.0, -2.0)["chance_worthwhile"] is None
    assert judged(TORQUE, SMALLER, 3.0, 2.5, 3.5)["gain_low"] == 2.5


def test_a_comparison_with_its_own_worthwhile_change_is_judged_by_it():
    own = Comparison("coating", direction="smaller", worthwhile_change_pct=5)
    assert judged(WEAR, own, 0.74, 0.62, 0.88)["verdict"] == "worthwhile gain"


def test_what_cannot_be_estimated_says_how_it_could_be():
    note = "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    found = judged(WEAR, SMALLER, None, None, None, std_error=None, df=None, note=note)
    assert (found["verdict"], found["sentence"]) == ("not estimable", f"coating: {note}")
    assert [found[name] for name in ("gain", "gain_low", "gain_high", "chance_worthwhile")] == [None] * 4


def test_an_estimate_without_an_interval_has_no_verdict():
    found = judged(WEAR, SMALLER, 0.8, None, None, std_error=None, df=None, note="no error estimate")
    assert (found["verdict"], found["sentence"]) == (
        "no error estimate",
        "coating: 20 % less elongation, without an interval (no error estimate); no verdict is possible.")


SO_FAR = "Interim, after 7 of 12 runs: an estimate and no claim, as no looks were planned."


@pytest.mark.parametrize("low, high", [(0.62, 0.88), (0.4, 0.7), (0.7, 1.5), (1.3, 1.7)])
def test_while_runs_are_pending_no_interval_is_a_claim(low, high):
    found = judged(WEAR, SMALLER, 0.74, low, high, interim="7 of 12 runs")
    final = judged(WEAR, SMALLER, 0.74, low, high)
    assert (found["verdict"], found["interim"]) == ("interim, no claim", "7 of 12 runs")
    assert found["sentence"] == f"{final['sentence'].rpartition(';')[0]}. {SO_FAR}"
    assert "shown" not in found["sentence"] and final["interim"] is None
    assert [found[name] for name in ("gain", "gain_low", "gain_high")] == [
        final[name] for name in ("gain", "gain_low", "gain_high")]
    assert found["chance_worthwhile"] is None and final["chance_worthwhile"] is not None


def test_interim_sentences_without_an_interval_or_an_estimate():
    none = {"std_error": None, "df": None, "interim": "3 of 12 runs"}
    bare = judged(WEAR, SMALLER, 0.8, None, None, note="no error estimate, so no test: add a build", **none)
    assert (bare["verdict"], bare["sentence"]) == (
        "interim, no claim",
        "coating: 20 % less elongation, without an interval (no error estimate yet). Interim, after 3 of 12 runs: an "
        "estimate and no claim, as no looks were planned.")
    note = "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    found = judged(WEAR, SMALLER, None, None, None, note=note, **none)
    assert (found["verdict"], found["sentence"]) == ("not estimable", f"coating: {note} Interim, after 3 of 12 runs.")


@pytest.mark.parametrize("comparison", [SMALLER, NEEDS])
@pytest.mark.parametrize(("gain", "equal"), [(0.0, True), (0.02, True), (-0.02, True), (0.05, False), (-0.05, False)])
def test_what_is_equivalent_and_not_known_yet_is_told_in_one_sentence(comparison, gain, equal):
    # Of 6 df: t at 97.5 % is 2.4469, at 95 % 1.9432 (any table of t); the worthwhile change is -ln 0.8 = 0.2231.
    error = 0.1
    low, high = (math.exp(-gain + sign * 2.4469 * error) for sign in (-1, 1))
    found = judged(WEAR, comparison, math.exp(-gain), low, high, std_error=error)
    assert found["verdict"] == "not known yet"
    assert (abs(gain) + 1.9432 * error < 0.2231) == equal
    band = "20 % less to 25 % more" if comparison is SMALLER else "0.8 to 1.25"
    what = "a change" if comparison is SMALLER else "an interaction"
    assert found["sentence"].partition("; ")[2] == (
        f"neither {what} nor its absence is shown, as that interval leaves the band of changes too small to matter "
        f"({band}); the narrower 90 % interval, by which equivalence is judged, stays within it, which is a claim "
        f"of its own."
        if equal
        else f"neither {what} nor its absence is shown."
    )


def test_limits_beyond_floating_point_do_not_stop_it():
    found = judged(WEAR, SMALLER, 0.8, 0.0, math.inf)
    assert found["verdict"] == "not known yet"
    assert found["sentence"] == ("coating: 20 % less elongation (95 % interval: 100 % less to no limit); neither a "
                                 "change nor its absence is shown.")


def test_verdicts_follow_the_table_of_comparisons():
    data = pin_by_oil(INVENTED)
    asked = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"), NEEDS]
    brief = brief_of(data, ["pin", "oil"], "elongation_pct", block="build", scale="log", worthwhile=20,
                     comparisons=asked)
    table = comparisons(fit(brief, runs_of(data, ["pin", "oil"], "elongation_pct", build="build"), "elongation_pct"))
    found = verdicts(table, brief)
    assert list(found.columns) == ["response", "comparison", "verdict", "sentence", "gain", "gain_low", "gain_high",
                                   "worthwhile", "chance_worthwhile", "interim"]
    for row, line in zip(found.to_dict("records"), table.to_dict("records"), strict=True):
        assert row["verdict"] == name_of(-math.log(line["conf_high"]), -math.log(line["conf_low"]), M)
    assert list(found["comparison"]) == ["coating", "new oil", "needs"]
