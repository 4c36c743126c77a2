"""Draws INVENTED recordings of a dynamometer: a reading a minute, one a second in full-load sweeps (rank 10).

Speed and torque follow a cycle at part load; six times a run the engine is pulled from 1500 to 5500 r/min at full load.
Its power is the same in every run at standard conditions; what the recording shows follows the weather of the day. What
goes wrong is put in on purpose, and named.
"""

from __future__ import annotations

import gzip
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.numeric import standard_conditions

HEADINGS = ("Time [s]", "N [r/min]", "M [Nm]", "T_SUMP [degC]", "P_AIR [kPa]", "T_AIR [degC]", "RH [%]")
SENTINEL = -9999
STEP_S = 60.0
SWEEPS_AT_H = (4.0, 20.0, 36.0, 52.0, 68.0, 84.0)
SWEEP_S = 40
# Every part of a recording draws from its own stream.
_CYCLE, _SUMP, _AIR, _SWEEP = range(4)


@dataclass(frozen=True)
class Defect:
    """Something that went wrong in a recording.

    Attributes
    ----------
    kind : str
        hot (the sump by ``size`` degrees for ``hours``), gap (no readings for ``hours``), restart (the counter begins
        anew, in a second file), clock back (it is set back by ``hours``), no signal (the sump reads the sentinel for
        ``hours``), cut (the last line breaks off), sweep missing (one sweep was not made), twice (a line stands twice).
    at_h : float
        When it begins [h].
    hours, size : float
    """

    kind: str
    at_h: float = 50.0
    hours: float = 0.0
    size: float = 0.0


# What was put into the recordings of the bundled campaign; R08 stopped at 41.3 h and R10 ran hot in the tables too.
IN_CHAIN: Mapping[str, tuple[Defect, ...]] = {
    "P02": (Defect("cut"),),
    "R03": (Defect("gap", 61.0, 0.4),),
    "R05": (Defect("restart", 47.0),),
    "R06": (Defect("no signal", 30.0, 0.5),),
    "R09": (Defect("sweep missing", 52.0),),
    "R10": (Defect("hot", 22.0, 40.0, 5.0),),
    "R11": (Defect("clock back", 72.0, 1.0),),
}


def full_load_torque(speed: np.ndarray) -> np.ndarray:
    """Torque at full load and standard conditions [Nm]: 190 at 3600 r/min."""
    return 190.0 - 12.0 * ((speed - 3600.0) / 1000.0) ** 2


def run(
    hours: float, sump_degC: float, seed: Sequence[int], defects: Sequence[Defect] = ()
) -> list[tuple[str, pd.DataFrame]]:
    """The recordings of one run: what follows the run_id in the name of each file, and its lines.

    Parameters
    ----------
    hours : float
        How long it ran.
    sump_degC : float
        Mean temperature of the sump, before anything is put in.
    seed : sequence of int
    defects : sequence of Defect
    """

    def draws(stream: int) -> np.random.Generator:
        return np.random.default_rng([*seed, stream])

    skipped = {item.at_h for item in defects if item.kind == "sweep missing"}
    begun = [at * 3600.0 for at in SWEEPS_AT_H if at * 3600.0 + SWEEP_S < hours * 3600.0 and at not in skipped]
    at = np.arange(0.0, round(hours * 3600.0), STEP_S)
    at = np.unique(np.concatenate([at, *(np.arange(start, start + SWEEP_S + 1.0) for start in begun)]))
    count = len(at)
    cycle = draws(_CYCLE)
    speed = cycle.uniform(1500.0, 3500.0, count)
    torque = cycle.uniform(25.0, 120.0, count)
    weather = draws(_AIR)
    slow = np.sin(2.0 * np.pi * (at / 86_400.0 + weather.uniform()))
    pressure = np.clip(weather.normal(99.5, 0.6), 98.0, 101.0) + 0.15 * slow
    warm = np.clip(weather.normal(27.0, 1.5), 23.0, 31.0) + 1.0 * slow
    damp = np.clip(weather.normal(45.0, 6.0), 30.0, 60.0) - 4.0 * slow
    factor = standard_conditions.iso1585_spark(
        standard_conditions.dry_pressure(10.0 * pressure, warm, damp / 100.0), warm
    ).factor
    pulls = draws(_SWEEP)
    for start in begun:
        during = (at >= start) & (at <= start + SWEEP_S)
        speed[during] = 1500.0 + 4000.0 * (at[during] - start) / SWEEP_S
        torque[during] = full_load_torque(speed[during]) / factor[during] * (1.0 + pulls.normal(0.0, 0.003))
        speed[during] += pulls.normal(0.0, 4.0, during.sum())
        torque[during] *= 1.0 + pulls.normal(0.0, 0.005, during.sum())
    noise = np.convolve(draws(_SUMP).normal(0.0, 1.0, count + 19), np.full(20, 20.0**-0.5), mode="valid")
    sump = sump_degC + 0.25 * (noise - noise.mean())
    for item in defects:
        during = (at >= item.at_h * 3600.0) & (at < (item.at_h + item.hours) * 3600.0)
        if item.kind == "hot":
            sump[during] += item.size
        elif item.kind == "no signal":
            sump[during] = SENTINEL
    columns = (at, speed.round(), torque.round(1), sump.round(2), pressure.round(2), warm.round(1), damp.round())
    return _spoilt(pd.DataFrame(dict(zip(HEADINGS, columns, strict=True))), defects)


