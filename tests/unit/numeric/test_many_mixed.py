"""Many data sets at once against mixed models fitted one after the other, whatever holes the layout has."""

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import kenward_roger, many_mixed, mixed_layout, noncentral, reml

BUILD, OIL = np.repeat(np.arange(8), 3), np.tile(np.arange(3), 8)
COATING = BUILD % 2
COLUMNS = np.column_stack(
    [np.ones(24), COATING, OIL == 1, OIL == 2, COATING * (OIL == 1), COATING * (OIL == 2)]
).astype(float)
ROWS = np.vstack([np.eye(6)[1:], np.eye(6)[1] + np.eye(6)[2]])
LOST = {"none": [], "one": [5], "a build": [0, 1, 2], "five": [3, 7, 11, 12, 20], "eight": [0, 4, 8, 9, 13, 16, 17, 21]}


def kept_of(lost):
    """The rows that are left."""
    return np.setdiff1d(np.arange(24), lost)


def drawn(rng, kept, between, sets):
    """Campaigns without effects: scatter between builds of a stated SD, 1 between runs."""
    return between * rng.normal(size=(sets, 8))[:, BUILD[kept]] + rng.normal(size=(sets, len(kept)))


@pytest.mark.parametrize("between", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("lost", LOST.values(), ids=LOST)
def test_one_random_term_is_the_mixed_model_of_each(lost, between):
    """300 campaigns of each layout; at .3 some 40 % of them have the scatter between builds at nought."""
    kept = kept_of(lost)
    values = drawn(np.random.default_rng([17, len(lost)]), kept, between, 300)
    found = many_mixed.one_term(COLUMNS[kept], BUILD[kept].tolist(), ROWS).judged(values)
    laid = mixed_layout.layout_of(COLUMNS[kept], {"build": BUILD[kept].tolist()})
    made = reml.fit_many(laid, values)
    each = kenward_roger.contrasts(kenward_roger.adjusted(laid, made.variances), made.beta, ROWS)
    assert found.estimate == pytest.approx(each.estimate, rel=1e-7, abs=1e-8)
    assert found.std_error == pytest.approx(each.std_error, rel=1e-7)
    assert found.df == pytest.approx(each.df, rel=1e-6)
    assert between > 1.0 or made.at_zero.any()


def test_variance_and_df_at_stated_ratios():
    """The closed forms against Kenward and Roger's matrices, from no scatter between builds to nothing else."""
    kept = kept_of(LOST["five"])
    known = many_mixed.one_term(COLUMNS[kept], BUILD[kept].tolist(), ROWS)
    laid = mixed_layout.layout_of(COLUMNS[kept], {"build": BUILD[kept].tolist()})
    ratios = np.array([0.0, 1e-6, 0.01, 0.3, 1.0, 7.0, 100.0, 1e4])
    share, df = known.known(ratios)
    there = kenward_roger.adjusted(laid, np.column_stack([ratios, np.ones(8)]))
    each = kenward_roger.contrasts(there, np.zeros((8, 6)), ROWS)
    assert np.sqrt(share) == pytest.approx(each.std_error, rel=1e-8)
    assert df == pytest.approx(each.df, rel=1e-7)


@pytest.mark.parametrize("ratio", [0.0, 0.3, 4.0])
def test_luck_is_what_values_with_these_directions_are_judged_by(ratio):
    """Standard error and df of ``judged``; the shift from generalised least squares at the true ratio, by matrices."""
    kept = kept_of(LOST["five"])
    known = many_mixed.one_term(COLUMNS[kept], BUILD[kept].tolist(), ROWS)
    normals = np.random.default_rng(3).normal(size=(200, len(known.which)))
    std_error, df, shift = known.luck(np.full(200, ratio), normals)
    values = (normals * np.sqrt(1.0 + ratio * known.sizes)[known.which]) @ known.turned.T
    # What the directions hold has the variance of such campaigns: residuals of least squares under V.
    marks = np.equal.outer(BUILD[kept], BUILD[kept]).astype(float)
    spread = ratio * marks + np.eye(len(kept))
    assert known.turned.T @ spread @ known.turned == pytest.approx(np.diag(1 + ratio * known.sizes[known.which]))
    found = known.judged(values)
    assert (std_error, df) == (pytest.approx(found.std_error, rel=1e-9), pytest.approx(found.df, rel=1e-9))
    weighted = np.linalg.solve(spread, COLUMNS[kept])
    best = values @ weighted @ np.linalg.solve(COLUMNS[kept].T @ weighted, ROWS.T)
    assert shift == pytest.approx(found.estimate - best, abs=1e-9)
    assert np.abs(shift).max() > 0.01


def test_luck_at_a_ratio_below_nought_is_refused():
    known = many_mixed.one_term(COLUMNS, BUILD.tolist(), ROWS)
    with pytest.raises(ModelError) as told:
        known.luck([-0.5], np.zeros((1, len(known.which))))
    expected = "The data sets cannot be judged.\n  ratio: -0.5 was given; expected 0 or a number above 0."
    assert str(told.value) == expected


def test_several_random_terms_are_the_mixed_model_of_each():
    rng = np.random.default_rng(5)
    build, oil = np.repeat(np.arange(6), 6), np.tile(np.repeat(np.arange(3), 2), 6)
    run = 3 * build + oil
    kept = np.sort(rng.permutation(36)[:32])
    columns = np.column_stack([np.ones(36), oil == 1, oil == 2]).astype(float)[kept]
    groups = {"build": build[kept].tolist(), "run": run[kept].tolist()}
    values = rng.normal(size=(40, 6))[:, build[kept]] + 0.7 * rng.normal(size=(40, 18))[:, run[kept]]
    values = values + rng.normal(size=(40, len(kept)))
    rows = np.eye(3)[1:]
    known = many_mixed.several_terms(columns, groups, rows)
    found = known.judged(values)
    for at in range(40):
        made = reml.fit(known.layout, values[at])
        each = kenward_roger.contrasts(kenward_roger.adjusted(known.layout, made.variances), made.beta, rows)
        assert found.estimate[at] == pytest.approx(each.estimate, rel=1e-6, abs=1e-8)
        assert found.std_error[at] == pytest.approx(each.std_error, rel=1e-6)
        assert found.df[at] == pytest.approx(each.df, rel=1e-5)


def test_false_alarms_and_power_with_five_runs_lost():
    """Kenward and Roger err on the safe side near nought; analytic power within .03 of 20,000 campaigns."""
    kept = kept_of(LOST["five"])
    known = many_mixed.one_term(COLUMNS[kept], BUILD[kept].tolist(), ROWS)
    found = known.judged(drawn(np.random.default_rng(23), kept, 0.8, 20_000))
    half = found.half_width()
    alarms = (np.abs(found.estimate) > half).mean(axis=0)
    assert np.all(alarms < 0.05 + 3.24 * np.sqrt(0.05 * 0.95 / 20_000))
    assert np.all(alarms > 0.035)
    share, df = known.known([0.64])
    for effect in (1.0, 2.0):
        analytic = noncentral.power_t(effect, np.sqrt(share[0]), df[0])
        drawn_power = (np.abs(found.estimate + effect) > half).mean(axis=0)
        assert np.abs(drawn_power - analytic).max() < 0.03


@pytest.mark.parametrize(
    ("columns", "groups", "text"),
    [
        (
            np.eye(8)[BUILD],
            BUILD,
            "groups: the fixed columns explain all of them; expected scatter between them that is left.",
        ),
        (np.ones((3, 1)), [1, 2, 3], "groups: the fixed columns leave nothing within them; expected repeats within"),
    ],
)
def test_scatter_that_cannot_be_told_is_refused(columns, groups, text):
    with pytest.raises(ModelError) as told:
        many_mixed.one_term(columns, list(groups), np.eye(columns.shape[1])[:1])
    assert str(told.value).startswith(f"The data sets cannot be judged.\n  {text}")
    assert len(str(told.value).splitlines()) == 2


def test_a_ratio_below_nought_is_refused():
    known = many_mixed.one_term(COLUMNS, BUILD.tolist(), ROWS)
    with pytest.raises(ModelError) as told:
        known.known([-1.0])
    expected = "The data sets cannot be judged.\n  ratio: -1 was given; expected 0 or a number above 0."
    assert str(told.value) == expected
