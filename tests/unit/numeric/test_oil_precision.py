"""Agreement of figures of one oil, against quantiles of the range and the rule the limits were checked by."""

from __future__ import annotations

import pytest
from scipy.stats import studentized_range

from toolkit.errors import ModelError
from toolkit.numeric import oil_precision
from toolkit.numeric.oil_precision import PUBLISHED, Power


def test_published_limits_at_30_mg_per_kg():
    # Coefficients of variation in per cent at 30 mg/kg worked from the formulas (limit / 2.77 / 30), within batch and
    # between laboratories; the formulas themselves are from memory of ASTM D5185.
    expected = {"fe": (2.4, 9.5), "cu": (3.2, 8.7), "al": (3.4, 11), "pb": (5.7, 12), "cr": (2.6, 7.8), "sn": (5.1, 21),
                "si": (3.8, 13), "ni": (3.3, 9.9), "mo": (3.8, 8.6)}  # fmt: skip
    found = {
        name: [100 * power.at(30.0) / oil_precision.TO_SD / 30 for power in (item.within_batch, item.between_labs)]
        for name, item in PUBLISHED.items()
    }
    assert found.keys() == expected.keys()
    for name, pair in expected.items():
        assert found[name] == pytest.approx(pair, rel=0.04), name


@pytest.mark.parametrize("count", range(2, 11))
def test_the_range_of_more_figures_is_allowed_the_quantile_of_the_range(count):
    figures = [10.0] * (count - 1) + [10.0 + 1e-9]
    allowed = oil_precision.agreement(figures, Power(2.8, 0.0)).limit_ppm
    # ISO 5725-6 gives the factors with one decimal; infinite df as the SD is known.
    assert allowed == pytest.approx(studentized_range.ppf(0.95, count, 1e6), abs=0.06)


def test_duplicates_agree_within_their_limit_and_not_beyond():
    limit = PUBLISHED["fe"].within_batch
    near = oil_precision.agreement([29.5, 31.0], limit, (2.0, 140.0))
    # 0.13 * 30.25 ** 0.80 by hand: 1.99.
    assert near.limit_ppm == pytest.approx(1.9887, abs=1e-3)
    assert (near.agree, near.in_range, near.range_ppm) == (True, True, 1.5)
    assert not oil_precision.agreement([28.5, 31.0], limit).agree
    assert not oil_precision.agreement([0.0, 1.0], limit, (2.0, 140.0)).in_range
    assert oil_precision.agreement([0.0, 0.0], limit).agree


def test_what_cannot_be_judged_is_told():
    with pytest.raises(ModelError) as caught:
        oil_precision.agreement([-1.0], Power(1.0, 1.0))
    assert str(caught.value) == (
        "The figures cannot be judged.\n"
        "  concentration: -1 was given; expected 0 or a number above 0.\n"
        "  figures of one oil: 1; expected 2 to 10."
    )
