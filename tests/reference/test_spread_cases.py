"""Equal scatter of groups against the statistics printed by NIST for ten batches of gears."""

from __future__ import annotations

import pytest

from tests.reference.loader import load
from toolkit.numeric import spread

CASE = load("k11-levene-bartlett-gear")


@pytest.mark.parametrize(
    ("key", "made"),
    [
        ("brown_forsythe_median", lambda y, by: spread.levene(y, by)),
        ("levene_mean", lambda y, by: spread.levene(y, by, centre="mean")),
        ("bartlett", spread.bartlett),
    ],
)
def test_statistics_of_ten_batches(key, made):
    data = CASE.data
    found = made(data["diameter"].astype(float).to_numpy(), data["batch"].astype(str).to_numpy())
    # NIST/SEMATECH e-Handbook, sections 1.3.5.10 and 1.3.5.7.
    statistic = "T" if key == "bartlett" else "F"
    assert found.statistic == pytest.approx(float(CASE.values[f"{key}.{statistic}"]), rel=1e-9)
    assert found.p_value == pytest.approx(float(CASE.values[f"{key}.p"]), rel=1e-8)
    if key == "levene_mean":
        by = data["batch"].astype(str)
        y = data["diameter"].astype(float)
        away = (y - y.groupby(by).transform("mean")).abs()
        assert spread.deviation_test(away, by).statistic == pytest.approx(found.statistic, rel=1e-9)
    assert found.df == 9 and found.error_df == (None if key == "bartlett" else 90)
