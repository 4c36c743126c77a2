"""The chance of each verdict after further runs, against campaigns continued by drawing, run by run."""

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import ModelError
from toolkit.numeric.promise import OUTCOMES
from toolkit.numeric.settling import Known, shares_then


def drawn(known, blocks, more, margin, count, seed):
    """Shares of the verdicts over continuations of a 2 x 2 in complete blocks, drawn run by run and fitted anew."""
    draw = np.random.default_rng(seed)
    code = np.array([[-1, -1, 1], [-1, 1, -1], [1, -1, -1], [1, 1, 1]]) / 2.0
    sd = np.sqrt(known.df * known.mean_square / draw.chisquare(known.df, count))
    # Blocks at hand: their three effects and residual sum of squares given; the first effect is the comparison.
    truth = np.column_stack([
        (known.gain if at == 0 else 0.0) + sd * np.sqrt(known.unit_variance) * draw.standard_normal(count)
        for at in range(3)])
    noise = draw.standard_normal((count, more, 4)) * sd[:, None, None]
    y = np.einsum("rk,ck->cr", code, truth)[:, None, :] + noise
    y = y - y.mean(axis=2, keepdims=True)
    new = np.einsum("rk,cmr->ck", code, y) / more
    rest_new = ((y - np.einsum("rk,ck->cr", code, new)[:, None, :]) ** 2).sum(axis=(1, 2))
    old = np.array([known.gain, 0.0, 0.0])
    both = (blocks * old + more * new) / (blocks + more)
    between = blocks * ((old - both) ** 2).sum(axis=1) + more * ((new - both) ** 2).sum(axis=1)
    df = 3 * (blocks + more - 1)
    square = (known.df * known.mean_square + rest_new + between) / df
    half = stats.t.ppf(0.975, df) * np.sqrt(square / (blocks + more))
    low, high = both[:, 0] - half, both[:, 0] + half
    told = [low > 0, high < 0, low > -np.inf]
    if margin is not None:
        told = [low > margin, high < -margin, (low > -margin) & (high < margin), *told]
    first = np.argmax(np.array(told), axis=0)
    order = ("worthwhile gain", "worthwhile loss", "smaller than worthwhile", "gain, size not settled",
             "loss, size not settled", "not known yet")
    return {name: (first == at).mean() for at, name in enumerate(order[-len(told):])}


@pytest.mark.parametrize(
    "gain, square, blocks, more, margin",
    [(0.30, 0.02, 3, 2, 0.223), (0.05, 0.015, 2, 4, 0.223), (-0.35, 0.04, 4, 1, 0.2), (0.12, 0.03, 2, 1, 0.1)],
)
def test_shares_equal_those_of_drawn_continuations(gain, square, blocks, more, margin):
    known = Known(gain, square, 3.0 * (blocks - 1), 1.0 / blocks)
    found = shares_then(known, 1.0 / (blocks + more), 3.0 * (blocks + more - 1), margin)
    count = 60_000
    expected = drawn(known, blocks, more, margin, count, 12)
    assert found.sum() == pytest.approx(1.0, abs=1e-12)
    for name, share in zip(OUTCOMES, found, strict=True):
        p = expected[name]
        assert share == pytest.approx(p, abs=3.24 * np.sqrt(p * (1 - p) / count) + 1e-3), name


def test_predictive_power_of_a_campaign_half_way():
    # Two of four blocks, estimate 1.0, mean square 1.0 on 3 df: 0.4142 of 10^6 continuations drawn independently in
    # two dimensions end with an interval that excludes 0 (own simulation, kept as a number).
    known = Known(1.0, 1.0, 3.0, 0.5)
    found = dict(zip(OUTCOMES, shares_then(known, 0.25, 9.0, None), strict=True))
    assert found["gain, size not settled"] + found["loss, size not settled"] == pytest.approx(0.4142, abs=1e-3)
    assert found["worthwhile gain"] == found["smaller than worthwhile"] == 0.0
    expected = drawn(known, 2, 2, None, 100_000, 3)
    shown = expected["gain, size not settled"] + expected["loss, size not settled"]
    assert shown == pytest.approx(0.4142, abs=3.24 * np.sqrt(0.4142 * 0.5858 / 100_000))


def test_a_mirror_image_is_a_loss():
    one = shares_then(Known(0.3, 0.02, 6.0, 1 / 3), 0.2, 12.0, 0.2)
    other = shares_then(Known(-0.3, 0.02, 6.0, 1 / 3), 0.2, 12.0, 0.2)
    swap = [OUTCOMES.index(name) for name in ("worthwhile loss", "loss, size not settled", "smaller than worthwhile",
                                              "not known yet", "worthwhile gain", "gain, size not settled")]
    assert list(other[swap]) == pytest.approx(list(one), abs=1e-12)


def test_units_do_not_matter():
    one = shares_then(Known(0.3, 0.02, 6.0, 1 / 3), 0.2, 12.0, 0.2)
    other = shares_then(Known(3e5, 2e10, 6.0, 1 / 3), 0.2, 12.0, 2e5)
    assert list(other) == pytest.approx(list(one), abs=1e-10)


def test_many_runs_settle_all_but_the_edge():
    known = Known(0.5, 0.02, 6.0, 1 / 3)
    assert shares_then(known, 1e-6, 3e6, 0.2)[0] == pytest.approx(stats.t.cdf(0.3 / np.sqrt(0.02 / 3), 6), abs=1e-3)
    # The new df alone: the estimate cannot move, the interval can.
    still = shares_then(known, 1 / 3, 7.0, 0.2)
    assert still.sum() == pytest.approx(1.0) and np.isfinite(still).all()


def test_what_is_out_of_range_is_told():
    with pytest.raises(ModelError) as refused:
        shares_then(Known(np.nan, 0.0, 6.0, 1 / 3), 0.2, 12.0, -1.0, alpha=2.0)
    assert str(refused.value) == (
        "What further runs would bring cannot be worked out.\n"
        "  gain: a missing value was given; expected a finite number.\n"
        "  mean square: 0 was given; expected a number above 0.\n"
        "  alpha: 2 was given; expected a share between 0 and 1, both excluded.\n"
        "  worthwhile change: -1 was given; expected a number above 0."
    )
    for v, df, text in ((0.4, 12.0, "unit variance then: 0.4; expected 0.333333 or less."),
                        (0.2, 6.5, "df then: 6.5; expected 7 or more.")):
        with pytest.raises(ModelError) as refused:
            shares_then(Known(0.1, 0.02, 6.0, 1 / 3), v, df, 0.2)
        assert str(refused.value) == f"What further runs would bring cannot be worked out.\n  {text}"
