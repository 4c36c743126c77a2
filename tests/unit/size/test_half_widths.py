"""Half-widths with runs lost: factors told beforehand, scipy's t on runs fitted anew, the dearest run by going through.

Factors of 2 x 2 plans of 8, 12 and 16 runs in builds of 4 (one run lost 1.56, 1.13, 1.07; two, on average over the ways
that leave an interval, 5.3, 1.35, 1.17) were told before this was written.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_promise import ONE, scatter
from tests.unit.size.test_promise_of_runs import built
from toolkit.brief.model import PlanChoice
from toolkit.design import factorial, phases
from toolkit.size import losing_runs
from toolkit.size.half_widths import half_widths


@pytest.mark.parametrize(("builds", "one", "two"), [(2, 1.56, 5.3), (3, 1.13, 1.35), (4, 1.07, 1.17)])
def test_the_factors_told_beforehand(builds, one, two):
    laid = factorial.full(briefs.blocked(plan=PlanChoice(builds=builds))).strata
    row = half_widths(laid, range(4 * builds)).iloc[0]
    assert row["every_run"] == pytest.approx(stats.t.ppf(0.975, 3 * (builds - 1)) * np.sqrt(1 / builds))
    assert round(row["one_lost"] / row["every_run"], 2) == one
    assert round(row["two_lost"] / row["every_run"], 2 if builds > 2 else 1) == two
    # Of 28 ways to lose two of eight runs four leave nothing to tell it by.
    assert row["untold_after_two"] == pytest.approx(4 / 28 if builds == 2 else 0.0)
    assert (row["told_in"], row["dearest_run"], row["untold_after_one"]) == ("error SDs", "", 0.0)


def test_the_dearest_run_is_found_by_going_through_all():
    laid = factorial.full(briefs.blocked()).strata
    row = half_widths(laid, range(12)).set_index("comparison").loc["both"]
    columns, widths = laid.full_columns, []
    asked = np.append(laid.columns[laid.runs["pin"].eq("P1") & laid.runs["oil"].eq("O1")][0], [0, 0])
    asked = asked - np.append(laid.columns[laid.runs["pin"].eq("P0") & laid.runs["oil"].eq("O0")][0], [0, 0])
    for lost in range(12):
        left = np.delete(columns, lost, axis=0)
        widths.append(stats.t.ppf(0.975, 5) * np.sqrt(asked @ np.linalg.inv(left.T @ left) @ asked))
    assert row["dearest_lost"] == pytest.approx(max(widths))
    assert row["one_lost"] == pytest.approx(np.mean(widths))
    assert sum(width > max(widths) - 1e-9 for width in widths) == 6
    assert row["dearest_run"] == "pin P0, oil O0, build B1, or one of 5 alike"
    assert widths[0] == pytest.approx(max(widths))


def test_a_known_scatter_tells_widths_as_ratios():
    laid = factorial.full(ONE, builds=3).strata
    row = half_widths(laid, range(12), scatter(ONE, sd=0.13)).iloc[0]
    width = stats.t.ppf(0.975, 6) * 0.13 * np.sqrt(1 / 3)
    assert (row["told_in"], row["response"]) == ("ratio", ONE.responses[0].name)
    assert row["every_run"] == pytest.approx(np.exp(width))
    assert row["one_lost"] == pytest.approx(np.exp(width * 1.1347142), rel=1e-6)


def test_whole_plots_are_told_by_their_strata_and_after_losses_by_kenward_and_roger():
    brief = briefs.whole_plots()
    laid = factorial.full(brief, builds=8).strata
    table = half_widths(laid, range(16), built(brief)).set_index("comparison")
    # Eight builds of two runs, SD .08 between builds and .12 within: textbook split-plot variances.
    assert np.log(table.loc["oil", "every_run"]) == pytest.approx(stats.t.ppf(0.975, 6) * np.sqrt(2 * 0.12**2 / 8))
    between = 2 * (0.08**2 + 0.12**2 / 2) / 4
    assert np.log(table.loc["sprocket", "every_run"]) == pytest.approx(stats.t.ppf(0.975, 6) * np.sqrt(between))
    # A build with one run left tells nothing of the oil within it: as with seven whole builds, or a little better.
    seven = stats.t.ppf(0.975, 5) * np.sqrt(2 * 0.12**2 / 7)
    lost = np.log(table.loc["oil", "one_lost"])
    assert np.log(table.loc["oil", "every_run"]) < lost < 1.03 * seven
    assert (table.loc["oil", "untold_after_one"], table.loc["oil", "error_stratum"]) == (0.0, "run")
    plain = half_widths(laid, range(16)).set_index("comparison")
    assert plain.loc["oil", "note"] == "what lost runs do to it is told once the scatter between units is known"
    assert plain.loc["oil", "every_run"] == pytest.approx(stats.t.ppf(0.975, 6) / 2)
    assert plain.loc["both", "every_run"] is None


def test_ways_that_are_alike_do_the_same_harm():
    laid = factorial.full(briefs.whole_plots(), builds=8).strata
    marks = losing_runs.alike(laid, [(run,) for run in range(16)])
    table = half_widths(laid, range(16), built(briefs.whole_plots()))
    assert len(set(marks)) == 4
    assert table["untold_after_one"].tolist() == [0.0] * len(table)


def test_of_a_pilot_that_counts_only_the_runs_of_the_plan_are_lost():
    two = ({"pin": "P0", "oil": "O0"}, {"pin": "P1", "oil": "O0"})
    brief = briefs.replace(ONE, pilot=briefs.Pilot(two, 2, 1, "block"))
    pilot = factorial.pilot(brief).table.assign(phase="pilot")
    main = factorial.full(brief, builds=2)
    together = phases.strata_together(brief, pd.concat([pilot, main.table.assign(phase="main")], ignore_index=True))
    own = losing_runs.own_runs(together, main)
    assert own.tolist() == list(range(4, 12))
    row = half_widths(together, own).iloc[0]
    alone = half_widths(main.strata, range(8)).iloc[0]
    assert row["every_run"] < alone["every_run"] and row["one_lost"] < alone["one_lost"]
    assert half_widths(together, range(12)).iloc[0]["one_lost"] != row["one_lost"]


def test_runs_that_leave_no_error_have_no_width():
    laid = factorial.full(briefs.blocked(plan=PlanChoice(builds=1))).strata
    row = half_widths(laid, range(4)).iloc[0]
    assert (row["every_run"], row["one_lost"], row["untold_after_one"]) == (None, None, 1.0)
    assert row["note"] == "no degrees of freedom are left to judge it by"
