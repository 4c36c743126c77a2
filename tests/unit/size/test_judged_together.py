"""Families judged together where their comparisons have different degrees of freedom: sized as the analysis judges."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_family_claims import built
from toolkit.brief.model import Family, Response
from toolkit.design import factorial, phases, questions
from toolkit.model import comparisons
from toolkit.model.fit import fit
from toolkit.size import _unbalanced as unbalanced
from toolkit.size import promise

Y = "fe_ppm"


def brief_of(adjust: str = "multivariate_t", *, members: int = 2):
    """A factor of the build and one of the fill, four builds, four fills in each."""
    responses = (Response(Y, worthwhile_change_pct=20.0),)
    brief = briefs.whole_plots(families=(Family("f", adjust=adjust),), responses=responses)
    both = tuple(replace(item, family="f") for item in brief.comparisons[:members])
    return replace(brief, comparisons=both, plan=replace(brief.plan, builds=4, replicates=2))


def strata_of(brief):
    return factorial.full(brief).strata


def test_the_rate_is_that_of_the_fewest_df_seen_from_ones_own():
    brief = brief_of()
    judged = strata_of(brief)
    few, many = (judged.stratum(name).error_df for name in judged.units)
    assert (few, many) == (2, 10)
    sprocket, oil = brief.comparisons
    told = "family 'f' of 2 is judged together (multivariate_t): sized at alpha / 2"
    assert promise.judged_at(judged, sprocket) == (0.025, f"{told}, the safe side")
    rate, note = promise.judged_at(judged, oil)
    assert note == f"{told} on the family's fewest df (2), the safe side"
    assert stats.t.isf(rate / 2, many) == pytest.approx(stats.t.isf(0.0125, few), rel=1e-9)
    holm = brief_of("holm")
    assert [promise.judged_at(strata_of(holm), item)[0] for item in holm.comparisons] == [0.025, 0.025]


def test_the_chance_is_that_of_the_interval_on_the_fewest_df():
    """Noncentral t of scipy beyond the wider limit: the oil's interval is 6.2 standard errors wide, not 2.6."""
    brief = brief_of()
    known = built(brief, df=(math.inf, math.inf))
    (found,) = (item for item in promise.claims([factorial.full(brief)], known)[0] if item.comparison == "oil")
    judged = strata_of(brief)
    error = known.layers[-1].value * judged.parts(judged_row(brief, judged))[0].unit_variance
    limit, centre = stats.t.isf(0.0125, 2), math.log(0.8) / math.sqrt(error)
    chance = stats.nct.sf(limit, 10, abs(centre)) + stats.nct.cdf(-limit, 10, abs(centre))
    assert found.power == pytest.approx(chance, abs=1e-7)
    assert found.note.endswith("on the family's fewest df (2), the safe side")


def judged_row(brief, judged):
    """The contrast of the oil."""
    return questions.of_comparison(brief, brief.comparisons[1], judged.terms).row


@pytest.mark.parametrize("members", [2, 3])
def test_no_interval_of_the_analysis_is_wider_than_sized(members):
    """The critical value that the analysis prints, on its df: never above the one of the size, on the comparison's."""
    brief = brief_of(members=members)
    design = factorial.full(brief)
    table = design.table.assign(run_id=[f"R{at + 1:02d}" for at in range(len(design.table))])
    table[Y] = np.exp(3.0 + np.random.default_rng(5).normal(0.0, 0.1, len(table)))
    rows = comparisons.comparisons(fit(brief, table, Y)).to_dict("records")
    alone = comparisons.comparisons(fit(replace(brief, families=(), comparisons=tuple(
        replace(item, family=None) for item in brief.comparisons)), table, Y)).to_dict("records")  # fmt: skip
    for item, row, by_itself in zip(brief.comparisons, rows, alone, strict=True):
        critical = float(re.search(r"critical value ([\d.]+)", row["note"]).group(1))
        assert row["df"] == pytest.approx(min(one["df"] for one in alone))
        rate, _ = promise.judged_at(design.strata, item)
        assert stats.t.isf(rate / 2, by_itself["df"]) >= critical - 0.0006


def test_runs_that_are_not_balanced_go_by_the_df_of_the_scatter_as_estimated():
    brief = brief_of()
    left = factorial.full(brief).table.assign(phase="main").drop(index=[3]).reset_index(drop=True)
    laid = phases.strata_together(brief, left)
    assert laid.unbalanced
    asked = promise.asked_of([laid])
    states = unbalanced.states_of(built(brief, df=(5.0, 9.0)), laid, np.array([item.question.row for item in asked]))
    few, many = states.df[:2, -1]
    assert few < 3 < 8 < many
    rate, note = promise.judged_at(laid, brief.comparisons[1], states)
    assert stats.t.isf(rate / 2, many) == pytest.approx(stats.t.isf(0.0125, few), rel=1e-9)
    assert note.endswith(f"on the family's fewest df ({few:.4g}), the safe side")
    assert promise.judged_at(laid, brief.comparisons[1])[0] == 0.025
