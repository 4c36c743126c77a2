"""Variance components of run values and of stations against published data and hand-worked layouts."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.brief.model import Stations
from toolkit.model.components import table
from toolkit.model.fit import fit

# Davies and Goldsmith, Statistical Methods in Research and Production (1972), dyestuff: yield of five preparations
# of each of six batches; here batches as runs and preparations as stations.
DYESTUFF = {
    "A": (1545, 1440, 1440, 1520, 1580), "B": (1540, 1555, 1490, 1560, 1495), "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545), "E": (1595, 1630, 1515, 1635, 1625), "F": (1520, 1455, 1450, 1480, 1445),
}
# The same book: strength of pastes, two assays of each of three casks of ten deliveries; here deliveries as builds,
# casks as runs and assays as stations.
PASTES = """62.8 62.6 60.1 62.3 62.7 63.1 60 61.4 57.5 56.9 61.1 58.9 58.7 57.5 63.9 63.1 65.4 63.7 57.1 56.4 56.9 58.6
64.7 64.5 55.1 55.1 54.7 54.2 58.8 57.5 63.4 64.9 59.3 58.1 60.5 60 62.5 62.6 61 58.7 56.9 57.7 59.2 59.4 65.2 66 64.8
64.1 54.8 54.8 64 64 57.7 56.8 58.3 59.3 59.2 59.2 58.9 56.6"""


def test_dyestuff_batches_and_preparations():
    lines = [(batch, f"{batch}{at}", value) for batch, values in DYESTUFF.items() for at, value in enumerate(values)]
    stations = pd.DataFrame(lines, columns=["run_id", "station_id", "dye"])
    runs = stations.groupby("run_id", as_index=False)["dye"].mean().assign(pin="P0")
    brief = brief_of(runs, ["pin"], "dye", levels={"pin": ["P0", "P1"]}, stations=Stations("preparation", 5))
    found = table(brief, runs, "dye", stations=stations).set_index("source")
    # R 4.2.2: mean squares 11271.5 on 5 df and 2451.25 on 24 df; components 1764.05 and 2451.25, exact chi-square
    # interval of the variance within 1494.50982834527 to 4743.91479568121.
    assert found.loc["run", "variance"] == pytest.approx(1764.05, rel=1e-9)
    assert found.loc["run", "df"] == 5
    assert found.loc["station", "variance"] == pytest.approx(2451.25, rel=1e-9)
    assert found.loc["station", "conf_low"] == pytest.approx(math.sqrt(1494.50982834527), rel=1e-9)
    assert found.loc["station", "conf_high"] == pytest.approx(math.sqrt(4743.91479568121), rel=1e-9)
    assert found.loc["run value", "variance"] == pytest.approx(11271.5 / 5, rel=1e-9)
    # No scatter between batches is excluded where F = 4.598 exceeds F(0.975; 5, 24) = 3.155: the lower limit is
    # above 0.
    assert 0.0 < found.loc["run", "conf_low"] < math.sqrt(1764.05) < found.loc["run", "conf_high"]
    assert found.loc["station", "note"] == (
        "in the unit of the response; within runs; the scatter of the readings is in it")


def test_pastes_deliveries_casks_and_assays():
    values = [float(value) for value in PASTES.split()]
    lines = [(f"D{at // 6}", f"D{at // 6}c{at % 6 // 2}", f"s{at}", value) for at, value in enumerate(values)]
    stations = pd.DataFrame(lines, columns=["build_id", "run_id", "station_id", "strength"])
    runs = stations.groupby(["build_id", "run_id"], as_index=False)["strength"].mean().assign(pin="P0")
    brief = brief_of(runs, ["pin"], "strength", levels={"pin": ["P0", "P1"]}, build_level=["pin"],
                     stations=Stations("assay", 2))
    found = table(brief, runs, "strength", stations=stations).set_index("source")
    # R 4.2.2, expected mean squares: batch 1.65730864197531, cask 8.43366666666667, assay 0.677999999999997.
    assert found.loc["build", "variance"] == pytest.approx(1.65730864197531, rel=1e-9)
    assert found.loc["run", "variance"] == pytest.approx(8.43366666666667, rel=1e-9)
    assert found.loc["station", "variance"] == pytest.approx(0.677999999999997, rel=1e-9)
    assert list(found["df"]) == [20, 9, 20, 30]
    # F = 1.567 on 9 and 20 df is not significant: no scatter between deliveries is not excluded.
    assert found.loc["build", "conf_low"] == 0.0


Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
SEGMENTS = np.array([1.0, 1.3, 0.8])


def measured(seed, *, sd=0.2, shift=0.0):
    """The invented 2x2 with three segments a run whose places wear differently; run values are their means."""
    draw = np.random.default_rng(seed)
    lines = [(f"R{at + 1:03d}", f"S{place}", value * share * math.exp(draw.normal(0, sd)) + shift)
             for at, value in enumerate(INVENTED) for place, share in enumerate(SEGMENTS)]
    stations = pd.DataFrame(lines, columns=["run_id", "station_id", Y])
    data = DATA.assign(**{Y: stations.groupby("run_id")[Y].mean().to_numpy()})
    brief = brief_of(data, ["pin", "oil"], Y, block="build", scale="log", per_run="mean",
                     stations=Stations("segment", 3, 2, ("before", "after")))
    return brief, runs_of(data, ["pin", "oil"], Y, build="build"), stations


def by_hand(square):
    """The mean square of position by run of a full table, runs by positions."""
    rest = square - square.mean(axis=0) - square.mean(axis=1, keepdims=True) + square.mean()
    return (rest**2).sum() / ((square.shape[0] - 1) * (square.shape[1] - 1))


def test_positions_are_taken_out_of_the_stations():
    brief, runs, stations = measured(1)
    found = table(brief, runs, Y, stations=stations).set_index("source")
    error, df = fit(brief, runs, Y).mean_squares["run"]
    expected = by_hand(np.log(stations[Y].to_numpy().reshape(12, 3)))
    row = found.loc["station"]
    assert (row["variance"], row["df"]) == (pytest.approx(expected, rel=1e-9), 22)
    assert row["conf_low"] == pytest.approx(math.sqrt(expected * 22 / stats.chi2.ppf(0.975, 22)), rel=1e-9)
    assert row["note"] == ("ln of the station values; position means taken out (position × run); the scatter of the "
                           "readings is in it")
    planning = found.loc["run value"]
    assert (planning["variance"], planning["df"]) == (pytest.approx(error, rel=1e-12), df)
    assert planning["conf_high"] == pytest.approx(math.sqrt(error * 6 / stats.chi2.ppf(0.025, 6)), rel=1e-9)
    assert planning["note"] == "between runs of the same combination and build"
    assert found.loc["run", "variance"] == pytest.approx(error - expected / 3, rel=1e-9)


def test_a_negative_variance_is_shown_with_its_sign():
    brief, runs, stations = measured(4, sd=0.35)
    row = table(brief, runs, Y, stations=stations).set_index("source").loc["run"]
    assert row["variance"] < 0.0
    assert (row["sd"], row["conf_low"]) == (0.0, 0.0)
    assert row["note"] == (
        f"between runs, less the share of the stations; the variance comes out negative ({row['variance']:.3g}): what "
        f"lies below it scatters enough to explain it all, so the SD is shown as 0")


def test_stations_at_or_below_zero_are_taken_relative_to_their_run():
    brief, runs, stations = measured(3, shift=-0.06)
    count = int((stations[Y] <= 0).sum())
    assert count > 0
    row = table(brief, runs, Y, stations=stations).set_index("source").loc["station"]
    square = stations[Y].to_numpy().reshape(12, 3)
    assert row["variance"] == pytest.approx(by_hand(square / square.mean(axis=1, keepdims=True)), rel=1e-9)
    assert row["note"].startswith(f"relative to the mean of the run ({count} stations are at or below 0); ")


def test_readings_are_taken_out_of_the_stations():
    brief, runs, stations = measured(4)
    draw = np.random.default_rng(5)
    lines = []
    for row in stations.to_dict("records"):
        for state, level in (("before", 0.0), ("after", row[Y])):
            noise = draw.normal(0, 0.004, 2)
            lines += [(row["run_id"], row["station_id"], state, at + 1, level + one)
                      for at, one in enumerate(noise - noise.mean())]
    readings = pd.DataFrame(lines, columns=["run_id", "station_id", "state", "reading", Y])
    found = table(brief, runs, Y, stations=stations, readings=readings).set_index("source")
    # Two readings: their variance is half the squared difference; a wear value takes one before and one after.
    pairs = readings[Y].to_numpy().reshape(12, 3, 2, 2)
    half = (pairs[..., 0] - pairs[..., 1]) ** 2 / 2 / stations[Y].to_numpy().reshape(12, 3, 1) ** 2
    reading = 2 * half.mean()
    assert found.loc["reading", "variance"] == pytest.approx(reading, rel=1e-9)
    assert found.loc["reading", "df"] == 72
    assert found.loc["reading", "note"] == "ln of the station values; wear from single readings (one before, one after)"
    alone = by_hand(np.log(stations[Y].to_numpy().reshape(12, 3)))
    assert found.loc["station", "variance"] == pytest.approx(alone - reading / 2, rel=1e-9)
    assert found.loc["station", "note"] == (
        "ln of the station values; position means taken out (position × run), less the share of the readings")


def test_unequal_numbers_of_stations_keep_the_station_line():
    brief, runs, stations = measured(6)
    stations.loc[4, Y] = np.nan
    found = table(brief, runs, Y, stations=stations).set_index("source")
    assert found.loc["station", "df"] == 21
    assert "; 1 stations without a value left out" in found.loc["station", "note"]
    assert found.loc["run", "sd"] is None
    assert found.loc["run", "note"] == ("between runs, less the share of the stations: not told, because the runs hold "
                                        "different numbers of stations")


def test_blocks_that_are_alike_show_the_scatter_between_builds():
    brief, runs, _ = measured(7)
    row = table(brief, runs, Y).set_index("source").loc["build"]
    square = np.log(runs[Y].to_numpy()).reshape(3, 4)
    between = 4 * ((square.mean(axis=1) - square.mean()) ** 2).sum() / 2
    error, _ = fit(brief, runs, Y).mean_squares["run"]
    assert row["variance"] == pytest.approx((between - error) / 4, rel=1e-9)
    assert row["note"].startswith(
        "between builds, less the share of the runs; builds are blocks, so it touches no comparison")
    fewer = table(brief, runs.iloc[1:], Y).set_index("source").loc["build"]
    assert (fewer["sd"], fewer["note"]) == (None, "not told: the builds do not hold the same combinations")


def test_a_pilot_alone_is_taken_when_there_is_no_main_phase():
    brief, runs, stations = measured(8)
    pilot = runs[runs["pin"] + runs["oil"] != "P1O1"].assign(phase="pilot")
    found = table(brief, pilot, Y, stations=stations).set_index("source")
    assert found.loc["run value", "df"] == 9 - 3 - 2
    both = pd.concat([pilot.assign(run_id="P" + pilot["run_id"]), runs.assign(phase="main")], ignore_index=True)
    assert table(brief, both, Y).set_index("source").loc["run value", "df"] == 6
    assert table(brief, both, Y, phase="pilot").set_index("source").loc["run value", "df"] == 4


def test_what_cannot_be_told_keeps_its_row():
    brief, runs, stations = measured(9)
    found = table(brief, runs.iloc[:4], Y, stations=stations).set_index("source")
    assert [found.loc["run value", name] for name in ("sd", "conf_low", "df", "variance")] == [None] * 4
    assert found.loc["run value", "note"] == (
        "between runs of the same combination and build: no degrees of freedom to tell it")
    largest = brief_of(DATA, ["pin", "oil"], Y, scale="log", per_run="max", stations=Stations("segment", 3))
    assert table(largest, runs, Y, stations=stations).set_index("source").loc["station", "note"] == (
        "not split: the run value is the largest station, and its scatter is not a sum of parts")
