"""Charts against the examples of the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import pytest

from tests.reference.loader import close, load
from toolkit.numeric import reference_chart


def test_individuals_of_ten_batches():
    case = load("k12-individuals-chart-nist")
    found = reference_chart.individuals(case.data["flow"])
    for key, value in {"mean": found.mean, "mr_bar": found.mean_range, "ucl": found.high, "lcl": found.low}.items():
        assert close(value, case.expected(key), case), key
        assert value == pytest.approx(case.published(key), abs=case.published_abs(key)), key
    assert close(found.sd, case.expected("sigma_from_mr"), case)


def test_smoothed_mean_of_twenty_values():
    case = load("k12-ewma-nist")
    found = reference_chart.ewma(case.data["y"], 50.0, 2.0539, weight=0.3)
    for at, value in enumerate(found.smoothed):
        assert close(value, case.expected(f"ewma.{at}"), case), at
        assert value == pytest.approx(case.published(f"ewma.{at}"), abs=case.published_abs(f"ewma.{at}")), at
        assert close(found.high[at], case.expected(f"ucl_time_varying.{at}"), case), at
    for key, value in zip(("lcl", "ucl"), found.steady, strict=True):
        assert close(value, case.expected(key), case), key
    outside = (found.smoothed > found.steady[1]) | (found.smoothed < found.steady[0])
    assert outside.sum() == case.expected("signals_steady_state")
