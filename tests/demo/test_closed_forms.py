"""The oracle's own analyses against hand arithmetic, a published analysis and each other."""

import numpy as np
import pytest

from tests.demo.make_data import brief_of
from tests.reference.loader import load
from toolkit.demo import oracle

BRIEF = brief_of("chain-soot")
CONTRASTS = np.array([oracle.weights(BRIEF, item) for item in BRIEF.comparisons])


def test_weights_of_the_four_comparisons():
    # By hand; the order of combinations is P0O0, P0O1, P1O0, P1O1.
    assert CONTRASTS.tolist() == [
        [-0.5, -0.5, 0.5, 0.5],
        [-0.5, 0.5, -0.5, 0.5],
        [-1.0, 0.0, 0.0, 1.0],
        [1.0, -1.0, -1.0, 1.0],
    ]


def test_complete_blocks_against_a_published_analysis():
    # Penicillin yields, four treatments in five blends (Box, Hunter & Hunter 1978), recomputed with R.
    case = load("k03-rcbd-penicillin")
    data = case.data.sort_values(["blend", "treatment"])
    values = data["yield"].to_numpy(dtype=float).reshape(1, 5, 4)
    helmert = np.array([[1, -1, 0, 0], [1, 1, -2, 0], [1, 1, 1, -3]])
    orthonormal = helmert / np.linalg.norm(helmert, axis=1, keepdims=True)
    made = oracle.balanced(values, orthonormal)
    assert made.df == case.expected("anova.Residuals.df")
    assert 5 * made.std_error[0] ** 2 == pytest.approx([case.expected("anova.Residuals.ms")] * 3, rel=1e-12)
    squares = 5 * (made.estimate[0] ** 2).sum()
    assert squares == pytest.approx(case.expected("anova.treatment.ss"), rel=1e-12)
    f = np.mean((made.estimate[0] / made.std_error[0]) ** 2)
    assert f == pytest.approx(case.expected("anova.treatment.F"), rel=1e-12)


def test_p_values_and_limits_belong_together():
    # t with 6 df: 2.447 cuts off 5 % (any table of t).
    made = oracle.balanced(np.random.default_rng(1).normal(size=(1, 3, 4)), CONTRASTS)
    low, high = made.limits(0.95)
    assert (high - low)[0] / 2 / made.std_error[0] == pytest.approx([2.446912] * 4, rel=1e-6)
    for conf_level in 1.0 - made.p_value[0]:
        edges = made.limits(conf_level)
        place = int(np.argmin(np.abs(1.0 - made.p_value[0] - conf_level)))
        assert min(abs(edges[0][0, place]), abs(edges[1][0, place])) == pytest.approx(0.0, abs=1e-9)


def test_least_squares_is_the_closed_form_where_nothing_is_missing():
    values = np.random.default_rng(2).normal(size=(5, 3, 4))
    cells, blocks = np.tile(np.arange(4), 3), np.repeat(np.arange(3), 4)
    closed = oracle.balanced(values, CONTRASTS)
    general = oracle.least_squares(values.reshape(5, 12), cells, blocks, CONTRASTS)
    assert (closed.df, general.df) == (6, 6)
    np.testing.assert_allclose(general.estimate, closed.estimate, rtol=1e-10, atol=1e-12)
    np.testing.assert_allclose(general.std_error, closed.std_error, rtol=1e-10)


def test_one_missing_run_in_a_block_design_by_the_textbook_formula():
    # Missing value of a randomised block (Yates 1933, in textbooks): x = (t T + b B - G) / ((t - 1)(b -
    # 1)); the filled-in table gives the estimates and the error sum of squares on one df fewer.
    values = np.random.default_rng(3).normal(size=(3, 4))
    lost = (1, 2)
    known = values.copy()
    known[lost] = 0.0
    filled = known.copy()
    filled[lost] = (4 * known[:, 2].sum() + 3 * known[1].sum() - known.sum()) / (3 * 2)
    keep = np.arange(12) != 6
    cells, blocks = np.tile(np.arange(4), 3)[keep], np.repeat(np.arange(3), 4)[keep]
    made = oracle.least_squares(values.reshape(1, 12)[:, keep], cells, blocks, CONTRASTS)
    whole = oracle.balanced(filled[None], CONTRASTS)
    assert made.df == 5
    np.testing.assert_allclose(made.estimate, whole.estimate, rtol=1e-10)
    # Variance of a difference of two means, one of them with the lost run: s2 (2/b + t/(b (b-1)(t-1))).
    error = whole.std_error[0, 2] ** 2 * 3 / 2 * 6 / 5
    unequal = oracle.least_squares(values.reshape(1, 12)[:, keep], cells, blocks, np.array([[1.0, 0.0, -1.0, 0.0]]))
    assert unequal.std_error[0, 0] ** 2 == pytest.approx(error * (2 / 3 + 4 / (3 * 2 * 3)), rel=1e-10)


def test_stations_as_replicates_is_one_model_on_all_station_values():
    values = np.random.default_rng(4).normal(size=(3, 4, 10))
    made = oracle.as_replicates(values[None], CONTRASTS)
    block, cell, _ = (place.ravel() for place in np.indices(values.shape))
    columns = np.hstack([cell[:, None] == np.arange(4), block[:, None] == np.arange(1, 3)]).astype(float)
    beta, left, *_ = np.linalg.lstsq(columns, values.ravel())
    assert made.df == 120 - 6
    np.testing.assert_allclose(made.estimate[0], CONTRASTS @ beta[:4], rtol=1e-10)
    np.testing.assert_allclose(made.std_error[0] ** 2, left[0] / 114 * (CONTRASTS**2).sum(axis=1) / 30, rtol=1e-10)


@pytest.mark.parametrize(
    "low, high, name",
    [
        (0.23, 0.60, "worthwhile gain"),
        (0.05, 0.60, "gain, size not settled"),
        (0.05, 0.20, "smaller than worthwhile"),
        (-0.20, 0.20, "smaller than worthwhile"),
        (-0.30, 0.20, "not known yet"),
        (-0.10, 0.40, "not known yet"),
        (-0.60, -0.05, "loss, size not settled"),
        (-0.60, -0.23, "worthwhile loss"),
    ],
)
def test_verdict_by_hand(low, high, name):
    # Worthwhile 20 per cent: the band's edge is -ln 0.8 = 0.2231.
    assert oracle.verdict(low, high, 0.2231) == name
