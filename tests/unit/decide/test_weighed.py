"""Comparisons weighed against their worthwhile changes: whole lines, edges of the band, chances by another library."""

import dataclasses
import math

import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.brief.model import Comparison, Response
from toolkit.decide import weighed as decide_weighed
from toolkit.decide.weighed import band, percent, weighed
from toolkit.model import comparisons
from toolkit.model import fit as model_fit

FACTORS = ("pin", "oil")
COATING = simple("coating", "pin", "P1", "P0", direction="smaller")
CROSSED = Comparison("needs", interaction=("pin", "oil"))


# INVENTED: what makes the runs of a rig differ more.
ROUGH = (0.85, 1.1, 1.2, 0.9, 1.1, 0.95, 0.8, 1.05, 1.0, 1.2, 0.9, 0.85)


def fitted(*asked, builds=("B1", "B2", "B3"), scale="log", worthwhile=20.0, rough=False):
    """The INVENTED 2x2 with its builds as blocks."""
    values = [value * (by if rough else 1.0) for value, by in zip(INVENTED, ROUGH, strict=True)]
    data = pin_by_oil(values[: 4 * len(builds)], builds=builds)
    brief = brief_of(
        data, FACTORS, "elongation_pct", block=True, scale=scale, worthwhile=worthwhile, comparisons=asked
    )
    return model_fit.fit(brief, runs_of(data, FACTORS, "elongation_pct", build="build"), "elongation_pct")


def test_a_comparison_tells_its_chance_its_claims_and_what_would_settle_it():
    fit = fitted(COATING)
    row = comparisons.comparisons(fit).iloc[0]
    # The coating gives about a quarter less on 6 df: the chance by scipy's t.
    chance = stats.t.cdf((-math.log(row["estimate"]) + math.log(0.8)) / row["std_error"], row["df"])
    assert 0.9 < chance < 0.99
    told = weighed(fit)
    assert told.chance("coating") == f"chance of truly at least 20 % less: {100 * chance:.0f} %"
    assert told.claims("coating") == (
        "equivalent (within 20 % less to 25 % more): not shown by the 90 % interval",
        "no worse than 25 % more: shown by the 90 % interval",
    )  # fmt: skip
    assert told.runs_more("coating") == "5 complete builds more (20 runs) would settle it with a chance of 80 %"
    assert told.sentences["coating"] == (
        f"coating: {told.chance('coating')}; {'; '.join(told.claims('coating'))}; {told.runs_more('coating')}."
    )
    assert set(told.to_json()) == {"chances", "equivalence", "settling"}


def test_either_direction_has_both_chances_and_an_interaction_the_one_between():
    told = weighed(fitted(simple("oil", "oil", "O1", "O0"), CROSSED, rough=True))
    chances = told.chances.set_index("comparison")
    assert told.chance("oil") == (
        f"chance of truly at least 20 % less: {percent(chances.loc['oil', 'chance_worthwhile'])}, at least 25 % more: "
        f"{percent(chances.loc['oil', 'chance_worthwhile_loss'])}"
    )
    between = percent(chances.loc["needs", "chance_between"])
    assert told.chance("needs") == f"chance that it lies between 0.8 and 1.25: {between}"
    assert told.claims("needs") == ("equivalent (within 0.8 to 1.25): not shown by the 90 % interval",)


def test_how_many_more_runs_is_told_in_either_case():
    told = weighed(fitted(COATING, CROSSED, rough=True, worthwhile=12.0))
    rows = told.settling.set_index("comparison")
    asked = rows.loc["coating"]
    assert (asked["settled"], asked["most_added"]) == (False, decide_weighed.MOST)
    assert told.runs_more("coating") == (
        f"{asked['added']} complete builds more ({4 * asked['added']} runs) would settle it with a chance of "
        f"{math.floor(100 * asked['chance'])} %"
    )
    assert told.runs_more("needs") == "even 12 complete builds more would not settle it with a chance of 80 %"


def test_without_a_worthwhile_change_only_the_chance_of_a_gain_is_told():
    told = weighed(fitted(COATING, CROSSED, worthwhile=None))
    assert told.chance("coating") == "chance of any gain: over 99 %"
    assert told.claims("coating") == () and told.chance("needs") == ""


def test_without_an_error_nothing_is_told():
    told = weighed(fitted(COATING, CROSSED, builds=("B1",)))
    assert told.sentences == {"coating": "", "needs": ""}


def test_the_band_has_its_edges_in_the_words_of_the_response():
    larger = Response("life_h", better="larger", per_run="value", worthwhile_change_pct=25.0)
    torque = Response("torque_Nm", scale="linear", per_run="value", worthwhile_change=0.5)
    assert band(larger, COATING, math.log(1.25)) == ("20 % less", "25 % more")
    assert band(torque, COATING, 0.5) == ("0.5 N·m less", "0.5 N·m more")
    assert band(torque, CROSSED, 0.5) == ("-0.5 N·m", "+0.5 N·m")


@pytest.mark.parametrize("share, told", [(0.9999, "over 99 %"), (0.99, "99 %"), (0.004, "under 1 %"), (0.456, "46 %")])
def test_no_chance_is_rounded_to_certainty_or_to_nothing(share, told):
    assert percent(share) == told


def test_an_equivalence_that_only_the_narrower_interval_shows_says_so():
    told = weighed(fitted(COATING))
    shown = told.equivalence.assign(shown=True, p_value=0.03)
    assert dataclasses.replace(told, equivalence=shown).claims("coating")[0] == (
        "equivalent (within 20 % less to 25 % more): shown by the 90 % interval, not by the wider one of the verdict"
    )
    assert dataclasses.replace(told, equivalence=shown.assign(p_value=0.02)).claims("coating")[0] == (
        "equivalent (within 20 % less to 25 % more): shown by the 90 % interval"
    )
