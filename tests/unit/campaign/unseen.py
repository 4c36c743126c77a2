"""Recordings of a campaign that has nothing in common with the bundled ones: names, units, rules; all INVENTED.

A recorder that writes minutes, pounds, degrees Fahrenheit and inches of mercury, with decimal commas and semicolons.
What is true is worked out here by hand, not by what reads it.
"""

from __future__ import annotations

import gzip
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

BRIEF = """[campaign]
id = "skirt-rig"
question = "INVENTED: does the graphite film spare the skirt?"
seed = 11
new_each_run = ["part"]

[[factor]]
name = "skirt"
undo = "part"
levels = { bare = "as turned", film = "graphite film" }

[[response]]
name = "skirt_loss_mg"
worthwhile_change_pct = 25
[[response]]
name = "pull_kW"
role = "secondary"
better = "larger"
worthwhile_change_pct = 2

[[comparison]]
name = "film"
of = { skirt = "film" }
against = { skirt = "bare" }

[plan]
replicates = 4

[held]
gallery_temp_degC = { target = 110, window = [107, 113], limits = [100, 120] }
rail_kPa = { target = 350, window = [330, 370] }

[protocol]
run_time_h = { target = 6, window = [5.9, 6.1], limits = [5, 7] }
max = { stops_h = 0.5, blow_by_L_min = 60 }
not_interpretable = ["blow_by_L_min"]
judged_by = "rig owner"

[scatter]
declared_cv_pct = [8, 12]

[dyno_log]
time = "Elapsed"
time_in = "min"
separator = ";"
decimal = "comma"
missing = [9999]
longest_step_s = 40
review_deviation_pct = 4
[dyno_log.columns]
engine_rpm = "RPM"
brake_Nm = "TQ lbf.ft"
gallery_temp_degC = "OIL GAL °F"
rail_kPa = "FUEL psi"
blow_by_L_min = "BLOW BY"
cell_mbar = "BARO"
cell_degC = "AIR °F"
damp_pct = "RH"
[dyno_log.measured_in]
brake_Nm = "lbf.ft"
gallery_temp_degC = "degF"
rail_kPa = "psi"
cell_mbar = "inHg"
cell_degC = "degF"
[dyno_log.gives]
stops_h = "gaps"
blow_by_L_min = "blow_by_L_min"
pull_kW = "sweep power"
[dyno_log.steady]
within = { engine_rpm = [900, 5000] }
settle_s = 300
[dyno_log.sweeps]
speed = "engine_rpm"
torque = "brake_Nm"
load = "brake_Nm"
low_rpm = 1200
high_rpm = 4800
full_load = 150
shortest_s = 25
window_rpm = [1800, 4200]
step_rpm = 150
leave_out = 2
asked = 5
[dyno_log.standard]
form = "J1349"
charging = "naturally aspirated"
pressure = "cell_mbar"
temperature = "cell_degC"
humidity = "damp_pct"
"""
HEADINGS = ("Elapsed", "RPM", "TQ lbf.ft", "OIL GAL °F", "FUEL psi", "note", "BLOW BY", "BARO", "AIR °F", "RH")
HOURS, EVERY_S, SWEEP_S = 6.0, 20.0, 30.0
SWEEPS_AT_H = (0.75, 1.75, 2.75, 3.75, 4.75)
# Air in mbar, degC and per cent, and the factor of SAE J1349 (1990) there: three worked examples, four places.
AIR = ((1005.0, 22.0, 50.0, 0.9919), (980.0, 32.0, 40.0, 1.0498), (960.0, 18.0, 60.0, 1.0382))
# NIST Special Publication 811, appendix B.8: one foot pound-force, psi and (conventional) inch of mercury.
LBF_FT, PSI, IN_HG = 1.355818, 6.894757, 33.86389
WARM_UP_H = 0.2


@dataclass(frozen=True)
class Made:
    """How one run went: its air, and what went wrong."""

    air: tuple[float, float, float, float] = AIR[0]
    hot: float = 0.0
    hot_h: tuple[float, float] = (0.0, HOURS)
    blow_by: float = 40.0
    silent_h: tuple[float, float] = (0.0, 0.0)
    jump_at_h: float = 0.0
    jump_h: float = 0.0
    restart_at_h: float = 0.0
    sweeps: int = 5
    cut: bool = False


