"""Where a campaign stands, at every stage: without a plan, sealed, issued, under way, finished, with lost runs."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from tests.replay import shop
from toolkit import shipped
from toolkit.campaign import (
    folder,
    log,
    manifest,
    reported,
    seal,
    sheets,
    status,
    steps,
    storage,
    taking,
    what_next,
)
from toolkit.errors import IntegrityError

PILOT = "0-pilot"


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    """A campaign whose pilot is sealed and issued, nothing come back."""
    root = tmp_path_factory.mktemp("status") / "chain"
    source = shipped.folder("data") / "chain-soot"
    root.mkdir()
    text = (source / "campaign.toml").read_text(encoding="utf-8")
    (root / "campaign.toml").write_text(re.sub(r"(?m)^history .*\n", "", text), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        campaign = folder.open_campaign(root)
        steps.plan(campaign, phase="pilot")
        sheets.issue(campaign)
    return root


@pytest.fixture
def chain(issued, tmp_path):
    shutil.copytree(issued, tmp_path / "chain")
    return folder.open_campaign(tmp_path / "chain")


def stood(campaign):
    """Run to stage, verdict and what is missing."""
    table = status.status(campaign).table
    return {row["run_id"]: (row["stage"], row["verdict"], row["missing"]) for row in table.to_dict("records")}


def test_nothing_planned_and_nothing_recorded(tmp_path):
    (tmp_path / "c").mkdir()
    shutil.copy(shipped.folder("data") / "tappet-finish" / "campaign.toml", tmp_path / "c")
    found = status.status(folder.open_campaign(tmp_path / "c"))
    assert (found.phases, found.lost, len(found.table), found.faults) == ((), (), 0, "")
    assert found.next == ("plan the pilot: wearbook plan CAMPAIGN --phase pilot",)


def test_recorded_without_a_plan_with_a_lost_run():
    campaign = folder.open_campaign(shipped.folder("data") / "chain-soot")
    found = status.status(campaign)
    assert [(item.name, item.seal, item.issued, item.stages, item.verdicts) for item in found.phases] == [
        ("pilot", "", "", {"judged": 4}, {"valid": 4}),
        ("main", "", "", {"judged": 12}, {"valid": 11, "invalid": 1}),
    ]
    assert found.lost == (
        ("R08", "invalid: stopped at 41.3 h: coolant hose burst; chain measured, not to be compared"),
    )
    away = found.table.set_index("run_id")["deviations"]
    assert {run: text for run, text in away.items() if text} == {
        "P02": "P02.csv.gz: line 6253, the last one, breaks off (expected a file that was closed)",
        "R03": "1 gap, 0.417 h in all, the longest 0.417 h (expected a clock that goes on); run_time_h: 100.2 h "
        "in the table of runs (expected 99.8 h, as recorded)",
        "R05": "1 time the clock went back (first from 169140 s to 0 s): a restart, or a clock that was set "
        "(expected a clock that goes on)",
        "R06": "sump_temp_degC: 30 of 6252 readings missing, for 0.517 h at a time (expected a channel that is "
        "recorded throughout)",
        "R08": "3 full-load sweeps (expected 6 by the protocol); run_time_h: 41.3 h (expected 99 to 101 h)",
        "R09": "5 full-load sweeps (expected 6 by the protocol)",
        "R10": "sump_temp_degC: quality index -3.15: 60 % of the time within 98.5 to 101.5 °C, furthest 105.5 "
        "°C (expected 0 or more); sump_temp_degC: 101.803 °C (expected 98.5 to 101.5 °C)",
        "R11": "1 time the clock went back (first from 259140 s to 255600 s): a restart, or a clock that was "
        "set (expected a clock that goes on)",
    }
    assert set(found.table["missing"]) == {""}
    assert found.next == ("the answers: wearbook analyse CAMPAIGN",)


def test_from_the_seal_to_the_last_run(chain):
    shutil.rmtree(chain.folder / "runsheets")
    for name in ("parts.csv", "samples.csv"):
        (chain.folder / "plan" / PILOT / name).unlink()
    text = (chain.folder / "log.csv").read_text().splitlines(keepends=True)
    (chain.folder / "log.csv").write_text("".join(text[:3]))
    assert stood(chain) == {f"P0{place}": ("planned", "pending", "its run sheet") for place in range(1, 5)}
    found = status.status(chain)
    assert found.phases[0].seal == chain.plan("pilot")["seal"]
    assert found.next == (
        "issue sheets and registers: wearbook sheets CAMPAIGN --phase pilot",
        "make P01, P02, P03, P04; take the filled sheets in: wearbook intake CAMPAIGN FILE...",
    )
    sheets.issue(chain)
    assert stood(chain) == {f"P0{place}": ("sheet issued", "pending", "its run sheet") for place in range(1, 5)}

    tray = chain.folder.parent / "tray"
    tray.mkdir()
    built = [shop.as_planned(chain.folder, PILOT, f"P0{place}") for place in range(1, 5)]
    taking.take(chain, [shop.run_sheet(chain.folder, PILOT, built[0], tray / "P01.xlsx", order=1)])
    late = shop.run_sheet(
        chain.folder, PILOT, built[1], tray / "P02.xlsx", order=2, verdict="", role="", sump_temp_degC=102.0
    )
    taking.take(chain, [late])
    wear = "part before to measure; part after to measure"
    assert stood(chain) == {
        "P01": ("judged", "valid", f"{wear}; oil samples to come back"),
        "P02": ("sheet back", "pending", f"{wear}; oil samples to come back; verdict"),
        "P03": ("sheet issued", "pending", "its run sheet"),
        "P04": ("sheet issued", "pending", "its run sheet"),
    }
    found = status.status(chain)
    assert found.table.set_index("run_id").at["P02", "deviations"] == (
        "sump_temp_degC: 102 °C (expected 98.5 to 101.5 °C)"
    )
    assert found.next == (
        "make P03, P04; take the filled sheets in: wearbook intake CAMPAIGN FILE...",
        "measurements are missing of P01, P02; take them in: wearbook intake CAMPAIGN FILE...",
        "judge P02 before wear is looked at: wearbook note CAMPAIGN P02 --verdict VERDICT --reason TEXT --role ROLE",
    )
    taking.take(chain, [shop.measured(chain.folder, PILOT, "before", built, tray / "before.xlsx")])
    taking.take(chain, [shop.measured(chain.folder, PILOT, "after", built[:2], tray / "after.xlsx")])
    assert stood(chain)["P02"] == ("measured", "pending", "oil samples to come back; verdict")
    made = [
        shop.run_sheet(chain.folder, PILOT, item, tray / f"{item.run_id}.xlsx", order=at)
        for at, item in ((3, built[2]), (4, built[3]))
    ]
    void = shop.run_sheet(
        chain.folder, PILOT, built[3], tray / "P04.xlsx", order=4, run_time_h=20.0, verdict="invalid", reason="hose"
    )
    taking.take(chain, [made[0], void])
    assert stood(chain)["P03"] == ("judged", "valid", "part after to measure; oil samples to come back")
    assert stood(chain)["P04"] == ("judged", "invalid", "")
    assert status.status(chain).lost == (("P04", "invalid: hose"),)


def test_figures_on_record_as_lost_are_not_waited_for_and_blank_ones_are(tmp_path):
    root = tmp_path / "chain"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    tables = {name: root / "raw" / name for name in ("stations.csv", "oil.csv")}
    whole = {name: path.read_text(encoding="utf-8") for name, path in tables.items()}
    reading, sample = "R01,INV-105,SEG01,2,before,0.0294", "P01,INV-P01-020h,20,16.8,"
    assert reading in whole["stations.csv"] and sample in whole["oil.csv"]

    def missing(word):
        changed = {
            "stations.csv": whole["stations.csv"].replace(reading, f"{reading.rpartition(',')[0]},{word}"),
            "oil.csv": whole["oil.csv"].replace(sample, f"P01,INV-P01-020h,20,{word},"),
        }
        for name, path in tables.items():
            path.write_text(changed[name], encoding="utf-8")
        table = status.status(folder.open_campaign(root)).table.set_index("run_id")
        return table.at["R01", "missing"], table.at["P01", "missing"]

    assert missing("lost") == ("", "")
    asked = len([line for line in whole["stations.csv"].splitlines() if line.startswith("R01,") and "before" in line])
    assert missing("")[0] == f"part before: {asked - 1} of {asked} readings of elongation_pct"


def test_no_measured_wear_is_told(chain):
    campaign = folder.open_campaign(shipped.folder("data") / "chain-soot")
    text = json.dumps(status.status(campaign).to_json())
    runs = campaign.records().runs
    told = [f"{value:.12g}" for name in ("elongation_pct", "fe_ppm") for value in runs[name].dropna()]
    assert [value for value in told if len(value) > 4 and value in text] == []
    assert "elongation" not in text


def test_a_number_of_readings_and_samples_that_is_too_small_is_counted(tmp_path):
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    for name, run, count in (("stations", "R03", 3), ("oil", "R04", 5)):
        path = tmp_path / "c" / "raw" / f"{name}.csv"
        lines = path.read_text().splitlines(keepends=True)
        mine = [line for line in lines if line.startswith(run)]
        gone = mine[-count:]
        path.write_text("".join(line for line in lines if line not in gone))
    found = stood(folder.open_campaign(tmp_path / "c"))
    assert found["R03"] == ("judged", "valid", "part after: 17 of 20 readings of elongation_pct")
    assert found["R04"] == ("judged", "valid", "oil: 1 of 2 samples")


def test_records_out_of_order_and_a_changed_brief_are_told_and_the_plan_is_shown(chain):
    (chain.folder / "raw").mkdir(exist_ok=True)
    (chain.folder / "raw" / "runs.csv").write_text("run_id;phase\nP01;pilot\n")
    found = status.status(chain)
    assert found.faults.startswith("The records are not in order; nothing was read.\n  raw/runs.csv line 1: ")
    assert set(found.table["stage"]) == {"sheet issued"}
    assert set(found.table["missing"]) == {"not known: the records cannot be read"}
    assert found.next == ("put the records right, every fault is told by: wearbook check CAMPAIGN",)
    (chain.folder / "raw" / "runs.csv").unlink()
    path = chain.folder / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("window = [2.7, 3.3]", "window = [2.6, 3.3]"))
    found = status.status(folder.open_campaign(chain.folder))
    assert found.lines[0] == "campaign.toml changed since the pilot phase was sealed: held.soot_pct.window[1]"
    assert found.next == (
        "put the sealed values back, or: wearbook amend CAMPAIGN --phase pilot --reason TEXT --role ROLE",
    )
    assert set(found.table["stage"]) == {"sheet issued"}


def test_what_stopped_commands_left_looks_and_clocks_are_told(chain, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-01T08:00:00+00:00")
    with storage.locked(chain.folder):
        log.look(chain.folder, phase="pilot", subject="x", counted="0 of 4 runs valid", seen={})
    item = manifest.entry(b"x", kind="oil", given_as="lab.csv")
    storage.write_bytes(chain.folder / item.file, b"x")
    storage.write_text(chain.folder / manifest.NAME, manifest._text([item]))
    assert status.status(chain).lines == (
        "lab.csv: a command was stopped while it took this file in; it does not count yet",
        "log.csv line 5: 2026-03-01T08:00:00Z is before a row above it (2026-03-02T08:00:00Z): a clock was wrong or "
        "set back; the order of the rows is that of their chain",
        "results were looked at 1 time, first on 2026-03-01T08:00:00Z",
    )
    text = (chain.folder / "log.csv").read_text().splitlines(keepends=True)
    (chain.folder / "log.csv").write_text("".join(text[:2]))
    assert seal.stopped(chain.folder, "pilot")
    assert status.status(chain).next == ("complete the plan: wearbook plan CAMPAIGN --phase pilot",)


def test_a_broken_log_is_refused(chain):
    path = chain.folder / "log.csv"
    path.write_text(path.read_text().replace("pilot", "main", 1))
    with pytest.raises(IntegrityError) as told:
        status.status(chain)
    assert str(told.value).startswith("log.csv line 2: does not fit the chain of checksums")


def test_json_has_every_run_and_null_for_nothing(chain):
    found = status.status(chain).to_json()
    assert list(found) == ["campaign", "phases", "runs", "lost", "lines", "next", "proposals", "faults"]
    assert found["faults"] is None
    assert found["phases"] == [
        {
            "phase": "pilot",
            "seal": chain.plan("pilot")["seal"],
            "amendment": 0,
            "sealed_after_records": False,
            "sheets": "issued",
            "stages": {"sheet issued": 4},
            "verdicts": {"pending": 4},
        }
    ]
    assert found["runs"][0] == {
        "run_id": "P01",
        "phase": "pilot",
        "build_id": "PB1",
        "planned_order": "1",
        "stage": "sheet issued",
        "verdict": "pending",
        "missing": "its run sheet",
        "deviations": "",
    }


def test_a_report_is_written_or_older_than_what_it_rests_on(chain):
    def told():
        """What is told of the report once results were looked at."""
        return what_next._to_tell(chain, log.read(chain.folder))

    assert told() == "the report: wearbook report CAMPAIGN"
    made = steps.stamp_of(chain)
    page = " ".join([made["records_head"], made["brief_sha256"], *made["raw_sha256"].values()])
    storage.write_text(reported.path_of(chain), page)
    written = (
        "the report is written (report/chain-soot.html); which runs would tell more of what is open: wearbook next "
        "CAMPAIGN"
    )
    older = "report/chain-soot.html is older than what it rests on; write it anew: wearbook report CAMPAIGN"
    assert told() == written
    # Whoever looks changes nothing that the report rests on; a note, a line of the brief or a raw file does.
    log.look(chain.folder, phase="pilot", subject="x", counted="0 of 4 runs valid", seen={})
    assert told() == written
    raw = chain.folder / "raw" / "sessions.csv"
    raw.parent.mkdir(exist_ok=True)
    raw.write_text("session_id\n", encoding="utf-8")
    assert told() == older
    raw.unlink()
    assert told() == written
    log.append(chain.folder, kind="note", phase="pilot", subject="x", what="x")
    assert told() == older
