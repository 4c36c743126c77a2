"""The recordings of the bundled campaign: drawn again, every defect that was put in is found, and nothing else."""

from __future__ import annotations

import gzip

import pytest

from tests.demo import recordings_many
from tests.demo.make_data import DATA, recorded
from toolkit.campaign import folder
from toolkit.demo import bundled


def test_every_recording_is_drawn_again():
    made = recorded()
    there = {f"raw/dyno/{path.name}" for path in (DATA / "chain-soot" / "raw" / "dyno").iterdir()}
    assert there == set(made)
    # Packed bytes differ between versions of the packer; what is in them does not.
    for path, text in made.items():
        assert gzip.decompress((DATA / "chain-soot" / path).read_bytes()).decode() == text
    assert sum((DATA / "chain-soot" / path).stat().st_size for path in made) < 1_500_000


def test_every_defect_of_the_bundled_campaign_is_found_and_nothing_else(tmp_path):
    campaign = bundled.bring("chain-soot", tmp_path / "chain", phases=("pilot", "main"))
    found = folder.open_campaign(campaign.folder).records()
    told = found.findings
    of_recordings = told[told["rule"].isin(["recording", "sweeps", "two figures", "quality index"])]
    assert of_recordings[["run_id", "rule", "found"]].to_numpy().tolist() == [
        ["P02", "recording", "P02.csv.gz: line 6253, the last one, breaks off"],
        ["R03", "recording", "1 gap, 0.417 h in all, the longest 0.417 h"],
        [
            "R05",
            "recording",
            "1 time the clock went back (first from 169140 s to 0 s): a restart, or a clock that was set",
        ],
        ["R06", "recording", "30 of 6252 readings missing, for 0.517 h at a time"],
        ["R08", "sweeps", "3 full-load sweeps"],
        ["R09", "sweeps", "5 full-load sweeps"],
        [
            "R11",
            "recording",
            "1 time the clock went back (first from 259140 s to 255600 s): a restart, or a clock that was set",
        ],
        ["R03", "two figures", "100.2 h in the table of runs"],
        [
            "R10",
            "quality index",
            "quality index -3.15: 60 % of the time within 98.5 to 101.5 °C, furthest 105.5 °C",
        ],
    ]
    proposals = found.proposals.set_index("run_id")
    assert {run: row["proposed"] for run, row in proposals.iterrows() if row["proposed"] != "valid"} == {
        "R08": "review",
        "R10": "review",
    }
    # What is true: the same power in every run at standard conditions, 185 Nm on average from 2500 to 4500 r/min.
    figures = {run: item.figures for run, item in found.recordings.items()}
    assert len(figures) == 16
    assert [item["sweep torque"] for item in figures.values()] == pytest.approx([185.08] * 16, rel=0.006)
    raw = [item["raw sweep torque"] for item in figures.values()]
    assert max(raw) - min(raw) > 4.0


def test_generated_campaigns_of_other_names_are_judged_alike():
    made = recordings_many.tally(2, clean=2, first=500)
    assert (made.clean, made.flagged, made.missed, made.beside) == (4, [], [], [])
