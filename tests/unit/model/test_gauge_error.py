"""Answers that count the gauge: equal to the log analysis where it is negligible, and what they say near it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Response, Stations
from toolkit.design import factorial
from toolkit.model import comparisons
from toolkit.model.fit import fit
from toolkit.model.gauge_error import gauge_error

Y = "wear_um"


def brief_of(gauge=None, stations=None, scale="log"):
    """A 2x2 in three builds of which wear is asked in micrometres."""
    change = {"worthwhile_change_pct": 20.0} if scale == "log" else {"worthwhile_change": 1.0}
    return briefs.blocked(responses=(Response(Y, scale=scale, stations=stations, gauge_sd=gauge, **change),))


def runs(level=5.0, gauge=0.5, cv=0.15, seed=1):
    """Twelve run values, INVENTED; pin P1 wears to half."""
    table = factorial.full(brief_of()).table
    draw = np.random.default_rng(seed)
    mean = level * np.where(table["pin"] == "P1", 0.5, 1.0)
    value = mean * (1.0 + cv * draw.standard_normal(12)) + gauge * draw.standard_normal(12)
    return table.assign(run_id=[f"R{at + 1:02d}" for at in range(12)], **{Y: value})


def test_a_negligible_gauge_is_told_and_changes_nothing():
    found = gauge_error(brief_of(0.001), runs(gauge=0.0), Y)
    assert not found.near and found.comparisons.empty and found.share < 0.001
    assert found.sentence == (
        "wear_um: gauge SD of a run value 0.001 µm (as stated), far below the wear: ratios on the log scale stand as "
        "they are"
    )
    assert gauge_error(brief_of(scale="linear"), runs(), Y) is None


def test_near_the_gauge_the_answers_stand_beside_those_of_the_log_scale():
    table = runs(level=6.0, gauge=0.8, cv=0.1)
    assert (table[Y] > 0.0).all()
    found = gauge_error(brief_of(0.8), table, Y)
    assert found.near and found.share >= 0.1
    plain = comparisons.comparisons(fit(brief_of(), table, Y)).set_index("comparison").loc["coating"]
    row = found.comparisons.set_index("comparison").loc["coating"]
    assert row["df"] == 6 and row["measured_in"] == "ratio" and row["note"] == "ratio of means"
    assert row["conf_low"] < 0.5 < row["conf_high"]
    # The weighted ratio of means: the small, noisy values of P1 count less than in the mean of logarithms.
    assert row["estimate"] == pytest.approx(plain["estimate"], rel=0.25)
    assert found.sentence.startswith(
        "wear_um: wear comes near the gauge SD of a run value 0.8 µm (as stated). Beside it the scatter grows with the "
        "wear by "
    )
    assert found.to_json()["comparisons"][0]["comparison"] == "coating"


def test_values_below_nought_are_answered_where_the_log_scale_stops():
    table = runs(level=3.0, gauge=1.0, seed=4)
    table.loc[0, Y] = -0.2
    odd = int((table[Y] <= 0.0).sum())
    found = gauge_error(brief_of(1.0), table, Y)
    assert found.near
    assert f"; {odd} of 12 run values at or below nought stay what they are. Beside it" in found.sentence
    assert found.comparisons["estimate"].notna().any()


def test_without_a_known_gauge_it_says_what_to_state():
    table = runs()
    table.loc[0, Y] = -0.2
    found = gauge_error(brief_of(), table, Y)
    assert found.near and found.gauge_sd is None
    assert found.sentence == (
        "wear_um: 1 run value lies at or below nought, which a gauge's scatter can do; its scatter is not known: state "
        "gauge_sd for the response in campaign.toml"
    )


def test_the_gauge_is_known_from_repeated_readings():
    stations = Stations("segment", 4, 2, ("before", "after"))
    draw = np.random.default_rng(8)
    rows = [
        {"run_id": f"R{run + 1:02d}", "part_id": "A", "station_id": f"S{at}", "state": state, Y: draw.normal(50.0, 0.6)}
        for run in range(12)
        for at in range(4)
        for state in ("before", "after")
        for _ in range(2)
    ]
    readings = pd.DataFrame(rows)
    found = gauge_error(brief_of(stations=stations), runs(), Y, readings=readings)
    pairs = readings[Y].to_numpy().reshape(-1, 2)
    pooled = float(np.mean((pairs[:, 0] - pairs[:, 1]) ** 2) / 2.0)
    # After less before, two readings each, over four stations.
    assert found.gauge_sd == pytest.approx(np.sqrt(pooled * 2.0 / 2.0 / 4.0), rel=1e-12)
    assert found.source == "from repeated readings, 96 df, without what clamping and setting add"


def test_where_there_is_no_ratio_it_says_why():
    table = runs()
    table.loc[table["pin"] == "P1", Y] = [-0.3, 0.1, -0.2, 0.05, 0.1, -0.1]
    found = gauge_error(brief_of(0.5), table, Y)
    assert found.near and found.comparisons.empty
    assert found.sentence == (
        "wear_um: wear comes near the gauge SD of a run value 0.5 µm (as stated), and answers that count it are not "
        "told: the mean of a combination cannot be told from nought, so that no ratio can be named"
    )