RUNS: Mapping[str, Made] = {
    "R01": Made(),
    "R02": Made(AIR[1], restart_at_h=3.0),
    "R03": Made(AIR[2], jump_at_h=2.2, jump_h=40.0 / 60.0),
    "R04": Made(AIR[0], silent_h=(3.0, 3.4)),
    "R05": Made(AIR[1], hot=8.0, hot_h=(2.0, 3.5)),
    "R06": Made(AIR[2], hot=12.0),
    "R07": Made(AIR[0], blow_by=65.0, sweeps=4),
    "R08": Made((850.0, 32.0, 40.0, 1.2422), jump_at_h=4.2, jump_h=-1.5, cut=True),
}


def torque_at(speed: np.ndarray) -> np.ndarray:
    """Torque at full load and standard conditions [Nm]: 220 at 3000 r/min."""
    return 220.0 - 8.0 * ((speed - 3000.0) / 1000.0) ** 2


def true_figures() -> tuple[float, float, float]:
    """Mean torque and power over the even steps of the window at standard conditions, and peak power [Nm, kW, kW]."""
    speed = np.arange(1800.0, 4201.0, 150.0)
    power = torque_at(speed) * speed * 2.0 * np.pi / 60_000.0
    return float(torque_at(speed).mean()), float(power.mean()), float(power.max())


def files(run: str) -> dict[str, bytes]:
    """The recordings of a run as the recorder wrote them, by the names of their files."""
    made = RUNS[run]
    draw = np.random.default_rng([5, int(run[1:])])
    begun = [at * 3600.0 for at in SWEEPS_AT_H[: made.sweeps]]
    at = np.arange(0.0, HOURS * 3600.0, EVERY_S)
    at = np.unique(np.concatenate([at, *(np.arange(start, start + SWEEP_S + 1.0) for start in begun)]))
    hours = at / 3600.0
    speed = np.where(hours < WARM_UP_H, 700.0, 2400.0 + 300.0 * np.sin(at / 180.0))
    torque = 90.0 + 20.0 * np.sin(at / 240.0)
    for start in begun:
        during = (at >= start) & (at <= start + SWEEP_S)
        speed[during] = 1200.0 + 3600.0 * (at[during] - start) / SWEEP_S
        torque[during] = torque_at(speed[during]) / made.air[3]
    oil = np.where(hours < WARM_UP_H, 60.0, 110.0) + draw.normal(0.0, 0.3, len(at))
    oil[(hours >= made.hot_h[0]) & (hours < made.hot_h[1])] += made.hot
    theirs = oil * 1.8 + 32.0
    theirs[(hours >= made.silent_h[0]) & (hours < made.silent_h[1])] = 9999.0
    shown = at / 60.0 + np.where((hours >= made.jump_at_h) & (made.jump_h != 0.0), made.jump_h * 60.0, 0.0)
    cells = [
        shown,
        speed,
        torque / LBF_FT,
        theirs,
        (350.0 + draw.normal(0.0, 3.0, len(at))) / PSI,
        np.zeros(len(at)),
        made.blow_by + draw.normal(0.0, 1.0, len(at)),
        np.full(len(at), made.air[0] / IN_HG),
        np.full(len(at), made.air[1] * 1.8 + 32.0),
        np.full(len(at), made.air[2]),
    ]
    lines = [";".join(f"{value:.4f}".replace(".", ",") for value in row) + "\r\n" for row in zip(*cells, strict=True)]
    head = ";".join(HEADINGS) + "\r\n"
    if made.restart_at_h:
        late = int(np.argmax(hours >= made.restart_at_h))
        again = [f"{shown[k] - shown[late]:.4f}".replace(".", ",") + line[line.index(";") :]
                 for k, line in enumerate(lines)]  # fmt: skip
        return {
            f"{run}_1.csv.gz": gzip.compress((head + "".join(lines[:late])).encode(), mtime=0),
            f"{run}_2.csv": (head + "".join(again[late:])).encode(),
        }
    text = head + "".join(lines)
    return {f"{run}.csv": (text[:-30] if made.cut else text).encode("utf-8-sig")}
