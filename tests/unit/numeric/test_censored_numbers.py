"""The kept simulation of values below a limit: still what the code gives, and within its bounds."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.numbers import below_limit

STORED = json.loads(below_limit.STORED.read_text(encoding="utf-8"))


@pytest.mark.parametrize("share", below_limit.SHARES)
def test_the_first_campaigns_are_judged_as_they_were(share):
    assert below_limit.counted(share, below_limit.FIRST, below_limit.FIRST) == STORED["shares"][f"{share:g}"]["first"]


@pytest.mark.parametrize("share", below_limit.SHARES)
def test_false_alarms_and_coverage_are_within_the_binomial_of_five_per_cent(share):
    # 4 to 6 % of false alarms are asked at 20,000 campaigns; 3.24 binomial standard errors come on top of fewer.
    found = STORED["shares"][f"{share:g}"]
    assert found["judged"] >= 0.8 * STORED["campaigns"]
    slack = {key: 3.24 * np.sqrt(0.05 * 0.95 / found[key]) for key in ("judged", "intervals")}
    if STORED["campaigns"] >= below_limit.CAMPAIGNS:
        slack["judged"] = 0.0
    assert 0.04 - slack["judged"] <= found["false_alarms"] / found["judged"] <= 0.06 + slack["judged"]
    assert found["covered"] / found["intervals"] >= 0.94 - slack["intervals"]
