"""Values between two ends where builds or fills are units: intervals hold wherever the values lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit import briefs
from toolkit.brief.model import Response
from toolkit.design import factorial
from toolkit.errors import ModelError
from toolkit.model import comparisons
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
    with pytest.raises(ModelError, match=r"7 values are only known to lie between two ends; up to 6 are covered"):
        with_limit(BRIEF, records(tuple(range(7))), Y)
    table = records((2,))
    table[f"{Y}_at_least"] = np.nan
    with pytest.raises(ModelError, match="values below a limit are not covered where builds are the units of a factor"):
        with_limit(BRIEF, table, Y)


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
