"""Records as a whole: from a folder, from frames, out again; copies, JSON, HTML, levels, centre points."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit import stamp
from toolkit.brief.model import PlanChoice
from toolkit.errors import IntakeError
from toolkit.intake import records

FRAMES = ("runs", "readings", "stations", "oil", "history", "findings")


def typed() -> dict[str, pd.DataFrame]:
    """The tables as pandas reads them by itself: numbers as numbers, blanks as NaN."""
    made = {name: frame.replace("", None) for name, frame in material.frames().items()}
    for frame in made.values():
        for name in frame.columns:
            if name not in ("run_id", "station_id"):
                try:
                    frame[name] = pd.to_numeric(frame[name])
                except (ValueError, TypeError):
                    continue
    return made


def tables(frames: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The frames by the names ``from_tables`` has for them."""
    return {name.replace("rig-", ""): frame for name, frame in frames.items()}


def test_run_values_of_the_small_campaign(tmp_path):
    read = records.read(material.folder(tmp_path), material.brief())
    assert list(read.runs.columns) == [
        "run_id", "phase", "build_id", "planned_order", "actual_order", "pin", "load_Nm", "run_time_h",
        "sump_temp_degC", "soot_pct", "downtime_h", "verdict", "reason", "role", "elongation_pct", "fe_ppm",
        "fe_ppm_below_limit", "torque_Nm",
    ]  # fmt: skip
    rows = read.runs.set_index("run_id")
    # Wear of segment s is 0.11 + 0.001 s + 0.003 - 0.002, plus 0.01 a run: mean over s = 1, 2, 3 is 0.113.
    assert rows["elongation_pct"].to_numpy()[:5] == pytest.approx([0.113, 0.123, 0.133, 0.143, 0.153], abs=1e-12)
    assert rows["fe_ppm"].to_numpy()[:5] == pytest.approx([29.0, 30.5, 26.75, 28.0, 25.0], abs=1e-12)
    assert list(rows["torque_Nm"])[:5] == [120.5, 120.1, 121.0, 119.9, 120.7]
    assert list(rows["verdict"]) == ["valid"] * 5 + ["invalid", "pending"]
    assert rows.loc[["R05", "R06"], ["elongation_pct", "fe_ppm", "torque_Nm"]].isna().all(axis=None)
    assert rows.at["R05", "reason"] == "aborted, coolant leak"
    assert rows.at["R06", "reason"] == ""
    assert list(rows["load_Nm"]) == ["100", "100", "150.5", "150.5", "100", "100", "100"]
    assert read.notes == ("7 runs: 5 valid, 1 invalid, 1 pending.", "2 findings: 2 note.")


def test_inputs_are_the_checksums_of_the_files(tmp_path):
    folder = material.folder(tmp_path, oil=None)
    read = records.read(folder, material.brief())
    assert read.inputs == {
        name: stamp.checksum_bytes((folder / name).read_bytes())
        for name in ("raw/runs.csv", "raw/stations.csv", "raw/rig-history.csv")
    }


@pytest.mark.parametrize("frames", [material.frames, typed])
def test_frames_and_files_give_the_same_records(tmp_path, frames):
    from_files = records.read(material.folder(tmp_path), material.brief(), plan=material.plan())
    given = frames()
    before = {name: frame.copy() for name, frame in given.items()}
    from_frames = records.from_tables(material.brief(), **tables(given), plan=material.plan())
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(from_files, name), getattr(from_frames, name))
    for name, frame in given.items():
        pd.testing.assert_frame_equal(frame, before[name])
    assert from_frames.inputs == {}


def test_records_go_out_and_come_in_again_to_the_last_digit():
    rng = np.random.default_rng(3)
    given = tables(typed())
    given["stations"]["elongation_pct"] += rng.normal(0, 1e-3, len(given["stations"]))
    given["oil"]["fe_ppm"] *= 1 + rng.normal(0, 1e-9, len(given["oil"]))
    first = records.from_tables(material.brief(), **given)
    assert list(first.readings["elongation_pct"]) == list(given["stations"]["elongation_pct"])
    assert list(first.oil["fe_ppm"]) == list(given["oil"]["fe_ppm"])
    again = records.from_tables(
        material.brief(),
        runs=first.runs.drop(columns=["elongation_pct", "fe_ppm", "fe_ppm_below_limit"]),
        stations=first.readings,
        oil=first.oil,
        history=first.history,
    )
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(first, name), getattr(again, name), check_exact=True)


def test_what_is_handed_out_is_a_copy(tmp_path):
    read = records.read(material.folder(tmp_path), material.brief())
    for name in FRAMES:
        given = getattr(read, name)
        given.iloc[:, 0] = "changed"
        assert "changed" not in set(getattr(read, name).iloc[:, 0])
    with pytest.raises(AttributeError):
        read.brief = None


def test_json_has_null_and_never_nan(tmp_path):
    read = records.read(material.folder(tmp_path), material.brief())
    text = json.dumps(read.to_json(), allow_nan=False)
    back = json.loads(text)
    assert list(back) == [
        "campaign", "inputs", "notes", "runs", "stations", "oil", "history", "findings",
        "corrections", "as_built", "proposals",
    ]  # fmt: skip
    assert back["runs"][6]["elongation_pct"] is None
    assert back["runs"][6]["actual_order"] is None
    assert back["runs"][0]["elongation_pct"] == pytest.approx(0.113, abs=1e-12)
    assert back["runs"][0]["fe_ppm_below_limit"] is False
    assert back["findings"][0] == {
        "severity": "note", "run_id": "R05", "part_id": None, "column": "run_time_h", "rule": "window",
        "found": "37.5 h", "expected": "99 to 101 h", "action": "none: the run is void",
    }  # fmt: skip
    assert records.read(material.folder(tmp_path / "b", oil=None, stations=None), material.brief()).to_json()[
        "stations"
    ] is None  # fmt: skip


