"""Comparisons with values below a limit: equal to the plain ones when nothing is below, and what they say else."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import Response
from toolkit.design import factorial
from toolkit.errors import ModelError
from toolkit.model import comparisons
from toolkit.model.below_limit import comparisons as with_limit
from toolkit.model.below_limit import has_any
from toolkit.model.fit import fit

Y = "fe_ppm"
BRIEF = briefs.blocked(responses=(Response(Y, per_run="end", worthwhile_change_pct=20.0),))


def runs(limit=0.0, seed=2, effect=-0.4):
    """Iron of twelve runs, INVENTED, with what lies below a limit marked."""
    table = factorial.full(BRIEF).table
    draw = np.random.default_rng(seed)
    value = np.exp(3.0 + effect * (table["pin"] == "P1") + draw.normal(0.0, 0.15, 12))
    table["run_id"] = [f"R{at + 1:02d}" for at in range(12)]
    table[Y] = np.maximum(value, limit)
    table[f"{Y}_below_limit"] = value < limit
    return table


def test_when_nothing_is_below_it_is_the_plain_analysis():
    plain = comparisons.comparisons(fit(BRIEF, runs(), Y)).set_index("comparison")
    found = with_limit(BRIEF, runs(), Y).comparisons.set_index("comparison")
    for name in ("coating", "both", "together"):
        for column in ("estimate", "conf_low", "conf_high", "change_pct"):
            assert found.loc[name, column] == pytest.approx(plain.loc[name, column], rel=1e-6)
        # A bootstrap of 1,999 draws: within 4 standard errors of the exact p.
        p = plain.loc[name, "p_value"]
        assert abs(found.loc[name, "p_value"] - p) <= 1 / 2000 + 4 * np.sqrt(p * (1 - p) / 1999)


def test_values_below_the_limit_widen_the_interval_and_are_named():
    table = runs(limit=13.0)
    below = list(table["run_id"][table[f"{Y}_below_limit"]])
    assert 2 <= len(below) <= 4
    found = with_limit(BRIEF, table, Y)
    assert found.below == tuple(below)
    assert found.notes[0] == (
        f"{len(below)} of 12 values lie below their limit ({', '.join(below)}): they count as 'at most the limit', and "
        "no number is put in their place"
    )
    row = found.comparisons.set_index("comparison").loc["coating"]
    plain = comparisons.comparisons(fit(BRIEF, runs(), Y)).set_index("comparison").loc["coating"]
    assert row["conf_low"] < row["estimate"] < row["conf_high"]
    assert np.log(row["conf_high"] / row["conf_low"]) > np.log(plain["conf_high"] / plain["conf_low"])
    # Half the limit or the limit itself in their place gives other answers; the truth is a fall to 67 %.
    assert row["conf_low"] < np.exp(-0.4) < row["conf_high"]
    assert row["note"] == "likelihood with values below their limit"


def test_only_valid_runs_of_phases_that_count_call_for_the_likelihood():
    table = runs(limit=13.0).assign(phase="main", verdict="valid")
    mark = table[f"{Y}_below_limit"]
    assert has_any(BRIEF, table, Y)
    assert not has_any(BRIEF, runs(), Y)
    assert not has_any(BRIEF, table.assign(verdict=np.where(mark, "invalid", "valid")), Y)
    assert not has_any(BRIEF, table.assign(phase=np.where(mark, "pilot", "main")), Y)
    assert not has_any(BRIEF, table.drop(columns=f"{Y}_below_limit"), Y)


def test_the_same_numbers_come_again_and_the_order_of_runs_does_not_matter():
    table = runs(limit=13.0)
    one = with_limit(BRIEF, table, Y).comparisons
    again = with_limit(BRIEF, table.iloc[::-1], Y).comparisons
    assert list(one["estimate"]) == pytest.approx(list(again["estimate"]), rel=1e-8)
    assert list(one["conf_low"]) == pytest.approx(list(again["conf_low"]), rel=1e-6)


def test_what_is_known_to_lie_between_two_ends_counts_as_that_interval():
    table = runs()
    value = table[Y].to_numpy()
    table[f"{Y}_at_least"] = np.nan
    # Zero-hour samples below a limit of 0.02: the interval is so narrow that it is a value.
    table.loc[[0, 5], f"{Y}_below_limit"] = True
    table.loc[[0, 5], f"{Y}_at_least"] = value[[0, 5]] - 0.02
    found = with_limit(BRIEF, table, Y)
    assert found.below == () and found.between == ("R01", "R06")
    plain = comparisons.comparisons(fit(BRIEF, runs(), Y)).set_index("comparison").loc["coating"]
    row = found.comparisons.set_index("comparison").loc["coating"]
    for column in ("estimate", "conf_low", "conf_high"):
        assert row[column] == pytest.approx(plain[column], rel=1e-3)
    assert found.notes[0] == (
        "2 of 12 values are only known to lie between two ends (R01, R06), because the zero-hour sample is below its "
        "limit: they count as that interval"
    )
    # A wide interval says less.
    table.loc[[0, 5], f"{Y}_at_least"] = 0.3 * value[[0, 5]]
    wide = with_limit(BRIEF, table, Y).comparisons.set_index("comparison").loc["coating"]
    assert np.log(wide["conf_high"] / wide["conf_low"]) > 1.02 * np.log(row["conf_high"] / row["conf_low"])


def test_means_are_those_of_the_likelihood_and_the_error_is_its_own():
    found = with_limit(BRIEF, runs(), Y)
    plain = fit(BRIEF, runs(), Y)
    own = comparisons.means(plain)
    for column in ("estimate", "conf_low", "conf_high"):
        assert list(found.means[column]) == pytest.approx(list(own[column]), rel=1e-6)
    assert list(found.means["levels"]) == list(own["levels"]) and list(found.means["runs"]) == list(own["runs"])
    assert found.fit.mean_squares["run"] == (pytest.approx(plain.mean_squares["run"][0], rel=1e-8), 6)
    cut = with_limit(BRIEF, runs(limit=13.0), Y)
    medians = cut.means.set_index("contrast")
    assert medians.loc["pin P1, oil O0", "estimate"] < own.set_index("contrast").loc["pin P0, oil O0", "estimate"]


def test_a_level_that_is_always_below_has_a_bound_and_no_ratio():
    brief = briefs.blocked(
        responses=(Response(Y, per_run="end", worthwhile_change_pct=20.0),),
        factors=(briefs.factor("pin", "P0", "P1"),),
        comparisons=(briefs.Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),),
        block_by=None,
        plan=briefs.PlanChoice(replicates=6),
    )
    table = factorial.full(brief).table
    table["run_id"] = [f"R{at + 1:02d}" for at in range(12)]
    draw = np.random.default_rng(3)
    table[Y] = np.where(table["pin"] == "P1", 5.0, np.exp(3.0 + draw.normal(0.0, 0.1, 12)))
    table[f"{Y}_below_limit"] = table["pin"] == "P1"
    row = with_limit(brief, table, Y).comparisons.iloc[0]
    assert row["estimate"] is None and row["conf_low"] is None
    assert 0.2 < row["conf_high"] < 0.5
    assert row["p_value"] < 0.01
    assert row["note"] == (
        "likelihood with values below their limit; the lower end is open: what would close it lies below the limit; "
        "the end is held less well than 95 %: values below the limit; no ratio can be named, only its bound"
    )


def test_too_many_below_and_whole_plots_are_refused():
    table = runs(limit=25.0)
    below = int(table[f"{Y}_below_limit"].sum())
    assert below > 6
    with pytest.raises(ModelError) as stopped:
        with_limit(BRIEF, table, Y)
    assert str(stopped.value) == (
        f"fe_ppm: {below} of 12 values lie below their limits, which is too many to compare treatments by (7 must lie "
        "above). Ask the laboratory for a lower limit, or answer from the other responses."
    )
    brief = briefs.whole_plots(responses=(Response(Y, per_run="end", worthwhile_change_pct=20.0),))
    table = factorial.full(brief).table
    table["run_id"] = [f"R{at}" for at in range(16)]
    table[Y], table[f"{Y}_below_limit"] = np.linspace(3.0, 9.0, 16), np.arange(16) < 2
    with pytest.raises(ModelError) as stopped:
        with_limit(brief, table, Y)
    assert str(stopped.value) == (
        "fe_ppm: values below a limit are not covered where builds are the units of a factor: on the log scale such a "
        "value can lie any way down, and the scatter grows with it as fast as the estimate, so that an interval that "
        "holds for all has no end on either side. Ask the laboratory for the number behind the '<' or a repeat with a "
        "lower limit."
    )
