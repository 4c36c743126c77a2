"""An INVENTED campaign with different units in one engine: a ring coating a cylinder, oil and liner finish a run.

Made after the description of a fired four-cylinder engine; every name and amount is made up. The chain of the bundled
campaigns has nothing to do with it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief import by_position, reading
from toolkit.brief.model import Brief
from toolkit.intake import blank

TEXT = """
[campaign]
id = "rings"
question = "INVENTED: which ring coating, which oil and which liner finish wear less?"
seed = 11
new_each_run = ["build", "part", "fill"]
[[factor]]
name = "ring"
undo = "position"
levels = { R0 = "as today", R1 = "coating one", R2 = "coating two", R3 = "coating three" }
[[factor]]
name = "oil"
undo = "fill"
levels = { O0 = "current", O1 = "proposed" }
[[factor]]
name = "liner"
undo = "build"
levels = { L0 = "plain", L1 = "plateau" }
[positions]
names = ["cyl 1", "cyl 2", "cyl 3", "cyl 4"]
[[response]]
name = "ring_loss_mg"
stations = { kind = "ring", count = 4, states = ["before", "after"] }
worthwhile_change_pct = 20
[[response]]
name = "liner_wear_um"
role = "secondary"
stations = { kind = "liner", count = 12 }
worthwhile_change_pct = 20
[[response]]
name = "fe_ppm"
role = "secondary"
worthwhile_change_pct = 20
[[comparison]]
name = "coating one"
of = { ring = "R1" }
against = { ring = "R0" }
direction = "smaller"
[[comparison]]
name = "new oil"
of = { oil = "O1" }
against = { oil = "O0" }
direction = "smaller"
[[comparison]]
name = "coating one in the new oil"
of = { ring = "R1", oil = "O1" }
against = { ring = "R0", oil = "O1" }
direction = "smaller"
[plan]
replicates = 2
[protocol]
run_time_h = { target = 150, window = [148, 152] }
[cost]
currency = "EUR"
lost_runs_pct = 5
items = [
  { per = "run", what = "test cell and rebuild", hours = 180, rate = 120 },
  { per = "position", what = "ring and its measuring", amount = 90 },
  { per = "position", what = "coating", amount = 60, where = { ring = "R1" } },
]
[scatter]
declared_cv_pct = [15, 20]
declared_run_cv_pct = [8, 12]
"""
# ln of the effects: coatings, oil, liner, and the position of each cylinder.
RING = {"R0": 0.0, "R1": -0.36, "R2": -0.16, "R3": 0.05}
OIL = {"O0": 0.0, "O1": -0.13}
PLACE = {"cyl 1": 0.08, "cyl 2": 0.0, "cyl 3": 0.0, "cyl 4": 0.13}


def brief(text: str = TEXT) -> Brief:
    """The brief."""
    return reading.parse(text)


def tables(asked: Brief, plan: pd.DataFrame, *, seed: int, exact: bool = False) -> dict[str, pd.DataFrame]:
    """The raw tables of a campaign run as planned: runs, stations, oil.

    Parameters
    ----------
    asked : Brief
    plan : DataFrame
        The run list.
    seed : int
    exact : bool
        True: without scatter, so that what is measured is known to the digit.
    """
    draw = np.random.default_rng(seed)
    scale = 0.0 if exact else 1.0
    stations, oil = [], []
    for row in plan.to_dict("records"):
        run = scale * draw.normal(0.0, 0.10)
        for at, name in enumerate(asked.positions.names):
            mean = OIL[row["oil"]] + RING[row[f"ring@{name}"]] + PLACE[name] + run
            worn = 35.0 * np.exp(mean + scale * draw.normal(0.0, 0.18))
            for state, value in (("before", 1000.0), ("after", 1000.0 + worn)):
                stations.append(_reading(row, at, f"RIN{at + 1:02d}", state, ring=f"{value:.4f}"))
            for spot in range(3):
                wear = 6.0 * np.exp(OIL[row["oil"]] + PLACE[name] + run + scale * draw.normal(0.0, 0.25))
                stations.append(_reading(row, at, f"LIN{3 * at + spot + 1:02d}", "after", liner=f"{wear:.4f}"))
        end = 1.0 + 40.0 * np.exp(OIL[row["oil"]] + run)
        oil += [
            {"run_id": row["run_id"], "sample_id": f"{row['run_id']}-{hours}", "at_h": hours, "fe_ppm": f"{value:.3f}"}
            for hours, value in (("0", 1.0), ("150", end))
        ]
    runs = blank.tables(asked, plan)["runs"].assign(verdict="valid", run_time_h="150")
    runs["actual_order"] = runs["planned_order"]
    return {"runs": runs, "stations": pd.DataFrame(stations), "oil": pd.DataFrame(oil)}


def _reading(
    row: dict[str, object], at: int, station: str, state: str, *, ring: str = "", liner: str = ""
) -> dict[str, object]:
    """One line of stations.csv; a part a cylinder."""
    return {
        "run_id": row["run_id"],
        "part_id": f"{row['run_id']}-{at + 1}",
        "station_id": station,
        "reading": "1",
        "state": state,
        "ring_loss_mg": ring,
        "liner_wear_um": liner,
    }


def columns(asked: Brief) -> tuple[str, ...]:
    """The columns of a run table that hold levels."""
    return by_position.columns(asked)
