"""The INVENTED campaign of pin wear: every slip that was put in is found, and nothing else."""

from __future__ import annotations

import pytest

from tests.demo import clean_campaigns
from tests.demo.make_data import MEASURED
from tests.replay import shop
from toolkit.campaign import sheets, steps, taking, verify
from toolkit.demo import bundled, measured
from toolkit.errors import IntegrityError

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


@pytest.mark.parametrize("seed", [10_001, 10_002, 10_155])
def test_a_clean_campaign_has_no_finding(tmp_path, seed):
    # `python -m tests.demo.clean_campaigns 200` draws more; of these the last holds the most iron over its wear.
    assert clean_campaigns.found(tmp_path, seed).to_dict("records") == []


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    """The same with the codes that were issued: planned, sheets written, then all of it handed in."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-04-01T08:00:00+00:00")
        to = tmp_path_factory.mktemp("issued")
        c = bundled.bring(MEASURED, to)
        steps.plan(c, phase="main")
        sheets.issue(c, hours=measured.HOURS)
        return bundled.bring(MEASURED, to, phases=("main",))


def test_every_slip_is_found_by_the_codes_that_were_issued(issued):
    parts = {row["run_id"]: row["part_id"] for row in shop.parts(issued.folder, "1-main")}
    # Traces are called after the codes, and a sample that was drawn twice has a code of its own.
    assert (issued.folder / f"raw/traces/R03_{parts['R03']}.csv").is_file()
    oil = shop.rows(issued.folder / "raw/oil.csv")
    twice = [row["sample_id"] for row in oil if (row["run_id"], row["at_h"]) == ("R01", "60")]
    assert len(twice) == 2 and twice[1] == f"{twice[0]}-2"
    told = {(row["run_id"], row["rule"], row["column"]) for row in issued.records().findings.to_dict("records")
            if not (row["run_id"] == "R04" and row["rule"] == "lost" and row["column"] != "fe_ppm")}  # fmt: skip
    # The register knows whose part was named for R05.
    assert told == {*FOUND.values(), *ALONG, ("R05", "part of another run", "part_id")}


def test_what_was_handed_in_is_kept_and_watched_as_what_it_is(issued):
    made = taking.take(issued)
    kinds = {item.given_as: item.kind for item in made.new}
    assert kinds["raw/masters.csv"] == "masters" and kinds["raw/gauge.csv"] == "gauge study"
    assert {kind for name, kind in kinds.items() if name.startswith("raw/traces/")} == {"traces"}
    study = issued.folder / "raw/gauge.csv"
    study.write_text(study.read_text().replace(",PIN1,1,", ",PIN1,9,", 1))
    with pytest.raises(IntegrityError, match="raw/gauge.csv: changed since it was taken in: line 2 of raw/received/"):
        verify.verify(issued)
