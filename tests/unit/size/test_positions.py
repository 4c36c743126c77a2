"""What a plan with positions promises in both strata, by the noncentral t on variances written by hand; its price."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy import stats

from tests.unit import rings
from toolkit.design import chosen
from toolkit.errors import SizingError
from toolkit.size import money, options, promise, scatter

# SD of ln from a CV: root of ln(1 + CV^2) (textbook); the middle of the declared ranges.
PLACE = 0.5 * sum(math.sqrt(math.log1p(cv**2)) for cv in (0.15, 0.20))
RUN = 0.5 * sum(math.sqrt(math.log1p(cv**2)) for cv in (0.08, 0.12))
CHANGE = -math.log(0.8)


def power(error: float, df: int) -> float:
    """Two-sided power of t at 5 %."""
    at = stats.t.ppf(0.975, df)
    return float(stats.nct.sf(at, df, CHANGE / error) + stats.nct.cdf(-at, df, CHANGE / error))


def test_coatings_and_oils_are_promised_in_their_own_strata() -> None:
    """Coatings by positions alone: 2 s^2 / 8. Oils: 2 (4 run + place) / 16, a run having four rows."""
    asked = rings.brief()
    known = scatter.known(asked, "ring_loss_mg")
    assert known.finest == "position"
    design = chosen.main(asked)
    claims = {claim.comparison: claim for claim in promise.claims([design], known)[0] if claim.comparison}
    df = design.strata.stratum("position").error_df
    assert claims["coating one"].error_stratum == "position"
    assert claims["coating one"].power == pytest.approx(power(PLACE * math.sqrt(2.0 / 8.0), df), rel=1e-6)
    oil = math.sqrt(2.0 * (4.0 * RUN**2 + PLACE**2) / 16.0)
    assert claims["new oil"].error_stratum == "run"
    assert claims["new oil"].power == pytest.approx(power(oil, 4), rel=1e-6)
    within = claims["coating one in the new oil"]
    assert within.power == pytest.approx(power(PLACE * math.sqrt(2.0 / 4.0), df), rel=1e-6)


def test_a_pooled_response_is_promised_by_whole_runs() -> None:
    """Iron: 2 s^2 / 4 on 4 df, and no claim on the coating."""
    asked = rings.brief()
    known = scatter.known(asked, "fe_ppm")
    assert known.finest == "run"
    found = promise.claims([chosen.main(asked)], known)[0]
    assert [claim.comparison for claim in found if claim.comparison] == ["new oil"]
    assert found[0].power == pytest.approx(power(PLACE * math.sqrt(2.0 / 4.0), 4), rel=1e-6)
    laid = promise.of_response([chosen.main(asked).strata], asked.response("fe_ppm"))[0]
    assert laid.units == ("run",) and len(laid.runs) == 8


def test_without_a_guess_between_runs_oils_are_not_promised() -> None:
    """The guess that is there is of positions within a run; what is missing is named."""
    asked = rings.brief()
    alone = replace(asked, scatter=replace(asked.scatter, declared_run_cv_pct=None))
    known = scatter.known(alone, "ring_loss_mg")
    assert known.notes[-1] == (
        "ring_loss_mg: the guess is of positions within a run; for what is changed with the run give "
        "declared_run_cv_pct in [scatter] too."
    )
    claims = {claim.comparison: claim for claim in promise.claims([chosen.main(alone)], known)[0]}
    assert claims["new oil"].power is None
    assert claims["new oil"].note == "the scatter between runs is not known"
    assert claims["coating one"].power is not None


def test_prices_by_the_position() -> None:
    """Eight runs: 32 rings, 8 of them coated; 5 % lost runs take 1 / 0.95 attempts."""
    found = money.of_items(chosen.main(rings.brief())).set_index("what")
    assert found["count"].tolist() == [8.0, 32.0, 8.0]
    assert found.loc["ring and its measuring", "cost"] == pytest.approx(32.0 / 0.95 * 90.0)
    assert found.loc["coating", "cost_as_planned"] == 8.0 * 60.0


def test_plans_side_by_side() -> None:
    """Replicates from 2 up, four runs each; what one set of runs tells of coatings and of the oil."""
    asked = rings.brief()
    asked = replace(asked, cost=replace(asked.cost, budget=200_000.0))
    found = options.options(asked, [scatter.known(asked, "ring_loss_mg")])
    assert found.options[0].design.runs == 8
    assert all(option.design.runs % 4 == 0 for option in found.options)
    with pytest.raises(SizingError, match="budget"):
        options.options(replace(asked, cost=replace(asked.cost, budget=10.0)), found.scatters)
