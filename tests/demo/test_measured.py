"""The INVENTED campaign of pin wear: every slip that was put in is found, and nothing else."""

from __future__ import annotations

import pytest

from tests.demo import clean_campaigns
from tests.demo.make_data import MEASURED
from toolkit.demo import bundled, measured

# Each slip: the run it is in, the rule that finds it, and the column that is named.
FOUND = {
    "aborted": ("R07", "window", "run_time_h"),
    "ends swapped": ("R03", "ends swapped", "pin_wear_um"),
    "wrong part": ("R06", "wrong part", "pin_wear_um"),
    "unit of a trace": ("R12", "unit of a trace", "pin_wear_um"),
    "serial": ("R09", "part in several runs", "part_id"),
    "inch": ("R08", "readings far apart", "elongation_pct"),
    "lost sample": ("R04", "lost", "fe_ppm"),
    "wrong oil": ("R10", "fingerprint", "ca_ppm"),
    "dirt": ("R09", "contamination", "si_ppm"),
    "carry-over": ("R12", "carry-over", "mo_ppm"),
    "coarse debris": ("R02", "coarse debris", "ferrous_index"),
    "duplicates": ("R01", "duplicates", "fe_ppm"),
    "gauge drift": (None, "gauge drift", "elongation_pct"),
}
# What goes along: a wrong oil looks as if all of it were carried over, and an aborted run has no last sample.
ALONG = {("R10", "carry-over", "mo_ppm"), ("R07", "last sample", "fe_ppm")}


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return bundled.bring(MEASURED, tmp_path_factory.mktemp("pins"), phases=("main",)).records()


def test_every_slip_is_found_and_nothing_else(records):
    told = {
        (row["run_id"], row["rule"], row["column"])
        for row in records.findings.to_dict("records")
        if not (row["run_id"] == "R04" and row["rule"] == "lost" and row["column"] != "fe_ppm")
    }
    # Metal that the parts cannot have lost is told by the mass balance, in the analysis.
    assert set(FOUND) == set(measured.SLIPS) - {"metal lost"}
    assert told == {*FOUND.values(), *ALONG}


def test_the_wear_of_a_clean_trace_is_what_was_put_in(records):
    # R01 is clean: its pins wear 35 micrometre for a per cent of the chain, within the scatter of runs and pins (ln).
    chain, pin = (records.runs.set_index("run_id").at["R01", name] for name in ("elongation_pct", "pin_wear_um"))
    assert 0.8 < pin / (measured.PIN_UM_PER_PCT * chain) < 1.25
    # One reading of a trace scatters by 0.1 micrometre.
    scatter = records.metrology.traces.table.set_index(["run_id", "station_id"])["scatter"]
    assert float(scatter["R01"].mean()) == pytest.approx(measured.TRACE_SD, rel=0.3)


def test_the_drift_put_in_is_the_drift_found(records):
    (bar,) = records.metrology.drifts
    assert bar.drift.slope_low < measured.DRIFT_PCT_A_DAY < bar.drift.slope_high and bar.shown


@pytest.mark.parametrize("seed", [10_001, 10_002])
def test_a_clean_campaign_has_no_finding(tmp_path, seed):
    # `python -m tests.demo.clean_campaigns 200` draws more.
    assert clean_campaigns.found(tmp_path, seed).to_dict("records") == []
