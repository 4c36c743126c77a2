"""Plans side by side: which are laid out, which is advised, and what is said when the money does not reach."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_money import ITEMS
from toolkit.brief.model import Comparison, Cost, Extension
from toolkit.design import factorial
from toolkit.errors import SizingError
from toolkit.numeric import promise as numeric_promise
from toolkit.size import candidates, options, promise
from toolkit.size.scatter import MeanSquare, Scatter

COST = Cost(currency="EUR", budget=240_000, lost_runs_pct=8, items=ITEMS)
COATING = Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, assumed_change_pct=30)
BRIEF = replace(
    briefs.blocked(),
    cost=COST,
    most_runs_in_build=4,
    comparisons=(COATING, Comparison("together", interaction=("pin", "oil"))),
)


def known(brief, sd=0.13, df=8.0):
    table = pd.DataFrame([{"response": "elongation_pct", "source": "pilot", "stratum": "run", "sd": sd}])
    return Scatter(brief.responses[0], "pilot", MeanSquare(sd**2, df), None, 1.0, None, (), table)


def test_the_cheapest_plan_that_reaches_what_can_be_reached_is_advised():
    found = options.options(BRIEF, [known(BRIEF)])
    assert [item.design.runs for item in found.options] == [8, 12, 16, 20]
    assert [item.within_budget for item in found.options] == [True, True, False, False]
    assert found.recommended.name == "full factorial, 3 builds of 4 runs"
    claim = found.recommended.claim("elongation_pct", "coating")
    assert claim.reached
    assert claim.assurance >= BRIEF.power > found.options[0].claim("elongation_pct", "coating").assurance
    share = round(100 * found.recommended.claim("elongation_pct", "together").assurance)
    assert found.sentence == (
        f"12 runs (full factorial, 3 builds of 4 runs; 188,718 EUR and 1,598 h with the expected repeats) will show "
        f"coating (true change -30 %, chance {100 * claim.assurance:.0f} %), but cannot be relied on for together "
        f"(true change -20 %, chance {share} %) (asked: 80 %)."
    )


def test_a_single_build_is_shown_but_not_advised():
    brief = replace(BRIEF, most_runs_in_build=None)
    found = options.options(brief, [known(brief, sd=0.10)])
    assert found.options[0].name == "full factorial, 1 build of 8 runs"
    assert found.recommended.design.builds > 1


def test_a_budget_under_the_smallest_plan_says_what_it_costs():
    brief = replace(BRIEF, cost=replace(COST, budget=50_000))
    with pytest.raises(SizingError) as told:
        options.options(brief, [known(brief)])
    assert str(told.value) == (
        "budget 50,000 EUR: not one plan fits; the smallest (full factorial, 2 builds of 4 runs, 8 runs) costs 125,812 "
        "with the expected repeats. It is under one build, which costs 62,906. Raise the budget to that at least, take "
        "levels or factors out, or spend it on a pilot that tells the scatter before more is asked for."
    )


@pytest.mark.parametrize("builds", [3, 20])
def test_a_chosen_plan_makes_no_budget_fit(builds):
    """Whether it is one of those proposed or larger than all of them."""
    brief = replace(BRIEF, cost=replace(COST, budget=50_000))
    with pytest.raises(SizingError, match="budget 50,000 EUR: not one plan fits; the smallest "):
        options.options(brief, [known(brief)], also=factorial.full(brief, builds=builds))


def test_nothing_within_reach_is_said_plainly():
    brief = replace(BRIEF, comparisons=BRIEF.comparisons[1:])
    found = options.options(brief, [known(brief)])
    assert found.recommended is None
    share = round(100 * found.options[1].claim("elongation_pct", "together").assurance)
    assert found.sentence == (
        "No plan within the budget reaches 80 % for any comparison of elongation_pct; the largest, 12 runs (full "
        f"factorial, 3 builds of 4 runs; 188,718 EUR and 1,598 h with the expected repeats), gives together (true "
        f"change -20 %, chance {share} %)."
    )


def test_the_json_holds_what_was_agreed():
    found = options.options(BRIEF, [known(BRIEF)]).to_json()
    text = json.dumps(found, allow_nan=False)
    assert json.loads(text) == found
    option = found["options"][0]
    assert {"name", "runs", "builds", "hours", "cost", "claims"} <= set(option)
    claim = option["claims"][0]
    assert {
        "comparison",
        "term",
        "error_stratum",
        "error_df",
        "power",
        "assurance",
        "power_at_upper_scatter",
        "detectable_ratio",
        "assumed_change",
        "worthwhile_change",
        "outcomes",
    } <= set(claim)
    assert list(claim["outcomes"]) == [
        "worthwhile gain",
        "gain, size not settled",
        "smaller than worthwhile",
        "not known yet",
        "worthwhile loss",
        "loss, size not settled",
    ]
    assert sum(claim["outcomes"].values()) == pytest.approx(1.0)
    assert [item["term"] for item in option["claims"][2:]] == ["pin", "oil", "pin × oil"]
    assert claim["assumed_change"] == pytest.approx(30.0)
    assert claim["detectable_ratio"] < 1 < math.inf


def test_the_summary_is_what_people_read():
    found = options.options(BRIEF, [known(BRIEF)])
    table = options.summary(found)
    first = table.iloc[0]
    shown = found._repr_html_()
    assert f"<td>{first['hours']:,}</td>" in shown and f"<td>{first.filter(like='cost (').iloc[0]:,}</td>" in shown
    assert list(table.columns) == [
        "plan",
        "runs",
        "builds",
        "hours",
        "cost (EUR)",
        "within budget",
        "coating: chance shown (%)",
        "together: chance shown (%)",
    ]
    assert list(table["cost (EUR)"]) == [125_812, 188_718, 251_624, 314_530]


@pytest.mark.parametrize(("brief", "runs"), [(briefs.randomised(), [6, 9, 12]), (briefs.whole_plots(), [8, 12, 16])])
def test_other_layouts_get_plans_of_their_own(brief, runs):
    scatter = Scatter(
        brief.responses[0], "pilot", MeanSquare(0.0169, 8.0), MeanSquare(0.03, 6.0), 2.0, None, (), known(brief).table
    )
    found = options.options(brief, [scatter])
    assert [item.design.runs for item in found.options][:3] == runs


def test_a_chance_is_never_rounded_across_what_was_asked():
    assert [options.chance(share, 0.80) for share in (0.7958, 0.8, 0.8041, 0.12, 0.79999)] == [
        "79.6",
        "80",
        "80",
        "12",
        "79.999",
    ]


def test_every_plan_up_to_the_most_runs_is_judged_and_a_spread_of_them_listed():
    pair = (Comparison("pin", of={"pin": "P1"}, against={"pin": "P0"}),)
    brief = briefs.blocked(factors=BRIEF.factors[:1], comparisons=pair, pilot=None)
    found = options.options(brief, [known(brief, sd=0.30, df=math.inf)])
    assert len(found.options) == options.MOST_OPTIONS
    assert found.options[-1].design.runs == 60
    assert found.recommended in found.options
    assert found.recommended.claim("elongation_pct", "pin").assurance >= 0.80
    smaller = [item for item in found.options if item.design.runs < found.recommended.design.runs]
    assert all(item.claim("elongation_pct", "pin").assurance < 0.80 for item in smaller)
    assert found.notes[0].startswith(
        f"{len(candidates.of_brief(brief))} plans of up to 60 runs were judged; "
    )


def test_centre_points_count_in_what_a_build_lasts():
    factors = (briefs.numeric("load_Nm", 80, 120), briefs.factor("oil", "O0", "O1", undo="fill"))
    brief = briefs.blocked(
        factors=factors,
        comparisons=(Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),),
        most_runs_in_build=9,
        plan=briefs.PlanChoice(builds=2, centre_points=1),
        pilot=None,
    )
    found = options.options(brief, [known(brief)])
    assert {item.design.runs // item.design.builds for item in found.options} == {6}
    assert "curvature (centre points) is tested in the analysis and not sized here" in found.notes


def test_a_pilot_that_counts_is_counted_in_the_error_of_every_claim():
    brief = replace(BRIEF, pilot=replace(briefs.blocked().pilot, use="block"))
    counted = options.options(brief, [known(brief)]).options[1].claim("elongation_pct", "coating")
    alone = options.options(BRIEF, [known(BRIEF)]).options[1].claim("elongation_pct", "coating")
    # Twelve runs in three builds: 6 df and 1/3; with two runs of two combinations in a build of their own: 9 and .2667.
    assert (alone.error_df, counted.error_df) == (6, 9)
    assert counted.assurance > alone.assurance
    assert any(
        note.startswith("the pilot's runs count in the analysis")
        for note in options.options(brief, [known(brief)]).notes
    )


def test_nothing_is_advised_while_a_comparison_cannot_be_told():
    brief = briefs.whole_plots()
    scatter = Scatter(
        brief.responses[0], "declared", MeanSquare(0.0169, math.inf), None, 1.0, (0.1, 0.16), (), known(brief).table
    )
    found = options.options(brief, [scatter])
    assert found.recommended is None
    assert found.sentence == (
        "No plan can be advised yet: for sprocket and both the scatter between builds is not known. Run a pilot with "
        "two builds of the same level and two runs in each, so that they and the runs can be told apart."
    )


def test_a_share_typed_where_per_cent_is_asked_is_noticed():
    response = replace(BRIEF.responses[0], worthwhile_change_pct=0.2)
    found = options.options(replace(BRIEF, responses=(response,)), [known(BRIEF)])
    assert found.notes[0] == ("0.2 in campaign.toml is read as 0.2 %: was a share typed where per cent is asked?")


EXTENDED = replace(BRIEF, extension=Extension())


def standing(brief=EXTENDED):
    """Eleven of the twelve runs of a main phase in three builds: one was lost."""
    return factorial.full(brief).table.assign(phase="main").drop(index=5)


def test_plans_of_an_extension_tell_what_they_show_with_the_main_phase():
    scatter = known(EXTENDED, df=8.0)
    found = options.options(EXTENDED, [scatter], standing=standing())
    assert found.phase == "extension"
    assert found.to_json()["phase"] == "extension"
    assert [item.name for item in found.options][:3] == [
        f"extension, {n} of 4 runs" for n in ("1 build", "2 builds", "3 builds")
    ]
    two = found.options[1]
    both = pd.concat([standing(), two.design.table.assign(phase="extension")])
    apart = {item.comparison: item for item in promise.claims_of_runs(EXTENDED, both, scatter) if item.comparison}
    assert two.claim("elongation_pct", "coating") == apart["coating"]
    # 11 runs and 8 more less 5 builds less 3 effects.
    assert apart["coating"].error_df == 19 - 5 - 3
    assert found.recommended is not None
    assert found.recommended.design.builds == 1
    assert found.sentence.startswith("4 further runs (extension, 1 build of 4 runs; ")
    assert ", with those that count already, will show coating (true change -30 %, chance " in found.sentence
    assert found.notes[-2].startswith("without an extension, from 11 runs: coating (true change -30 %, chance ")


def test_an_extension_pays_for_its_own_runs_only():
    found = options.options(EXTENDED, [known(EXTENDED, df=8.0)], standing=standing())
    alone = options.options(BRIEF, [known(BRIEF, df=8.0)])
    per_builds = {item.design.builds: item.price for item in alone.options}
    assert found.options[2].price == per_builds[3]


def test_chances_told_for_an_extension_where_the_main_phase_lends_its_own_scatter():
    # The mean square of the main phase is known and stays a part of the final one; what is told draws all of it anew.
    draw, sims, square = np.random.default_rng(5), 200_000, 0.13**2
    gaps = []
    for before, after, variance in ((6, 3, 1 / 4), (6, 6, 1 / 5), (2, 4, 1 / 3), (9, 6, 1 / 5), (4, 12, 1 / 6)):
        for gain in (0.15, 0.2, 0.3):
            true = square * before / draw.chisquare(before, sims)
            final = (before * square + true * draw.chisquare(after, sims)) / (before + after)
            estimate = gain + np.sqrt(true * variance) * draw.standard_normal(sims)
            edge = stats.t.isf(0.025, before + after) * np.sqrt(final * variance)
            told = float(numeric_promise.assurance(gain, [(variance, before + after)], [(square, before)]))
            gaps.append(float(told - (np.abs(estimate) > edge).mean()))
    assert -0.055 < min(gaps) < -0.04
    assert 0.005 < max(gaps) < 0.02


def test_a_plan_that_another_one_outdoes_for_no_more_money_is_left_out():
    # Two runs of each combination in a build cost a build less than two builds of one each, and show as much or more.
    brief = replace(BRIEF, most_runs_in_build=None, comparisons=(COATING,))
    found = options.options(brief, [known(brief)])
    judged = {item.name: item for item in options._judged(brief, _priced(brief), [known(brief)], None)}
    assert (found.judged, found.outdone) == (len(judged), len(judged) - len(found.options))
    assert found.outdone > 0
    kept = [item.name for item in found.options]
    claims = {name: item.claim("elongation_pct", "coating").assurance for name, item in judged.items()}
    for name, item in judged.items():
        better = [
            other
            for other in judged.values()
            if other.price.cost <= item.price.cost
            and claims[other.name] > claims[name] + 1e-6
            and not (other.design.builds == 1 < item.design.builds)
        ]
        assert (name in kept) != bool(better), name
    assert (found.judged, found.outdone) == (6, 1)
    assert found.notes[0] == (
        "6 plans of up to 60 runs were judged; 1 is left out because another plan shows all that it shows for no more "
        "money"
    )


def _priced(brief):
    """Every plan within reach of the budget with its price, as the sizing takes them."""
    return options._within_reach(brief, candidates.of_brief(brief), None)[0]


def test_repeats_are_said_for_the_plan_that_is_advised():
    found = options.options(BRIEF, [known(BRIEF)])
    assert (
        "hours and cost hold the repeats of lost runs: 8 % of the runs are expected to be lost, repeats too, so that "
        "12 valid runs take 13 attempts on average"
    ) in found.notes


def test_worthwhile_changes_that_no_plan_shows_are_told_with_the_ways_out():
    brief = replace(BRIEF, comparisons=(replace(COATING, worthwhile_change_pct=15.0),))
    found = options.options(brief, [known(brief)])
    inside = max(
        item.claim("elongation_pct", "coating").detectable_ratio for item in found.options if item.within_budget
    )
    needed = 0.13 * math.log(0.85) / math.log(inside)
    assert (
        f"worthwhile changes too small for every plan within the budget at power 80 %: coating -15 % (from "
        f"{100 * (inside - 1):+.3g} % on; needs scatter of {needed:.2g} in place of 0.13). Else take a larger "
        f"worthwhile change if the decision allows it, or ask only whether it is no worse"
    ) in found.notes
    # Twenty runs, beyond the budget, show a change of 20 %; the other way out is what they cost.
    twenty = replace(BRIEF, comparisons=(replace(COATING, worthwhile_change_pct=20.0),))
    told = next(note for note in options.options(twenty, [known(twenty)]).notes if note.startswith("worthwhile"))
    assert "needs 251,624 EUR or scatter of " in told
    small = replace(BRIEF, comparisons=(replace(COATING, worthwhile_change_pct=40.0),))
    assert not [n for n in options.options(small, [known(small)]).notes if n.startswith("worthwhile")]
