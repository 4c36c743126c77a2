"""Families: any, each and all shown, against campaigns drawn and judged run by run."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from tests.unit import briefs
from tests.unit.size.test_promise import scatter
from tests.unit.size.test_promise_of_runs import built
from toolkit.brief.model import Family
from toolkit.design import factorial
from toolkit.size import family_claims, options, promise

GAIN = -math.log(0.8)


def in_family(brief, **family):
    return replace(
        brief,
        families=(Family("f", **family),),
        comparisons=tuple(replace(item, family="f") for item in brief.comparisons),
    )


@pytest.mark.parametrize("adjust", ["none", "holm", "multivariate_t"])
def test_three_finishes_against_drawn_campaigns(adjust):
    """Two finishes against one baseline, four runs each, a pilot of 5 df: 40,000 campaigns, 3.3 SE and 0.002.

    Critical values by scipy's t and by Dunnett's two-sided table (9 df, two treatments: 2.61).
    """
    brief = in_family(briefs.randomised(), promise="all", adjust=adjust)
    found = family_claims.family_claims([factorial.full(brief, replicates=4)], scatter(brief, df=5.0))[0][0]
    rng, sims = np.random.default_rng(71), 40_000
    sigma = 0.13 * np.sqrt(5 / rng.chisquare(5, sims))
    y = sigma[:, None, None] * rng.normal(size=(sims, 3, 4))
    means, error = y.mean(axis=2), y.var(axis=2, ddof=1).mean(axis=1)
    estimate = GAIN + means[:, 1:] - means[:, :1]
    critical = {"none": stats.t.isf(0.025, 9), "holm": stats.t.isf(0.0125, 9), "multivariate_t": 2.61}[adjust]
    shown = np.abs(estimate) > critical * np.sqrt(error / 2)[:, None]
    drawn = {"any": shown.any(axis=1).mean(), "all": shown.all(axis=1).mean(), "each": shown.mean()}
    for name, share in drawn.items():
        assert abs(getattr(found, name) - share) < 3.3 * math.sqrt(0.25 / sims) + 0.002, name
    assert found.reached is False
    assert found.comparisons == ("honing", "lapping")


@pytest.mark.parametrize(("adjust", "builds"), [("none", 4), ("holm", 6)])
def test_a_comparison_of_two_strata_is_judged_by_the_mean_squares_that_turn_up(adjust, builds):
    """Few df: the chance of each is the assurance of its claim at the same error rate, that of 'both' too."""
    brief = in_family(briefs.whole_plots(), promise="each", adjust=adjust)
    known = built(brief, sd=0.06, between=0.04, df=(3.0, 8.0))
    design = factorial.full(brief, builds=builds)
    found = family_claims.family_claims([design], known)[0][0]
    alone = {item.comparison: item.assurance for item in promise.claims([design], known)[0] if item.comparison}
    assert found.note == "the least of them: both"
    assert found.each == pytest.approx(alone["both"], abs=0.006)


def test_a_family_across_strata_is_judged_at_its_fewest_df():
    """Six builds of four runs, known scatter: 200,000 campaigns of both factors; critical value of |t| by quadrature.

    Two independent contrasts on 4 and 16 df are judged as two that share one scatter on 4 df.
    """
    brief = in_family(briefs.whole_plots(), promise="all", adjust="multivariate_t")
    brief = replace(brief, comparisons=brief.comparisons[:2])
    known = built(brief, sd=0.12, between=0.04)
    design = factorial.full(brief, builds=6, replicates=2)
    found = family_claims.family_claims([design], known)[0][0]
    place, weight = np.polynomial.legendre.leggauss(200)
    scale = np.sqrt(stats.chi2.ppf(0.5 * (place + 1.0), 4) / 4)

    def beyond(limit):
        return 0.5 * weight @ (2.0 * stats.norm.cdf(limit * scale) - 1.0) ** 2 - 0.95

    limit = optimize.brentq(beyond, 2.0, 8.0)
    rng, sims = np.random.default_rng(29), 200_000
    shown = []
    for square, df in ((4 * 0.04**2 + 0.12**2, 4), (0.12**2, 16)):
        error = np.sqrt(4 * square / 24) * rng.normal(size=sims)
        own = np.sqrt(4 * square / 24 * rng.chisquare(df, sims) / df)
        shown.append(np.abs(GAIN + error) > limit * own)
    assert abs(found.all - float((shown[0] & shown[1]).mean())) < 3.3 * math.sqrt(0.25 / sims) + 0.002
    assert abs(found.any - float((shown[0] | shown[1]).mean())) < 3.3 * math.sqrt(0.25 / sims) + 0.002


def test_across_builds_and_runs():
    """A factor of the build, one of the run and both: each is the assurance of its claim where nothing is adjusted."""
    brief = in_family(briefs.whole_plots(), promise="any")
    known = built(brief, df=(3.0, 8.0))
    design = factorial.full(brief, builds=12)
    found = family_claims.family_claims([design], known)[0][0]
    alone = [item.assurance for item in promise.claims([design], known)[0] if item.comparison]
    assert found.each == pytest.approx(min(alone), abs=0.01)
    assert max(alone) - 0.003 < found.any <= 1
    assert found.all < found.each
    assert found.reached is True
    assert found.note == "the least of them: both"


def test_what_cannot_be_told():
    """No scatter between builds; a guess; strata without mean squares: said, never a number."""
    brief = in_family(briefs.whole_plots())
    design = factorial.full(brief, builds=8)
    found = family_claims.family_claims([design], scatter(brief))[0][0]
    assert (found.any, found.each, found.all, found.reached) == (None, None, None, False)
    assert found.note == "the scatter between builds is not known"
    guess = scatter(brief, df=math.inf, declared=(0.1, 0.2), basis="declared")
    assert family_claims.family_claims([design], guess)[0][0].note == "not told together: the scatter is a guess"
    assert list(found.to_dict()) == [
        "response",
        "family",
        "promise",
        "adjust",
        "comparisons",
        "any",
        "each",
        "all",
        "reached",
        "note",
    ]
    assert family_claims.family_claims([factorial.full(briefs.blocked(), builds=3)], scatter(briefs.blocked())) == [[]]
    assert isinstance(pd.DataFrame([found.to_dict()]), pd.DataFrame)


def test_plans_are_advised_by_what_the_family_promises():
    """Any of them asks for fewer runs than each, and all for more; the note tells all three chances."""
    advised = {}
    for asked in ("any", "each", "all"):
        brief = in_family(briefs.randomised(), promise=asked)
        made = options.options(brief, [scatter(brief, sd=0.12, df=20.0)])
        advised[asked] = made.recommended.design.runs
        claim = made.recommended.families[0]
        assert claim.reached is True
        told = [note for note in made.notes if note.startswith("family")]
        if asked == "each":
            assert told == []
            continue
        assert told == [
            f"family 'f' asks for {asked}: {made.recommended.name} shows any of its 2 comparisons of elongation_pct "
            f"with {100 * claim.any:.0f} %, each with {100 * claim.each:.0f} % or more, all with "
            f"{100 * claim.all:.0f} %"
        ]
    assert advised["any"] < advised["each"] < advised["all"]
    assert made.to_json()["options"][0]["families"][0]["promise"] == "all"