def _spoilt(lines: pd.DataFrame, defects: Sequence[Defect]) -> list[tuple[str, pd.DataFrame]]:
    """The lines in their files, with what went wrong with the recorder."""
    clock = HEADINGS[0]
    for item in defects:
        start, end = item.at_h * 3600.0, (item.at_h + item.hours) * 3600.0
        if item.kind == "gap":
            lines = lines[(lines[clock] < start) | (lines[clock] >= end)]
        elif item.kind == "clock back":
            lines = lines.assign(**{clock: lines[clock] - np.where(lines[clock] >= start, item.hours * 3600.0, 0.0)})
        elif item.kind == "twice":
            place = int(np.argmax(lines[clock].to_numpy() >= start))
            lines = pd.concat([lines[: place + 1], lines[place:]], ignore_index=True)
    late = next((item.at_h * 3600.0 for item in defects if item.kind == "restart"), None)
    if late is None:
        return [("", lines)]
    before, after = lines[lines[clock] < late], lines[lines[clock] >= late]
    return [("_1", before), ("_2", after.assign(**{clock: after[clock] - late}))]


def text(lines: pd.DataFrame, *, cut: bool = False) -> str:
    """Lines as the recorder writes them; ``cut``: it was switched off within the last one."""
    made = lines.to_csv(index=False, lineterminator="\n", float_format="%.12g")
    return made[:-9] if cut else made


def packed(content: str) -> bytes:
    """A text packed, the same bytes whenever it is made."""
    return gzip.compress(content.encode(), 9, mtime=0)


def campaign(runs: pd.DataFrame, defects: Mapping[str, Sequence[Defect]], *, seed: int) -> dict[str, str]:
    """The recordings of a campaign as text by the name of their file, from its table of runs.

    Parameters
    ----------
    runs : DataFrame
        run_id, run_time_h and sump_temp_degC, the mean with what was put in.
    defects : mapping of str to sequence of Defect
        By run.
    seed : int
    """
    made = {}
    for place, row in enumerate(runs.to_dict("records")):
        mine = defects.get(row["run_id"], ())
        hours = float(row["run_time_h"])
        added = sum(item.size * min(item.hours, hours) / hours for item in mine if item.kind == "hot")
        cut = any(item.kind == "cut" for item in mine)
        for suffix, lines in run(hours, float(row["sump_temp_degC"]) - added, [seed, place], mine):
            made[f"{row['run_id']}{suffix}.csv"] = text(lines, cut=cut)
    return made
