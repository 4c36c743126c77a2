"""Traces, masters, gauge study, oil and earlier reference runs of a small campaign: whole, broken, and broken in pairs;
INVENTED."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.metrology import Master, Reference, Traces
from toolkit.brief.model import Factor, KnownScatter, Level, Protocol, Response, Stations
from toolkit.errors import IntakeError
from toolkit.intake import records

AT = np.arange(0.0, 10.01, 0.25)
BRIEF = material.brief(
    factors=(Factor("pin", "part", (Level("P0"), Level("P1"))),),
    responses=(
        Response("pin_wear_um", stations=Stations("pin", 1)),
        Response("length_um", role="secondary", stations=Stations("link", 1, 1, ("before", "after"))),
        Response("fe_ppm", role="secondary"),
    ),
    held=(), protocol=Protocol(), scatter=KnownScatter(),
    traces=(
        Traces("pin_wear_um", "{run_id}_{part_id}.csv", ((0.0, 2.5), (7.5, 10.0)), (3.0, 7.0),
               columns={"station_id": "Pin", "state": "State", "position": "X mm", "height": "Z um"}),
    ),
    masters=(Master("bar", "length_um", 0.0, correct="session"),),
    reference=Reference(history="raw/reference-runs.csv"),
)  # fmt: skip
CASES = tomllib.loads((Path(__file__).parent / "broken_metrology.toml").read_text(encoding="utf-8"))["case"]


def trace(depth: float) -> str:
    """One pin before and after: a flat top that wears ``depth`` from 3 to 7 mm, between two slopes."""
    form = np.round(-0.2 * np.maximum(np.abs(AT - 5.0) - 2.0, 0.0) ** 2, 3) + 0.0
    worn = form - np.where((AT >= 3.0) & (AT <= 7.0), depth, 0.0)
    rows = [f"PIN1,{state},{at},{value}" for state, part in (("before", form), ("after", worn))
            for at, value in zip(AT, part.round(3) + 0.0, strict=True)]  # fmt: skip
    return "\n".join(["Pin,State,X mm,Z um", *rows]) + "\n"


FILES = {
    "raw/runs.csv": "run_id,phase,build_id,planned_order,actual_order,pin,run_time_h,verdict,reason,role\n"
    "R01,main,B1,1,1,P0,100,valid,,engineer\nR02,main,B1,2,2,P1,100,valid,,engineer\n",
    "raw/traces/R01_A1.csv": trace(2.0),
    "raw/traces/R02_A2.csv": trace(1.5),
    "raw/stations.csv": "run_id,part_id,station_id,reading,session_id,state,length_um\n"
    "R01,A1,1,1,S1,before,10\nR01,A1,1,1,S2,after,12.02\nR02,A2,1,1,S1,before,10\nR02,A2,1,1,S2,after,11.52\n",
    "raw/masters.csv": "master_id,session_id,measured_at,reading,value\n"
    "bar,S1,2026-01-05,1,0\nbar,S1,2026-01-05,2,0\nbar,S2,2026-01-12,1,0.02\nbar,S2,2026-01-12,2,0.02\n",
    "raw/gauge.csv": "part_id,operator,station_id,reading,value\n"
    "G1,A,1,1,3.1\nG1,A,1,2,3.2\nG2,A,1,1,4.0\nG2,A,1,2,4.1\n",
    "raw/oil.csv": "run_id,sample_id,at_h,fe_ppm\nR01,O-1,0,2\nR01,O-2,100,30\nR02,O-3,0,2\nR02,O-4,100,25\n",
    "raw/reference-runs.csv": "run_id,build_id,pin_wear_um\nE1,EB,2.1\nE2,EB,1.9\n",
}


def written(to: Path, *cases: dict) -> Path:
    """The small campaign in a folder, with the files that cases break."""
    files: dict[str, bytes] = {name: text.encode() for name, text in FILES.items()}
    for case in cases:
        name, content = case["file"], files[case["file"]].decode()
        if case.get("old"):
            assert case["old"] in content, case["name"]
            content = content.replace(case["old"], case["new"])
        lines = content.splitlines(keepends=True)
        if "cut" in case:
            content = "".join(line for line in lines if case["cut"] not in line)
        if "keep" in case:
            content = "".join(lines[:47])
        files[name] = {"png": b"\x89PNG\r\n", "nothing": b""}.get(case.get("bytes", ""), content.encode())
        if "rename" in case:
            files[case["rename"]] = files.pop(name)
        if "copy" in case:
            files[case["copy"]] = files[name]
        if case.get("remove"):
            del files[name]
    for name, content in files.items():
        (to / name).parent.mkdir(parents=True, exist_ok=True)
        (to / name).write_bytes(content)
    return to


def told(folder: Path) -> tuple[list[str], list[dict]]:
    """The faults, or the findings."""
    try:
        found = records.read(folder, BRIEF).findings
    except IntakeError as problem:
        return [line.strip() for line in str(problem).splitlines()[1:]], []
    return [], found.to_dict("records")


def test_the_small_campaign_is_in_order(tmp_path):
    found = records.read(written(tmp_path), BRIEF)
    assert found.findings.to_dict("records") == []
    runs = found.runs.set_index("run_id")
    # What was put in: pins of 2 and 1.5; lengths of 2.02 and 1.52 with the 0.02 that the bar reads off in session S2.
    assert runs["pin_wear_um"].tolist() == pytest.approx([2.0, 1.5], abs=1e-9)
    assert runs["length_um"].tolist() == pytest.approx([2.0, 1.5], abs=1e-12)
    assert found.readings["length_um"].dropna().tolist() == [10.0, 12.02, 10.0, 11.52]
    assert runs["fe_ppm"].tolist() == [28.0, 23.0]
    assert found.metrology.earlier["pin_wear_um"].tolist() == [2.1, 1.9]
    assert len(found.metrology.gauge) == 4
    assert set(FILES) == set(found.inputs)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_broken_file_is_one_fault_or_one_finding(case, tmp_path):
    faults, findings = told(written(tmp_path, case))
    if "told" in case:
        assert (faults, findings) == ([case["told"], *([case["also"]] if "also" in case else [])], [])
        return
    named = [(row["rule"], row["found"]) for row in findings if row["rule"] != "no value"]
    assert faults == [] and (case["rule"], case["found"]) in [
        (rule, words[: len(case["found"])]) for rule, words in named
    ]
    assert len(named) == 1


def test_there_are_enough_cases_over_all_files():
    assert len(CASES) >= 25 and len({case["name"] for case in CASES}) == len(CASES)
    assert {case["name"].split(":")[0] for case in CASES} >= {"trace", "master", "gauge", "oil", "reference runs"}


PAIRED = [
    case
    for case in CASES
    if "told" in case and case["file"] != "raw/stations.csv" and "session that" not in case["name"]
]
PAIRS = [
    (one, other)
    for at, one in enumerate(PAIRED)
    for other in PAIRED[at + 1 :: 7]
    if one["file"] != other["file"]
]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), PAIRS, ids=lambda case: case["name"])
def test_two_broken_files_are_both_told(one, other, tmp_path):
    faults, _ = told(written(tmp_path, one, other))
    assert {one["told"], other["told"]} <= set(faults)


def read(folder, brief=BRIEF):
    """What the records say in whole."""
    made = records.read(folder, brief)
    return made.runs["pin_wear_um"].tolist(), made.metrology.traces.table.drop(columns="note").astype(str).to_dict(
        "records"
    )


def test_units_order_of_rows_and_split_files_change_nothing(tmp_path):
    whole = read(written(tmp_path / "whole"))
    # In inches and millimetres.
    other = written(tmp_path / "inch")
    frame = pd.read_csv(other / "raw/traces/R01_A1.csv")
    frame.assign(**{"X mm": frame["X mm"], "Z um": frame["Z um"] / 1000.0}).sample(frac=1.0, random_state=3).to_csv(
        other / "raw/traces/R01_A1.csv", index=False
    )
    pins = pd.read_csv(other / "raw/traces/R02_A2.csv")
    pins.assign(**{"Z um": pins["Z um"] / 1000.0}).to_csv(other / "raw/traces/R02_A2.csv", index=False)
    rule = Traces(**{**vars(BRIEF.traces[0]), "height_in": "mm"})
    found = records.read(other, replace(BRIEF, traces=(rule,)))
    assert found.runs["pin_wear_um"].tolist() == pytest.approx(whole[0], rel=1e-9)
    assert found.findings.to_dict("records") == []
    # One file a state.
    split = written(tmp_path / "split")
    (split / "raw/traces/R01_A1.csv").unlink()
    for state in ("before", "after"):
        part = pd.read_csv(split.parent / "whole/raw/traces/R01_A1.csv")
        part[part["State"] == state].drop(columns="State").to_csv(split / f"raw/traces/R01_A1_{state}.csv", index=False)
    columns = {name: word for name, word in rule.columns.items() if name != "state"}
    two = Traces(**{**vars(BRIEF.traces[0]), "files": "{run_id}_{part_id}_{state}.csv", "columns": columns})
    (split / "raw/traces/R02_A2.csv").unlink()
    found = records.read(split, replace(BRIEF, traces=(two,)))
    assert found.runs["pin_wear_um"].tolist()[0] == whole[0][0]


def test_semicolons_and_decimal_commas_change_nothing_where_they_are_declared(tmp_path):
    whole = read(written(tmp_path / "whole"))
    other = written(tmp_path / "commas")
    for path in (other / "raw/traces").iterdir():
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(",", ";").replace(".", ","), encoding="utf-8")
    rule = Traces(**{**vars(BRIEF.traces[0]), "decimal": "comma"})
    assert read(other, replace(BRIEF, traces=(rule,))) == whole
    faults, _ = told(other)
    remedy = 'Where all figures have commas, write decimal = "comma" in [[traces]].'
    assert faults[0].startswith("raw/traces/R01_A1.csv line ") and faults[0].endswith(remedy)
    # A point where commas are declared is no figure, and a name of two words no number.
    path = other / "raw/traces/R01_A1.csv"
    text = path.read_text(encoding="utf-8").replace("PIN1;before;5,0;0,0", "PIN1;before;5.0;x")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(IntakeError) as caught:
        records.read(other, replace(BRIEF, traces=(rule,)))
    assert str(caught.value).splitlines()[1:] == [
        "  raw/traces/R01_A1.csv line 22, column X mm: '5.0'; expected a number with a decimal comma, as declared for "
        "this table.",
        "  raw/traces/R01_A1.csv line 22, column Z um: 'x'; expected a number, or 'lost'. Leave the cell blank while "
        "it is not known yet.",
    ]


def test_names_of_files_lead_nowhere(tmp_path):
    folder = written(tmp_path / "c")
    (tmp_path / "outside.csv").write_text(trace(9.0), encoding="utf-8")
    (folder / "raw/traces/R01_A9.csv").symlink_to(tmp_path / "outside.csv")
    (folder / "raw/traces/=cmd_A8.csv").write_text(trace(9.0), encoding="utf-8")
    faults, _ = told(folder)
    assert faults == [
        "raw/traces/R01_A9.csv: a link that leads out of the campaign; expected a file. Copy the file itself here.",
        "raw/traces/=cmd_A8.csv line 2: unknown run '=cmd'; expected a run of the campaign.",
    ]
