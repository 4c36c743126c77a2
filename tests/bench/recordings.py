"""How long recordings take, beside only reading the files: ``python -m tests.bench.recordings [runs]``.

Fresh processes, processor time and peak memory of each, in turn, once each has done the same with a minute of a
recording, so that nothing is imported on the way. The ratio is the median of pairs, as what else the machine does falls
on both. Runs of two hours, ten readings a second, twelve channels; the wired intake (checksums, lines, units, clock,
windows, sweeps) against pandas' C engine on the same files. Time goes with the number of runs, peak memory with the
longest one, so that a few runs tell of fifty; a run of a hundred hours in one file is told too.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from toolkit.brief.dyno_log import DynoLog, SteadyRule, SweepRule
from toolkit.brief.model import Brief, Held

HERTZ = 10.0
NAMES = ("speed_rpm", "torque_Nm", "sump_temp_degC", "coolant_temp_degC", *(f"c{at}_kPa" for at in range(8)))
RULE = DynoLog(
    time="t",
    columns={name: name for name in NAMES},
    missing=(-9999.0,),
    sweeps=SweepRule("speed_rpm", "torque_Nm", "torque_Nm", 1500.0, 5500.0, 180.0, 30.0, (2500.0, 4500.0), asked=6),
    steady=SteadyRule({"speed_rpm": (1000.0, 6000.0)}, 60.0),
)
HELD = (
    Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),
    Held("coolant_temp_degC", 90.0, (88.5, 91.5), (85.0, 95.0)),
)


def brief() -> Brief:
    """A brief of nothing but recordings."""
    return Brief("bench", "", 1, (), (), held=HELD, dyno_log=RULE)


def write(folder: Path, runs: int, hours: float) -> None:
    """Recordings of so many runs; what is longer than two hours goes on as these two."""
    draw = np.random.default_rng(1)
    at = np.arange(0.0, 7200.0, 1.0 / HERTZ)
    phase = (at % 90.0) / 90.0
    speed = 2500.0 - 1000.0 * np.cos(2.0 * np.pi * phase)
    torque = 60.0 + 40.0 * np.sin(2.0 * np.pi * phase)
    for start in np.arange(600.0, 7200.0 - 60.0, 1200.0):
        during = (at >= start) & (at < start + 60.0)
        speed[during] = 1500.0 + 4000.0 * (at[during] - start) / 60.0
        torque[during] = 190.0 - 12.0 * ((speed[during] - 3600.0) / 1000.0) ** 2
    others = [draw.normal(100.0, 0.3, len(at)), draw.normal(90.0, 0.3, len(at)), *draw.normal(300.0, 5.0, (8, len(at)))]
    rows = np.column_stack([speed + draw.normal(0.0, 10.0, len(at)), torque, *others]).tolist()
    tails = ["," + ",".join(f"{value:.2f}" for value in row) + "\n" for row in rows]
    first = folder / "raw" / "dyno" / "R01.csv"
    first.parent.mkdir(parents=True)
    with first.open("w") as handle:
        handle.write(",".join(("t", *NAMES)) + "\n")
        for part in range(round(hours / 2.0)):
            handle.writelines(f"{7200 * part + place / HERTZ:.2f}{tail}" for place, tail in enumerate(tails))
    short = folder / "short" / "raw" / "dyno" / "R01.csv"
    short.parent.mkdir(parents=True)
    with first.open("rb") as handle:
        short.write_bytes(b"".join(handle.readline() for _ in range(600)))
    for run in range(2, runs + 1):
        (first.parent / f"R{run:02d}.csv").write_bytes(first.read_bytes())


def reading(folder: Path) -> None:
    """Only read every file with pandas' C engine."""
    import pandas as pd

    for path in sorted((folder / "raw" / "dyno").iterdir()):
        pd.read_csv(path, engine="c")


def intake(folder: Path) -> None:
    """All that the wired intake does with recordings."""
    from toolkit.intake import dyno_runs

    names = [path.stem for path in sorted((folder / "raw" / "dyno").iterdir())]
    found = dyno_runs.read(folder, brief(), dict.fromkeys(names, "main"))
    if found.faults or len(found.runs) != len(names):
        raise SystemExit(f"not read: {found.faults}")


def measured(what: str, folder: Path) -> tuple[float, float]:
    """Processor time [s] and peak memory [MB] of one job in a process of its own, start-up taken off."""
    command = [sys.executable, "-m", "tests.bench.recordings", what, str(folder)]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
    return float(told[0]), float(told[1])


def main() -> None:
    """A few runs, then one long one."""
    if len(sys.argv) == 3:
        job, folder = {"reading": reading, "intake": intake}[sys.argv[1]], Path(sys.argv[2])
        job(folder / "short")
        start = time.process_time()
        job(folder)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(time.process_time() - start, peak)
        return
    runs = int(sys.argv[1]) if len(sys.argv) == 2 else 10
    for count, hours, pairs in ((runs, 2.0, 7), (1, 100.0, 3)):
        with tempfile.TemporaryDirectory() as scratch:
            write(Path(scratch), count, hours)
            size = sum(path.stat().st_size for path in Path(scratch).glob("raw/dyno/*.csv")) / 1e6
            found = [[measured(what, Path(scratch)) for what in ("reading", "intake")] for _ in range(pairs)]
        plain, whole = (np.median([pair[at] for pair in found], axis=0) for at in (0, 1))
        ratios = [pair[1][0] / pair[0][0] for pair in found]
        print(
            f"{count} runs of {hours:g} h, {size:.0f} MB: reading {plain[0]:.2f} s, {plain[1]:.0f} MB; intake "
            f"{whole[0]:.2f} s, {whole[1]:.0f} MB; ratio {np.median(ratios):.2f}, "
            f"{min(ratios):.2f} to {max(ratios):.2f}"
        )


if __name__ == "__main__":
    main()
