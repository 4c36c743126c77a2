"""Recordings of two-hour runs and a brief that asks for them; everything in it is INVENTED."""

from __future__ import annotations

import numpy as np

from tests.unit.campaign import shop

SECTION = """
[dyno_log]
time = "Time [s]"
columns = { speed_rpm = "N", torque_Nm = "M", sump_temp_degC = "T_OIL" }
missing = [-9999]
longest_step_s = 20
gives = { channel_gap_h = "longest gap" }
review_deviation_pct = 5
[dyno_log.sweeps]
speed = "speed_rpm"
torque = "torque_Nm"
load = "torque_Nm"
low_rpm = 1500
high_rpm = 5500
full_load = 180
shortest_s = 20
window_rpm = [2500, 4500]
step_rpm = 200
asked = 3
"""
BRIEF = (
    shop.BRIEF.replace("target = 100, window = [99, 101] }", "target = 2, window = [1.98, 2.02] }\n"
                       "max = { channel_gap_h = 0.2 }\njudged_by = \"test engineer\"")
    + SECTION
)  # fmt: skip


def table(*, sump: float = 100.0, hot: float = 0.0, seed: int = 1, hours: float = 2.0) -> np.ndarray:
    """Time [s], speed, torque, sump: a reading every ten seconds, one a second in three sweeps; hot for an hour."""
    draw = np.random.default_rng(seed)
    steady = np.arange(0.0, hours * 3600.0, 10.0)
    sweeps = [np.arange(start, start + 41.0) for start in (600.0, 3000.0, 5400.0) if start < hours * 3600.0]
    at = np.unique(np.concatenate([steady, *sweeps]))
    speed, torque = np.full(len(at), 2000.0), np.full(len(at), 80.0)
    for during in sweeps:
        within = (at >= during[0]) & (at <= during[-1])
        speed[within] = 1500.0 + 4000.0 * (at[within] - during[0]) / 40.0
        torque[within] = 190.0 - 12.0 * ((speed[within] - 3600.0) / 1000.0) ** 2
    temp = sump + draw.normal(0.0, 0.2, len(at))
    temp[(at >= 1800.0) & (at < 5400.0)] += hot
    return np.column_stack([at, speed, torque, temp])


def text(rows: np.ndarray, head: str = "Time [s],N,M,T_OIL\n") -> str:
    """Rows as a recorder writes them."""
    return head + "".join(f"{a:.1f},{b:.1f},{c:.2f},{d:.2f}\n" for a, b, c, d in rows)
