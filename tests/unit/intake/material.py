"""A small campaign as text tables, to be read whole or broken in one place at a time; INVENTED."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from toolkit.brief.model import (
    Brief,
    Factor,
    Held,
    KnownScatter,
    Level,
    PlanChoice,
    Protocol,
    Response,
    Stations,
)

Table = list[list[str]]
NAMES = ("runs", "stations", "oil", "rig-history")

RUNS = """\
run_id,phase,build_id,planned_order,actual_order,pin,load_Nm,run_time_h,sump_temp_degC,soot_pct,downtime_h,torque_Nm,verdict,reason,role
P01,pilot,PB1,1,1,P0,100,100,100.1,3.0,2,120.5,valid,,test engineer
R01,main,B1,1,1,P0,100,100.2,100.0,3.02,0,120.1,valid,,test engineer
R02,main,B1,2,2,P1,150.5,99.9,99.8,2.95,1.5,121.0,valid,,test engineer
R03,main,B1,3,3,P0,150.50,100,100.3,3.1,0,119.9,valid,,test engineer
R04,main,B1,4,4,P1,100.0,100,99.7,2.9,0,120.7,valid,,test engineer
R05,main,B2,5,5,P1,100,37.5,100.2,3.05,30,,invalid,"aborted, coolant leak",test engineer
R06,main,B2,6,,P0,100,,,,,,pending,,
"""

OIL = """\
run_id,sample_id,at_h,fe_ppm,cu_ppm,cu_ppm_below_limit,si_ppm
P01,O-01,0,2.0,1,yes,6
P01,O-02,50,15.5,3,no,7
P01,O-03,100,31.0,5,no,8
R01,O-04,0,2.5,1,yes,6
R01,O-05,100,33.0,6,no,9
R02,O-06,0,1.5,<1,,6
R02,O-07,100,28.25,5,,9
R03,O-08,0,2,1,yes,6
R03,O-09,100,30,6,no,9
R04,O-10,0,2.1,1,yes,6
R04,O-11,99.5,27.1,6,no,9
"""

HISTORY = """\
campaign_id,response,scale,per_run,stratum,sd,df,rig_state
C1,elongation_pct,log,mean,run,0.12,6,as now
C2,elongation_pct,log,mean,run,0.15,3,as now
C3,elongation_pct,log,mean,run,0.11,8,before rebuild
C3,elongation_pct,log,mean,build,0.09,2,before rebuild
"""

PLAN = """\
run_id,phase,build_id,planned_order,pin,load_Nm
R01,main,B1,1,P0,100
R02,main,B1,2,P1,150.5
R03,main,B1,3,P0,150.5
R04,main,B1,4,P1,100
R05,main,B2,5,P1,100
R06,main,B2,6,P0,100
"""

MEASURED = ("P01", "R01", "R02", "R03", "R04")


def brief(**changes: object) -> Brief:
    """Two factors, one of them numeric; wear at three segments, iron in the oil, torque."""
    given: dict[str, object] = dict(
        id="small",
        question="Which?",
        seed=1,
        factors=(
            Factor("pin", "part", (Level("P0"), Level("P1"))),
            Factor("load_Nm", "setting", (Level("100", value=100.0), Level("150.5", value=150.5))),
        ),
        responses=(
            Response("elongation_pct", stations=Stations("segment", 3, 2, ("before", "after"))),
            Response("fe_ppm", role="secondary"),
            Response("torque_Nm", role="secondary", scale="linear", better="larger"),
        ),
        new_each_run=("part", "fill"),
        block_by="build",
        plan=PlanChoice(builds=2),
        held=(
            Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),
            Held("soot_pct", 3.0, (2.7, 3.3)),
        ),
        protocol=Protocol(
            Held("run_time_h", 100.0, (99.0, 101.0)),
            {"downtime_h": 24.0, "channel_gap_h": 1.0, "si_ppm": 20.0},
        ),
        scatter=KnownScatter(history="raw/rig-history.csv"),
    )
    return Brief(**{**given, **changes})


def stations_text() -> str:
    """stations.csv: after 0.11 + 0.001 station + 0.002 reading + 0.01 run; before 0.001, 0.003 by reading."""
    lines = ["run_id,part_id,station_id,reading,state,elongation_pct"]
    for number, run in enumerate(MEASURED):
        for station in (1, 2, 3):
            for state in ("before", "after"):
                for reading in (1, 2):
                    new = 0.001 if reading == 1 else 0.003
                    value = new if state == "before" else 0.11 + 0.001 * station + 0.002 * reading + 0.01 * number
                    lines.append(f"{run},C-{number + 1},{station},{reading},{state},{value:.3f}")
    return "\n".join(lines) + "\n"


def texts() -> dict[str, str]:
    """The four tables as text, in order and without a fault."""
    return {"runs": RUNS, "stations": stations_text(), "oil": OIL, "rig-history": HISTORY}


def frames() -> dict[str, pd.DataFrame]:
    """The same tables as frames of text."""
    return {name: pd.read_csv(io.StringIO(text), dtype="str", keep_default_na=False) for name, text in texts().items()}


def plan() -> pd.DataFrame:
    """The planned runs of the main phase."""
    made = pd.read_csv(io.StringIO(PLAN), dtype="str", keep_default_na=False)
    return made.assign(planned_order=made["planned_order"].astype("int64"))


def folder(path: Path, **contents: str | bytes | None) -> Path:
    """A campaign's folder with these tables; None leaves one out, others are in order."""
    (path / "raw").mkdir(parents=True, exist_ok=True)
    given = {**texts(), **{name.replace("history", "rig-history"): text for name, text in contents.items()}}
    for name, text in given.items():
        if text is not None:
            (path / "raw" / f"{name}.csv").write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def _rows(text: str) -> list[list[str]]:
    """A table as rows of cells."""
    return list(csv.reader(io.StringIO(text)))


def _text(rows: list[list[str]]) -> str:
    """Rows of cells as a table."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def with_cell(text: str, line: int, column: str, value: str) -> str:
    """The table with another text in one cell; lines are counted from the header, 1."""
    rows = _rows(text)
    rows[line - 1][rows[0].index(column)] = value
    return _text(rows)


def with_column(text: str, column: str, name: str | None) -> str:
    """The table with a column named otherwise; None takes it out."""
    rows = _rows(text)
    at = rows[0].index(column)
    if name is None:
        return _text([row[:at] + row[at + 1 :] for row in rows])
    return _text([[*rows[0][:at], name, *rows[0][at + 1 :]], *rows[1:]])


def with_line(text: str, line: int, made: Callable[[str], str]) -> str:
    """The table with one line made otherwise."""
    lines = text.split("\n")
    return "\n".join([*lines[: line - 1], made(lines[line - 1]), *lines[line:]])
