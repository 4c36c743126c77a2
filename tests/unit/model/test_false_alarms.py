"""How often an interval excludes no change when there is none: in every stratum what is promised, by simulation."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import brief_of, runs_of, simple
from toolkit.brief.model import Comparison
from toolkit.design import questions
from toolkit.design.strata import Strata
from toolkit.model._estimates import covariance, of_row
from toolkit.model.fit import fit, of_strata


def bound(draws):
    """3.24 binomial standard errors of a share of 5 %: 1.6 % at 2 000 draws."""
    return 3.24 * np.sqrt(0.05 * 0.95 / draws)


@pytest.fixture(autouse=True)
def parts_worked_out_once(monkeypatch):
    """The error parts of a contrast follow from the design alone: once for all draws."""
    plain, known = Strata.parts, {}

    def parts(self, row):
        key = (id(self), row.tobytes())
        if key not in known:
            known[key] = plain(self, row)
        return known[key]

    monkeypatch.setattr(Strata, "parts", parts)


ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("coating at O1", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O1"}),
         Comparison("needs", interaction=("pin", "oil"))]


def alarms(builds, *, draws, build_sd, one_pin=False, build_level=(), lost=(), block=None, told="build"):
    """The share of campaigns without effects in which each comparison is significant at 5 %.

    ``told`` is the column of builds that the analysis is told of; None hides them from it.
    """
    lines = [
        (f"B{at}", pin, oil)
        for at in range(builds)
        for pin in ((f"P{at % 2}",) if one_pin else ("P0", "P1"))
        for oil in ("O0", "O1")
    ]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).drop(index=list(lost)).reset_index(drop=True)
    data = data.assign(y=np.arange(len(data)) % 7.0)
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=build_level, block=block, comparisons=ASKED),
               runs_of(data, ["pin", "oil"], "y", build=told), "y")
    rows = [questions.of_comparison(made.brief, item, made.strata.terms).row for item in ASKED]
    draw = np.random.default_rng(20417)
    codes = pd.factorize(data["build"])[0]
    found = np.zeros(len(ASKED))
    for _ in range(draws):
        y = build_sd * draw.normal(size=builds)[codes] + draw.normal(size=len(data))
        again = of_strata(made.brief, made.response, made.strata, y)
        found += [of_row(again, row).p_value < 0.05 for row in rows]
    return dict(zip([item.name for item in ASKED], found / draws, strict=True))


def test_builds_as_units_in_both_strata_and_mixed():
    found = alarms(6, draws=2000, build_sd=1.0, one_pin=True, build_level=["pin"])
    assert found == {name: pytest.approx(0.05, abs=bound(2000)) for name in found}


def test_few_df_in_two_strata_are_judged_at_the_level_of_the_brief():
    """Four builds of two oils at alpha 0.1: half-width = each t(0.95) by its share (Cochran and Cox), by hand."""
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(4) for oil in ("O0", "O1", "O0", "O1")]
    values = np.random.default_rng(6).normal(size=16).round(2)
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=values)
    asked = [Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}), *ASKED[:2]]
    made = fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked, alpha=0.1),
               runs_of(data, ["pin", "oil"], "y", build="build"), "y")
    rows = [questions.of_comparison(made.brief, item, made.strata.terms).row for item in asked]
    one = of_row(made, rows[0])
    builds, runs = (made.mean_squares[name] for name in ("build", "run"))
    assert (builds[1], runs[1]) == (2, 10)
    shares = np.array([builds[0], runs[0]]) / 4.0
    assert one.std_error == pytest.approx(np.sqrt(shares.sum()))
    critical = shares @ [stats.t.isf(0.05, 2), stats.t.isf(0.05, 10)] / shares.sum()
    assert (one.high - one.low) / 2.0 == pytest.approx(critical * one.std_error, rel=1e-6)
    # Variances and covariances of contrasts: the diagonal is that of each alone, sums add up.
    spread = covariance(made, np.array(rows))
    assert np.sqrt(np.diag(spread)) == pytest.approx([of_row(made, row).std_error for row in rows])
    assert spread[0, 0] == pytest.approx(spread[1, 1] + spread[2, 2] + 2.0 * spread[1, 2])


def test_builds_as_blocks_with_two_lost_runs():
    found = alarms(3, draws=2000, build_sd=2.0, lost=(2, 9), block="build")
    assert found == {name: pytest.approx(0.05, abs=bound(2000)) for name in found}


def test_builds_taken_for_replicates_would_raise_false_alarms():
    # Campaigns with one pin a build, judged as if runs were independent because the builds were kept from the analysis:
    # the level is missed by far, so that the checks above can fail.
    found = alarms(6, draws=600, build_sd=2.0, one_pin=True, told=None)
    assert found["coating"] > 0.05 + 1.5 * bound(600)
