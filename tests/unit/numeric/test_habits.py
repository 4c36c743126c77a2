"""Rates of false claims against simulated campaigns, and against looks that are independent of each other."""

import numpy as np
import pytest
from scipy import stats

from toolkit.errors import SizingError
from toolkit.numeric import habits


def by_simulation(run_sd, station_sd, count, blocks, campaigns, seed):
    """A 2x2 in blocks, every station a row of its own, fitted by numpy's least squares: share with p < .05."""
    rng = np.random.default_rng(seed)
    runs = 4 * blocks
    block, pin, oil = np.repeat(np.arange(blocks), 4), np.tile([0, 0, 1, 1], blocks), np.tile([0, 1, 0, 1], blocks)
    columns = np.hstack([np.eye(blocks)[block], np.column_stack([pin, oil, pin * oil]) - 0.5]).repeat(count, axis=0)
    inverse = np.linalg.inv(columns.T @ columns)
    values = run_sd * rng.normal(size=(campaigns, runs)).repeat(count, axis=1)
    values = values + station_sd * rng.normal(size=(campaigns, runs * count))
    beta = values @ columns @ inverse
    df = runs * count - columns.shape[1]
    square = ((values - beta @ columns.T) ** 2).sum(axis=1) / df
    t = beta[:, blocks] / np.sqrt(square * inverse[blocks, blocks])
    return float((2 * stats.t.sf(np.abs(t), df) < 0.05).mean())


def test_ten_segments_taken_as_runs():
    """A 2x2 in three blocks, SD of runs .12, of segments .15 (ln): 39 % by a simulation of 4,000 made elsewhere."""
    found = habits.stations_as_runs(0.12**2 + 0.15**2 / 10, 0.15**2, 10, 12, 6)
    assert found == pytest.approx(0.39, abs=3.24 * np.sqrt(0.39 * 0.61 / 4_000))
    drawn = by_simulation(0.12, 0.15, 10, 3, 4_000, 6)
    assert found == pytest.approx(drawn, abs=3.24 * np.sqrt(0.39 * 0.61 / 4_000))


@pytest.mark.parametrize(("run_sd", "station_sd", "count", "blocks"), [(1.0, 0.2, 4, 2), (0.3, 1.0, 5, 4)])
def test_stations_as_runs_equal_drawn_campaigns(run_sd, station_sd, count, blocks):
    value = run_sd**2 + station_sd**2 / count
    found = habits.stations_as_runs(value, station_sd**2, count, 4 * blocks, 3 * (blocks - 1))
    drawn = by_simulation(run_sd, station_sd, count, blocks, 4_000, 9)
    assert found == pytest.approx(drawn, abs=3.24 * np.sqrt(found * (1 - found) / 4_000))


def test_stations_are_runs_where_runs_do_not_scatter():
    assert habits.stations_as_runs(1.0 / 8, 1.0, 8, 12, 6) == pytest.approx(0.05, abs=1e-6)


def test_independent_looks():
    """1 - .95^k for stops; .05 (1 + .15 + .15^2) when one goes on between .05 and .20."""
    p = np.random.default_rng(1).random((200_000, 3))
    assert habits.stops(p) == pytest.approx(1 - 0.95**3, abs=0.002)
    assert habits.goes_on(p) == pytest.approx(0.05 * (1 + 0.15 + 0.15**2), abs=0.0016)
    # A look that cannot be analysed neither claims nor stops.
    p[:, 0] = np.nan
    assert habits.stops(p) == pytest.approx(1 - 0.95**2, abs=0.002)
    assert habits.goes_on(p) == pytest.approx(0.05 * (1 + 0.15), abs=0.0016)


def test_what_is_out_of_range_is_told():
    with pytest.raises(SizingError) as told:
        habits.stations_as_runs(0.01, 1.0, 10, 12, 6)
    head = "What the habit costs cannot be told.\n"
    assert str(told.value) == f"{head}  run_value: 0.01 was given; expected no less than station / count."
    with pytest.raises(SizingError) as told:
        habits.stations_as_runs(-1.0, 1.0, 1, 1, 0, alpha=2.0)
    assert str(told.value) == (
        f"{head}  run_value: -1 was given; expected a number above 0.\n"
        "  alpha: 2 was given; expected a share between 0 and 1, both excluded.\n"
        "  count: 1 was given; expected 2 or more.\n  error_df: 0 was given; expected 1 or more.\n"
        "  runs: 1 was given; expected 2 or more."
    )
    for call in (habits.stops, habits.goes_on):
        with pytest.raises(SizingError) as told:
            call([0.1])
        expected = "  p_values: an array of shape (1,) was given; expected one row a campaign, one column a look."
        assert str(told.value) == head + expected
