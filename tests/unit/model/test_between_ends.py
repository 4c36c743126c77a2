"""Values between two ends where builds or fills are units: intervals hold wherever the values lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import PlanChoice, Response
from toolkit.design import factorial, questions, strata
from toolkit.errors import ModelError
from toolkit.model import _widest_ends as widest_ends
from toolkit.model import comparisons
from toolkit.model._estimates import of_row
from toolkit.model.below_limit import comparisons as with_limit
from toolkit.model.fit import fit

Y = "fe_ppm"
BRIEF = briefs.whole_plots(responses=(Response(Y, worthwhile_change_pct=20.0),))


def records(between: tuple[int, ...] = (), *, share: float = 0.9):
    """Sixteen runs in eight builds; some known to lie between a share of their value and the value."""
    table = factorial.full(BRIEF).table
    draw = np.random.default_rng(8)
    own = draw.normal(0.0, 0.1, 8)[table["build_id"].str[1:].astype(int) - 1] + draw.normal(0.0, 0.05, len(table))
    table[Y] = np.exp(3.0 + own - 0.3 * (table["oil"] == "O1"))
    table["run_id"] = [f"R{at + 1:02d}" for at in range(len(table))]
    table[f"{Y}_below_limit"] = [at in between for at in range(len(table))]
    table[f"{Y}_at_least"] = np.where(table[f"{Y}_below_limit"], share * table[Y], np.nan)
    return table


def test_intervals_hold_wherever_the_values_lie_and_are_reached_at_their_ends():
    table = records((2, 9))
    found = with_limit(BRIEF, table, Y)
    assert found.between == ("R03", "R10") and found.below == ()
    plain = records()
    high, steps = plain[Y].to_numpy(), np.linspace(0.9, 1.0, 5)
    tried = []
    for one in steps:
        for two in steps:
            values = high.copy()
            values[2], values[9] = one * high[2], two * high[9]
            tried.append(comparisons.comparisons(fit(BRIEF, plain.assign(**{Y: values}), Y)))
    for at, row in enumerate(found.comparisons.to_dict("records")):
        assert row["conf_low"] == pytest.approx(min(one["conf_low"][at] for one in tried), rel=1e-12)
        assert row["conf_high"] == pytest.approx(max(one["conf_high"][at] for one in tried), rel=1e-12)
        assert row["std_error"] is None
        assert row["note"].endswith("holds wherever R03, R10 lie between the two ends")
    middle = high.copy()
    middle[[2, 9]] *= 0.9**0.5
    told = comparisons.comparisons(fit(BRIEF, plain.assign(**{Y: middle}), Y))
    assert found.comparisons["estimate"].tolist() == pytest.approx(told["estimate"].tolist(), rel=1e-12)
    assert found.notes[-1] == (
        "2 of 16 values are only known to lie between two ends (R03, R10), because the zero-hour sample is below its "
        "limit: estimates rest on the middle, intervals hold wherever they lie"
    )


def test_what_is_not_covered_says_why():
    table = records((2,))
    table[f"{Y}_at_least"] = np.nan
    with pytest.raises(ModelError, match="values below a limit are not covered where builds are the units of a factor"):
        with_limit(BRIEF, table, Y)


def test_on_the_log_scale_an_interval_that_holds_wherever_a_value_lies_has_no_end():
    table = records()
    told = []
    for low in (1e-3, 1e-9, 1e-27):
        values = table[Y].to_numpy().copy()
        values[2] = low
        told.append(comparisons.comparisons(fit(BRIEF, table.assign(**{Y: values}), Y)))
    for at, row in enumerate(told[0]["comparison"]):
        lows, highs = ([float(one[name][at]) for one in told] for name in ("conf_low", "conf_high"))
        assert lows[0] > 3 * lows[1] > 9 * lows[2] and highs[2] > 3 * highs[1] > 9 * highs[0], row


def test_a_concentration_below_its_limit_lies_between_nought_and_the_limit_on_the_linear_scale():
    linear = replace(BRIEF, responses=(Response(Y, per_run="end", scale="linear", worthwhile_change=3.0),))
    table = records((2, 9)).drop(columns=f"{Y}_at_least")
    found = with_limit(linear, table, Y)
    assert (found.between, found.below) == (("R03", "R10"), ())
    plain, high = records(), table[Y].to_numpy()
    tried = []
    for one in np.linspace(0.0, 1.0, 5):
        for two in np.linspace(0.0, 1.0, 5):
            values = high.copy()
            values[2], values[9] = one * high[2], two * high[9]
            tried.append(comparisons.comparisons(fit(linear, plain.assign(**{Y: values}), Y)))
    for at, row in enumerate(found.comparisons.to_dict("records")):
        assert row["conf_low"] == pytest.approx(min(one["conf_low"][at] for one in tried), rel=1e-12)
        assert row["conf_high"] == pytest.approx(max(one["conf_high"][at] for one in tried), rel=1e-12)
    assert found.notes[-1] == (
        "2 of 16 values are only known to lie between two ends (R03, R10), because they are below their limit and not "
        "below nought: estimates rest on the middle, intervals hold wherever they lie"
    )
    # An increase can be below nought, by as much as the zero-hour sample had.
    grown = replace(linear, responses=(replace(linear.responses[0], per_run="increase"),))
    with pytest.raises(ModelError) as told:
        with_limit(grown, table, Y)
    assert str(told.value) == (
        "fe_ppm: values below a limit are not covered where builds are the units of a factor: nothing says how far "
        "down such a value can lie. Ask the laboratory for the number behind the '<' or a repeat with a lower limit."
    )


def test_kept_fills_are_answered_too():
    brief = replace(
        briefs.blocked(new_each_run=("part",)), responses=(Response(Y, worthwhile_change_pct=20.0),), pilot=None
    )
    table = factorial.full(brief).table
    table[Y] = np.exp(3.0 + np.random.default_rng(2).normal(0.0, 0.1, len(table)))
    table["run_id"] = [f"R{at + 1:02d}" for at in range(len(table))]
    table[f"{Y}_below_limit"] = [at == 4 for at in range(len(table))]
    table[f"{Y}_at_least"] = [value - 0.5 if at == 4 else np.nan for at, value in enumerate(table[Y])]
    found = with_limit(brief, table, Y).comparisons
    plain = comparisons.comparisons(fit(brief, table.drop(columns=f"{Y}_below_limit"), Y))
    assert found["conf_low"].notna().all()
    assert all(one <= other for one, other in zip(found["conf_low"], plain["conf_low"], strict=True))
    assert found["error_stratum"].tolist() == plain["error_stratum"].tolist()


def test_many_values_are_held_by_a_bound_that_no_values_leave():
    every = tuple(range(16))
    table = records(every, share=0.99)
    found = with_limit(BRIEF, table, Y)
    assert found.between == tuple(f"R{at + 1:02d}" for at in every)
    plain, high = records(), records()[Y].to_numpy()
    draw = np.random.default_rng(4)
    # Drawn values within the ends, and draws of the ends themselves, which reach further.
    shares = np.vstack([draw.uniform(0.99, 1.0, (5, 16)), draw.choice([0.99, 1.0], (20, 16))])
    tried = [fit(BRIEF, plain.assign(**{Y: high * share}), Y) for share in shares]
    for table_of, own in ((comparisons.comparisons, found.comparisons), (comparisons.means, found.means)):
        tables = [table_of(one) for one in tried]
        middle = table_of(fit(BRIEF, plain.assign(**{Y: high * 0.99**0.5}), Y))
        for at, row in enumerate(own.to_dict("records")):
            assert row["conf_low"] < min(one["conf_low"][at] for one in tables)
            assert row["conf_high"] > max(one["conf_high"][at] for one in tables)
            assert row["estimate"] == pytest.approx(middle["estimate"][at], rel=1e-12)
            # 1 % between the ends widens an interval by little more than that.
            assert row["conf_low"] > 0.95 * middle["conf_low"][at] and row["std_error"] is None
    for at, row in enumerate(found.comparisons.to_dict("records")):
        assert row["p_value"] >= max(comparisons.comparisons(one)["p_value"][at] for one in tried)
        assert row["change_low_pct"] == pytest.approx(100.0 * (row["conf_low"] - 1.0), rel=1e-12)
    assert found.comparisons["note"].iloc[0].endswith("R15, R16 lie between the two ends")


def test_of_few_values_the_bound_is_little_wider_than_the_ends_themselves():
    table = records((2, 9), share=0.99)
    exact = with_limit(BRIEF, table, Y).comparisons
    middle = records()[Y].to_numpy().copy()
    middle[[2, 9]] *= 0.99**0.5
    made = fit(BRIEF, records().assign(**{Y: middle}), Y)
    half = np.where(np.isin(np.arange(16), (2, 9)), -0.5 * np.log(0.99), 0.0)
    for item, row in zip(BRIEF.comparisons, exact.to_dict("records"), strict=True):
        one = widest_ends.estimate(made, questions.of_comparison(BRIEF, item, made.strata.terms).row, half)
        for low, high in ((one.low, np.log(row["conf_low"])), (-one.high, -np.log(row["conf_high"]))):
            assert low <= high + 1e-12
            assert low == pytest.approx(high, abs=0.004)
        assert one.p_value >= row["p_value"] * (1.0 - 1e-9)


def test_the_bound_holds_too_where_a_stratum_has_few_degrees_of_freedom():
    # Two df of builds beside many of runs, of about one scatter: judged by Cochran and Cox's weighted t.
    table = factorial.full(BRIEF, builds=4, replicates=4).table
    table["run_id"] = [f"R{at + 1:02d}" for at in range(len(table))]
    table[Y] = np.exp(3.0 + np.random.default_rng(3).normal(0.0, 0.1, len(table)))
    made = fit(BRIEF, table, Y)
    assert (made.mean_squares["build"][1], made.mean_squares["run"][1]) == (2, 26)
    row = questions.of_comparison(BRIEF, BRIEF.comparisons[2], made.strata.terms).row
    plain = of_row(made, row)
    # Nothing open: the interval itself.
    same = widest_ends.estimate(made, row, np.zeros(len(table)))
    assert (same.low, same.high, same.df) == pytest.approx((plain.low, plain.high, plain.df), rel=1e-9)
    half = np.full(len(table), 0.01)
    bound = widest_ends.estimate(made, row, half)
    draw = np.random.default_rng(5)
    for _ in range(20):
        moved = table.assign(**{Y: table[Y] * np.exp(draw.choice([-1.0, 1.0], len(table)) * half)})
        tried = of_row(fit(BRIEF, moved, Y), row)
        assert bound.low < tried.low and tried.high < bound.high and bound.df <= tried.df


def test_the_level_of_all_runs_moves_with_the_ends():
    # All values may lie 0.1 % higher: a level goes up by as much, which is more than the scatter widens its interval.
    brief = briefs.randomised(responses=(Response(Y, worthwhile_change_pct=20.0),), plan=PlanChoice(replicates=20))
    table = factorial.full(brief).table
    table["run_id"] = [f"R{at + 1:02d}" for at in range(len(table))]
    table[Y] = np.exp(3.0 + np.random.default_rng(3).normal(0.0, 0.1, len(table)))
    made, higher = (fit(brief, table.assign(**{Y: times * table[Y]}), Y) for times in (1.0, np.exp(0.001)))
    row = np.eye(made.strata.columns.shape[1])[0]
    bound, one = widest_ends.estimate(made, row, np.full(len(table), 0.001)), of_row(higher, row)
    assert bound.low < of_row(made, row).low and bound.high > one.high
    assert bound.high - of_row(made, row).high > 0.001


def test_the_bound_holds_where_the_open_ends_are_wider_than_the_scatter():
    # Runs that agree to a millionth, each open by 5 % to either side: the scatter comes from the ends alone.
    table = factorial.full(BRIEF, builds=4, replicates=2).table
    table["run_id"] = [f"R{at + 1:02d}" for at in range(len(table))]
    draw = np.random.default_rng(8)
    noise = draw.normal(0.0, 1e-6, len(table))
    made = fit(BRIEF, table.assign(**{Y: np.exp(3.0 + noise)}), Y)
    row = questions.of_comparison(BRIEF, BRIEF.comparisons[2], made.strata.terms).row
    bound = widest_ends.estimate(made, row, np.full(len(table), 0.05))
    for _ in range(20):
        ends = 0.05 * draw.choice([-1.0, 1.0], len(table))
        one = of_row(fit(BRIEF, table.assign(**{Y: np.exp(3.0 + noise + ends)}), Y), row)
        assert bound.low < one.low and one.high < bound.high


def test_many_values_in_builds_that_lost_a_run_are_refused():
    table = records(tuple(range(7))).drop(index=15)
    with pytest.raises(ModelError) as stopped:
        with_limit(BRIEF, table, Y)
    laid = strata.of_runs(BRIEF, table)
    assert str(stopped.value) == (
        f"fe_ppm: 7 values are only known to lie between two ends, and {laid.unbalanced}; up to 6 are covered there. "
        "Ask the laboratory for the number behind the '<'."
    )
