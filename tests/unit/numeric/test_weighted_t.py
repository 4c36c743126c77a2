"""Critical values of a sum of mean squares: false alarms by quadrature, and Satterthwaite's where df are many."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from toolkit.errors import SizingError
from toolkit.numeric import components
from toolkit.numeric.weighted_t import critical, judged_df

PLACE, WEIGHT = np.polynomial.legendre.leggauss(120)
PLACE, WEIGHT = 0.5 * (PLACE + 1.0), 0.5 * WEIGHT


def alarms(share, few, many, df_of):
    """How often |t| goes beyond its limit when nothing differs; ``share`` of the true variance is the first's.

    Both mean squares by Gauss-Legendre in the quantiles of chi-square: no formula of the toolkit but the one asked.
    """
    one = stats.chi2.ppf(PLACE, few)[:, None] / few * np.ones((1, 120))
    two = stats.chi2.ppf(PLACE, many)[None, :] / many * np.ones((120, 1))
    squares = np.stack([share * one, (1.0 - share) * two], axis=-1)
    limit = stats.t.ppf(0.975, df_of([1.0, 1.0], squares, [few, many])) * np.sqrt(squares.sum(axis=-1))
    return float((WEIGHT[:, None] * WEIGHT[None, :] * 2.0 * special.ndtr(-limit)).sum())


@pytest.mark.parametrize(("few", "many", "worst"), [(1, 4, 0.104), (1, 8, 0.116), (2, 8, 0.071)])
def test_the_level_is_held_where_satterthwaite_lets_it_go(few, many, worst):
    # Whole plots: the coarse mean square is expected to be the larger one, so at least half is its share.
    shares = (0.5, 0.7, 0.9, 0.95)
    plain = [alarms(share, few, many, components.satterthwaite) for share in shares]
    held = [alarms(share, few, many, judged_df) for share in shares]
    assert max(plain) == pytest.approx(worst, abs=0.002)
    assert max(held) < 0.055
    assert all(one < other for one, other in zip(held, plain, strict=True))


def test_the_critical_value_is_each_t_by_its_share():
    # By hand: t(1) = 12.706, t(9) = 2.262, shares 3 and 1 of 4 (Student's table).
    assert float(critical([1.0, 2.0], [6.0, 1.0], [1, 9])) == pytest.approx((3 * 12.7062 + 2.2622) / 4, abs=1e-4)
    df = judged_df([1.0, 2.0], [6.0, 1.0], [1, 9])
    assert stats.t.ppf(0.975, float(df)) == pytest.approx(float(critical([1.0, 2.0], [6.0, 1.0], [1, 9])), rel=1e-6)
    at_ten = judged_df([1.0, 2.0], [6.0, 1.0], [1, 9], alpha=0.1)
    assert stats.t.ppf(0.95, float(at_ten)) == pytest.approx((3 * 6.3138 + 1.8331) / 4, abs=1e-4)


def test_from_three_df_on_and_of_one_mean_square_nothing_changes():
    assert judged_df([1.0, 2.0], [6.0, 1.0], [3, 9]) == components.satterthwaite([1.0, 2.0], [6.0, 1.0], [3, 9])
    assert float(judged_df([1.0, 0.0], [6.0, 1.0], [1, 9])) == 1.0
    many = judged_df([[1.0, 2.0], [1.0, 0.0]], np.array([[[6.0, 1.0]], [[0.0, 1.0]]]), [2.0, 9.0])
    assert many.shape == (2, 2) and many[1, 1] == 0.0
    # A mean square of nought has no share: the t of the other one.
    assert many[1, 0] == pytest.approx(9.0, rel=1e-5)


def test_what_is_out_of_range_is_told_at_once():
    with pytest.raises(SizingError) as stopped:
        critical([-1.0], [1.0], [0], alpha=2.0)
    assert str(stopped.value) == (
        "The critical value of the sum cannot be worked out.\n"
        "  weight: -1 was given; expected 0 or a number above 0.\n"
        "  df: 0 was given; expected a number above 0.\n"
        "  alpha: 2 was given; expected a share between 0 and 1, both excluded."
    )
