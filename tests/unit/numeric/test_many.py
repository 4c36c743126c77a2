"""Many data sets at once against one after the other: least squares, strata, covariates; and how often they err."""

import numpy as np
import pytest
from scipy import stats

from tests.unit import briefs
from toolkit.design import factorial, questions
from toolkit.errors import ModelError
from toolkit.model import _estimates
from toolkit.model.fit import of_strata
from toolkit.numeric import intervals, many

RNG = np.random.default_rng(3)
COLUMNS = np.column_stack([np.ones(14), np.arange(14) % 2, np.arange(14) % 3, RNG.normal(size=14)])
ROWS = np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.5, -1.0, 2.0]])


def by_lstsq(columns, rows, y):
    """Estimate, standard error and df by numpy's least squares and the textbook covariance."""
    beta, left, rank, _ = np.linalg.lstsq(columns, y, rcond=None)
    df = len(y) - rank
    cov = np.linalg.pinv(columns.T @ columns) * float(((y - columns @ beta) ** 2).sum()) / df
    return rows @ beta, np.sqrt(np.einsum("cp,pq,cq->c", rows, cov, rows)), df


def test_least_squares_of_many_is_least_squares_of_each():
    values = RNG.normal(size=(5, 14)) + 3.0
    found = many.least_squares(COLUMNS, ROWS).judged(values)
    for at, y in enumerate(values):
        estimate, error, df = by_lstsq(COLUMNS, ROWS, y)
        assert found.estimate[at] == pytest.approx(estimate, rel=1e-10)
        assert found.std_error[at] == pytest.approx(error, rel=1e-10)
        assert found.df[at].tolist() == [df, df]
        width = intervals.t_interval(estimate, error, df)[1] - estimate
        assert found.half_width()[at] == pytest.approx(width, rel=1e-10)


def test_columns_that_repeat_each_other_change_nothing():
    values = RNG.normal(size=(3, 14))
    twice = np.hstack([COLUMNS, COLUMNS[:, :2]])
    # The same contrast, written over both copies of its columns.
    row = np.array([[0.0, 1.0, 0.0, 0.0, 0.0, 1.0]])
    one, two = many.least_squares(COLUMNS, ROWS[:1]).judged(values), many.least_squares(twice, row).judged(values)
    assert two.estimate == pytest.approx(one.estimate, rel=1e-10)
    assert two.std_error == pytest.approx(one.std_error, rel=1e-10)
    assert two.df.tolist() == one.df.tolist()


def strata_of_whole_plots():
    """Eight builds of two sprockets with two oils each: the strata, the three comparisons, the maps of the layout."""
    brief = briefs.whole_plots()
    laid = factorial.full(brief, builds=8, replicates=1).strata
    rows = [questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons]
    runs = len(laid.runs)
    units = [of_strata(brief, brief.responses[0], laid, line) for line in np.eye(runs)]
    weights = np.array([[row @ unit.beta for unit in units] for row in rows])
    errors = []
    for name in ("build", "run"):
        layers = [unit.layer(name) for unit in units]
        errors.append(np.column_stack([_left(layer.full, layer.y) for layer in layers]))
    parts = [{part.stratum: part.unit_variance for part in laid.parts(row)} for row in rows]
    shares = [[part.get("build", 0.0), part.get("run", 0.0)] for part in parts]
    return brief, laid, rows, many.of_strata(weights, errors, shares)


def _left(columns, y):
    """What least squares leaves."""
    return y - columns @ np.linalg.lstsq(columns, y, rcond=None)[0]


def test_strata_of_many_are_the_strata_of_each():
    brief, laid, rows, known = strata_of_whole_plots()
    values = RNG.normal(size=(4, len(laid.runs)))
    found = known.judged(values)
    for at, y in enumerate(values):
        made = of_strata(brief, brief.responses[0], laid, y)
        for number, row in enumerate(rows):
            one = _estimates.of_row(made, row)
            assert found.estimate[at, number] == pytest.approx(one.value, rel=1e-9)
            assert found.std_error[at, number] == pytest.approx(one.std_error, rel=1e-9)
            assert found.df[at, number] == pytest.approx(one.df, rel=1e-9)
            width = found.half_width(brief.conf_level)[at, number]
            assert width == pytest.approx((one.high - one.low) / 2, rel=1e-9)


