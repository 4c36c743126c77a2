"""What must hold of any answers, whatever the runs: drawn layouts, whole and with runs lost, builds as blocks or units.

Order of rows, names, units and reference levels: tests/unit/model/test_invariance.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit import briefs
from toolkit.brief.model import Factor, Level, Response
from toolkit.design import factorial, strata
from toolkit.model import anova
from toolkit.model.agreement import agreement
from toolkit.model.comparisons import comparisons, means
from toolkit.model.fit import of_strata
from toolkit.numeric import censored, mixed_layout, reml

FEW = settings(max_examples=6, deadline=None, derandomize=True)
Y = "elongation_um"
LINEAR = Response(Y, scale="linear", worthwhile_change=0.5)
LAID = st.tuples(
    st.integers(0, 10_000), st.sampled_from(["blocks", "units", "randomised"]), st.sets(st.integers(0, 11), max_size=3)
)


def brief_of(kind):
    """A brief of twelve runs or more, its builds blocks, units or neither."""
    made = {
        "blocks": briefs.blocked(responses=(LINEAR,)),
        "units": briefs.whole_plots(responses=(LINEAR,)),
        "randomised": briefs.randomised(responses=(LINEAR,)),
    }
    return made[kind]


def drawn(layout, *, change=lambda y: y, rename=lambda runs: runs, brief=None):
    """A fit of drawn values with a scatter between builds, some runs lost."""
    seed, kind, lost = layout
    brief = brief or brief_of(kind)
    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    draw = np.random.default_rng(seed)
    codes = pd.factorize(runs["build_id"])[0]
    y = 3.0 + draw.normal(size=codes.max() + 1)[codes] + draw.normal(size=len(runs))
    kept = [at for at in range(len(runs)) if at not in lost]
    laid = strata.of_runs(brief, rename(runs.iloc[kept].reset_index(drop=True)))
    return of_strata(brief, brief.responses[0], laid, change(y[kept]))


def numbers(table, *names):
    """Columns of a table as one list, None kept."""
    return [None if pd.isna(one) else float(one) for name in names for one in table[name]]


def alike(one, other, rel=1e-6):
    """True when two lists of numbers are the same within rounding, and lack the same ones."""
    return all(
        (a is None) == (b is None) and (a is None or b == pytest.approx(a, rel=rel, abs=1e-9))
        for a, b in zip(one, other, strict=True)
    )


@FEW
@given(LAID)
def test_every_interval_holds_its_estimate_and_agrees_with_its_p(layout):
    fit = drawn(layout)
    rows = comparisons(fit)
    assert len(rows) == len(fit.brief.comparisons)
    for row in rows.to_dict("records"):
        if row["conf_low"] is None:
            assert row["p_value"] is None and row["note"]
            continue
        assert row["conf_low"] <= row["estimate"] <= row["conf_high"]
        assert (row["p_value"] < 1.0 - row["conf_level"]) == (row["conf_low"] > 0.0 or row["conf_high"] < 0.0)
        assert 0.0 <= row["p_value"] <= 1.0


@FEW
@given(LAID, st.sampled_from([1e3, 1e6]))
def test_a_shift_of_all_values_moves_no_difference(layout, shift):
    one, other = drawn(layout), drawn(layout, change=lambda y: y + shift)
    columns = ("estimate", "std_error", "df", "conf_low", "conf_high", "p_value")
    assert alike(numbers(comparisons(one), *columns), numbers(comparisons(other), *columns))
    assert alike(numbers(anova.table(one), "f", "p_value"), numbers(anova.table(other), "f", "p_value"))
    moved = [value - shift for value in numbers(means(other), "estimate")]
    assert alike(numbers(means(one), "estimate"), moved)


@FEW
@given(LAID)
def test_a_mirror_image_of_the_values_turns_every_answer_round(layout):
    one, other = comparisons(drawn(layout)), comparisons(drawn(layout, change=lambda y: 10.0 - y))
    assert alike(numbers(one, "estimate"), [None if v is None else -v for v in numbers(other, "estimate")])
    assert alike(numbers(one, "conf_low"), [None if v is None else -v for v in numbers(other, "conf_high")])
    assert alike(numbers(one, "p_value", "df"), numbers(other, "p_value", "df"))


@FEW
@given(LAID)
def test_factors_in_another_order_leave_type_ii_as_it_is(layout):
    brief = brief_of(layout[1])
    turned = briefs.replace(brief, factors=brief.factors[::-1])
    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    kept = runs[[at not in layout[2] for at in range(len(runs))]].reset_index(drop=True)
    y = np.random.default_rng(layout[0]).normal(size=len(kept))
    tables = [
        anova.table(of_strata(item, LINEAR, strata.of_runs(item, kept), y)) for item in (brief, turned)
    ]
    first, second = ({frozenset(row["term"].split(" × ")): row for row in t.to_dict("records")} for t in tables)
    assert first.keys() == second.keys()
    for term, row in first.items():
        assert alike([row["f"], row["p_value"]], [second[term]["f"], second[term]["p_value"]])


@FEW
@given(LAID)
def test_names_of_builds_and_runs_say_nothing(layout):
    def rename(runs):
        """Other names in another alphabetical order."""
        return runs.assign(
            build_id=runs["build_id"].map({name: f"z{99 - at}" for at, name in enumerate(runs["build_id"].unique())}),
            run_id=[f"{99 - at:02d}" for at in range(len(runs))],
        )

    columns = ("estimate", "conf_low", "p_value")
    one, other = comparisons(drawn(layout)), comparisons(drawn(layout, rename=rename))
    assert alike(numbers(one, *columns), numbers(other, *columns))


@FEW
@given(st.integers(0, 10_000), st.integers(2, 4), st.integers(2, 4))
def test_the_mean_of_stations_is_the_nested_test(seed, runs, stations):
    # Balanced: F of the coatings over the scatter between runs, stations within runs or their means (textbook).
    draw = np.random.default_rng(seed)
    y = draw.normal(size=(2, runs, 1)) + draw.normal(size=(2, runs, stations))
    between = runs * stations * ((y.mean(axis=(1, 2)) - y.mean()) ** 2).sum()
    within = stations * ((y.mean(axis=2) - y.mean(axis=(1, 2))[:, None]) ** 2).sum() / (2 * (runs - 1))
    coating = Factor("coating", "part", (Level("C0"), Level("C1")))
    brief = briefs.randomised(factors=(coating,), responses=(LINEAR,), comparisons=())
    table = pd.DataFrame({"build_id": "B1", "coating": np.repeat(["C0", "C1"], runs)})
    found = anova.table(of_strata(brief, LINEAR, strata.of_runs(brief, table), y.mean(axis=2).ravel()))
    assert found.set_index("term").loc["coating", "f"] == pytest.approx(between / within, rel=1e-9)


@FEW
@given(st.integers(0, 10_000), st.sets(st.integers(0, 23), max_size=5), st.sampled_from([1e-3, 7.0, 1e5]))
def test_variances_go_with_the_square_of_the_unit(seed, lost, unit):
    kept = [at for at in range(24) if at not in lost]
    build = np.repeat(np.arange(8), 3)
    columns = np.column_stack([np.ones(24), build % 2])
    draw = np.random.default_rng(seed)
    y = draw.normal(size=8)[build] + draw.normal(size=24)
    laid = mixed_layout.layout_of(columns[kept], {"build": build[kept].tolist()})
    one, other = reml.fit(laid, y[kept]), reml.fit(laid, unit * y[kept] + 3.0 * unit)
    assert other.variances / unit**2 == pytest.approx(one.variances, rel=1e-6, abs=1e-9)
    assert other.at_zero.tolist() == one.at_zero.tolist()


@FEW
@given(st.integers(0, 10_000), st.sampled_from([0.1, 30.0]))
def test_censored_limits_go_with_the_unit(seed, unit):
    draw = np.random.default_rng(seed)
    x = np.column_stack([np.ones(12), np.repeat([0.0, 1.0], 6)])
    y = draw.normal(size=12)
    limit = np.sort(y)[2]
    below = y <= limit
    y = np.maximum(y, limit)
    row = np.array([0.0, 1.0])
    one = censored.limits(x, y, below, row, level=0.95, df=10)
    other = censored.limits(x, unit * y, below, row, level=0.95, df=10)
    first, second = (one.estimate, one.low, one.high), (other.estimate, other.low, other.high)
    assert alike(first, [None if value is None else value / unit for value in second], rel=1e-4)


@FEW
@given(st.integers(0, 10_000))
def test_the_agreement_of_two_responses_has_no_order_and_no_unit(seed):
    other = Response("fe_ppm", role="secondary", scale="linear", worthwhile_change=0.5)
    brief = briefs.blocked(responses=(LINEAR, other))
    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    draw = np.random.default_rng(seed)
    laid, values = strata.of_runs(brief, runs), draw.normal(size=(2, len(runs)))
    one, two = (of_strata(brief, item, laid, y) for item, y in zip(brief.responses, values, strict=True))
    scaled = of_strata(brief, other, laid, 40.0 * values[1] + 5.0)
    columns = ("correlation", "conf_low", "conf_high")
    first = numbers(agreement([one, two]), *columns)
    assert alike(first, numbers(agreement([two, one]), *columns))
    assert alike(first, numbers(agreement([one, scaled]), *columns))