def test_text_of_the_records_is_escaped_in_html(tmp_path):
    runs = material.RUNS.replace("R05,", "<script>alert(1)</script>,")
    shown = records.read(material.folder(tmp_path, runs=runs), material.brief())._repr_html_()
    assert "<script>" not in shown
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in shown
    assert shown.startswith("<p>7 runs: 5 valid, 1 invalid, 1 pending. 2 findings: 2 note.</p>")
    assert "nan" not in shown.casefold()


def test_names_that_look_like_nothing_stay_names(tmp_path):
    def renamed(text: str) -> str:
        return text.replace("R01,", "NA,").replace("R02,", "None,").replace("R03,", "007,")

    made = {name.replace("rig-", ""): renamed(text) for name, text in material.texts().items()}
    read = records.read(material.folder(tmp_path, **made), material.brief())
    assert list(read.runs["run_id"]) == ["P01", "NA", "None", "007", "R04", "R05", "R06"]
    assert read.runs["elongation_pct"].notna().sum() == 5


def test_a_void_run_may_leave_its_figures_blank_and_a_note_column_is_kept(tmp_path):
    runs = material.RUNS.replace(",role\n", ",role,note\n").replace("engineer\n", "engineer,seen\n")
    runs = runs.replace("pending,,\n", "pending,,,\n").replace("37.5,100.2,3.05,30,", "lost,,,,")
    read = records.read(material.folder(tmp_path, runs=runs), material.brief())
    assert list(read.runs["note"]) == ["seen"] * 6 + [""]
    assert np.isnan(read.runs.set_index("run_id").at["R05", "run_time_h"])


def test_a_blank_verdict_is_pending_and_capitals_do_not_matter(tmp_path):
    runs = material.RUNS.replace("pending", "").replace("invalid", "Not Interpretable").replace("valid", "VALID")
    read = records.read(material.folder(tmp_path, runs=runs), material.brief())
    assert list(read.runs["verdict"]) == ["valid"] * 5 + ["not interpretable", "pending"]


def test_centre_points_are_a_level_where_they_are_planned(tmp_path):
    runs = material.with_cell(material.RUNS, 3, "load_Nm", "125.25")
    folder = material.folder(tmp_path, runs=runs)
    with pytest.raises(IntakeError, match="'125.25'; expected a level of load_Nm: '100' or '150.5'"):
        records.read(folder, material.brief())
    read = records.read(folder, material.brief(plan=PlanChoice(builds=2, centre_points=1)))
    assert read.runs.at[1, "load_Nm"] == "centre"


def test_frames_have_faults_too_with_table_row_and_column():
    given = tables(typed())
    given["runs"].loc[1, "soot_pct"] = np.inf
    given["runs"]["pin"] = given["runs"]["pin"].astype(object)
    given["runs"].loc[2, "pin"] = 3
    given["oil"] = [1, 2]
    with pytest.raises(IntakeError) as caught:
        records.from_tables(material.brief(), **given)
    assert str(caught.value).split("\n")[1:] == [
        "  oil: a list; expected a pandas DataFrame.",
        "  runs row 2, column soot_pct: 'inf'; expected a finite number. Write 'lost' where there is no figure.",
        "  runs row 3, column pin: '3'; expected a level of pin: 'P0' or 'P1'.",
    ]
    with pytest.raises(IntakeError) as caught:
        records.from_tables(material.brief(), runs=None)
    assert str(caught.value).split("\n")[1:] == ["  runs: no table of runs; expected a DataFrame with one row a run."]
    with pytest.raises(IntakeError) as caught:
        records.from_tables(material.brief(), runs=pd.DataFrame({"run_id": ["R1"] * 20_001}))
    assert str(caught.value).split("\n")[1:] == [
        "  runs: 20001 rows in 1 columns; expected at most 20000 rows in 500 columns."
    ]


def test_rows_of_the_history_for_another_response_are_told(tmp_path):
    text = material.HISTORY.replace("C2,elongation_pct", "C2,elongaton_pct")
    read = records.read(material.folder(tmp_path, history=text), material.brief())
    assert list(read.history["response"]).count("elongation_pct") == 3
    assert list(read.findings.iloc[0]) == [
        "note", None, None, "response", "other response", "raw/rig-history.csv line 3: elongaton_pct",
        "a response of the brief: elongation_pct, fe_ppm, torque_Nm", "Did you mean 'elongation_pct'?",
    ]  # fmt: skip


def test_a_reason_that_turns_words_about_is_kept_with_the_sign_spelt_out(tmp_path):
    said = '"aborted, coolant leak",test engineer'
    assert material.RUNS.count(said) == 1
    runs = material.RUNS.replace(said, "hose \u202etsrub,test\u200f engineer")
    read = records.read(material.folder(tmp_path, runs=runs), material.brief())
    row = read.runs[read.runs["verdict"] == "invalid"].iloc[0]
    assert (row["reason"], row["role"]) == ("hose \\u202etsrub", "test\\u200f engineer")