def test_covariates_that_differ_from_campaign_to_campaign():
    values, covariates = RNG.normal(size=(4, 14)), RNG.normal(size=(4, 2, 14))
    found = many.beside(many.least_squares(COLUMNS, ROWS), values, covariates)
    for at, y in enumerate(values):
        full = np.hstack([COLUMNS, covariates[at].T])
        estimate, error, df = by_lstsq(full, np.hstack([ROWS, np.zeros((2, 2))]), y)
        assert found.estimate[at] == pytest.approx(estimate, rel=1e-9)
        assert found.std_error[at] == pytest.approx(error, rel=1e-9)
        assert found.df[at].tolist() == [df, df] == [8, 8]


def test_nothing_is_judged_without_degrees_of_freedom():
    known = many.least_squares(np.eye(3), np.array([[1.0, -1.0, 0.0]]))
    found = known.judged([[1.0, 2.0, 4.0]])
    assert (found.estimate.tolist(), found.std_error.tolist(), found.df.tolist()) == ([[-1.0]], [[np.inf]], [[0.0]])
    assert found.half_width().tolist() == [[np.inf]]


def test_false_alarms_of_whole_plots_are_five_per_cent():
    """Size of the exact tests at both levels: 20,000 campaigns, 3.24 binomial standard errors either way."""
    _, laid, _, known = strata_of_whole_plots()
    rng = np.random.default_rng(29)
    builds = laid.runs["build_id"].astype("category").cat.codes.to_numpy()
    values = 0.8 * rng.normal(size=(20_000, 8))[:, builds] + rng.normal(size=(20_000, len(builds)))
    found = known.judged(values)
    shown = (np.abs(found.estimate) > found.half_width()).mean(axis=0)
    assert np.all(np.abs(shown[:2] - 0.05) < 3.24 * np.sqrt(0.05 * 0.95 / 20_000)), shown
    # Satterthwaite's df for the comparison that mixes the strata: near 5 %, not exact.
    assert 0.04 < shown[2] < 0.06
    p = stats.kstest(stats.t.cdf(found.estimate[:, 0] / found.std_error[:, 0], 6), "uniform").pvalue
    assert p > 0.001


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: many.least_squares(COLUMNS, np.ones((1, 3))),
            "The data sets cannot be judged.\n  contrasts: contrasts of shape (1, 3) meet columns of shape (14, 4); "
            "expected one coefficient a column.",
        ),
        (
            lambda: many.least_squares(COLUMNS, ROWS).judged(np.full((2, 13), np.nan)),
            "The data sets cannot be judged.\n  values: a missing value (and 25 more) was given; expected a finite "
            "number.\n  values: an array of shape (2, 13) was given; expected one row a data set, 14 values in each.",
        ),
        (
            lambda: many.beside(strata_of_whole_plots()[3], np.zeros((2, 16)), np.zeros((2, 16))),
            "The data sets cannot be judged.\n  layout: it has 2 strata; expected a single one where there are "
            "covariates.\n  covariates: an array of shape (2, 16) was given; expected one set of rows of 16 numbers "
            "for each of 2 data sets.",
        ),
        (
            lambda: many.of_strata([[np.nan]], [np.eye(1)], [[1.0]]),
            "The data sets cannot be judged.\n  weights: a missing value was given; expected a finite number.",
        ),
    ],
)
def test_what_does_not_fit_is_told(call, text):
    with pytest.raises(ModelError) as told:
        call()
    assert str(told.value) == text


def test_a_stratum_without_error_judges_nothing():
    """What is left of it is rounding alone, and must not be taken for scatter."""
    rounding = 1e-16 * np.array([[1.0, -1.0, 0.5, 0.2]])
    known = many.of_strata([[1.0, -1.0, 0.0, 0.0]], [rounding, np.eye(4)[2:]], [[0.5, 0.0]])
    found = known.judged([[1.0, 2.0, 3.0, 4.0]])
    assert (found.std_error.tolist(), found.df.tolist()) == ([[np.inf]], [[0.0]])
