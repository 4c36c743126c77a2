"""Blank tables have the headings intake asks for, and put into raw/ as they are they read as runs still pending."""

from __future__ import annotations

import pytest

from toolkit import shipped
from toolkit.brief import reading
from toolkit.design import factorial, orders
from toolkit.intake import blank, records


@pytest.mark.parametrize("name", ["chain-soot", "tappet-finish", "sprocket-build"])
def test_blank_tables_of_a_plan_read_as_pending_runs(name, tmp_path):
    brief = reading.parse((shipped.folder("data") / name / "campaign.toml").read_text(encoding="utf-8"))
    planned = orders.randomise(factorial.full(brief), seed=1).table
    made = blank.tables(brief, planned)
    assert set(made["runs"]["verdict"]) == {"pending"}
    assert list(made["runs"]["run_id"]) == list(planned["run_id"])
    (tmp_path / "raw").mkdir()
    made["runs"].to_csv(tmp_path / "raw" / "runs.csv", index=False)
    if brief.scatter.history:
        history = (shipped.folder("data") / name / brief.scatter.history).read_bytes()
        (tmp_path / brief.scatter.history).write_bytes(history)
    found = records.read(tmp_path, brief, plan=planned)
    assert set(found.runs["verdict"]) == {"pending"}
    assert len(found.runs) == len(planned)


def test_one_line_a_reading_and_a_sample_at_each_end():
    brief = reading.parse((shipped.folder("data") / "chain-soot" / "campaign.toml").read_text(encoding="utf-8"))
    planned = orders.randomise(factorial.full(brief), seed=1).table
    made = blank.tables(brief, planned)
    assert list(made["stations"].columns) == ["run_id", "part_id", "station_id", "reading", "state", "elongation_pct"]
    assert len(made["stations"]) == 12 * 2 * 10 * 2
    assert made["stations"].iloc[0].to_dict() == {
        "run_id": "R01",
        "part_id": "",
        "station_id": "SEG01",
        "reading": "1",
        "state": "before",
        "elongation_pct": "",
    }
    assert made["oil"].iloc[:2].to_numpy().tolist() == [["R01", "R01-start", "0", ""], ["R01", "R01-end", "100", ""]]
    assert {"downtime_h", "si_ppm"} <= set(made["runs"].columns)
