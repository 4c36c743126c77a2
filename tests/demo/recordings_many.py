"""Generated recordings with known defects, many campaigns: ``python -m tests.demo.recordings_many --campaigns 200``.

Every defect that was put in must be found, and no clean run may be flagged. Other names, windows and rules than those
of the bundled campaign; the recordings go through files, as those of a person would.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from toolkit.brief.dyno_log import DynoLog, StandardRule, SweepRule
from toolkit.brief.model import Held
from toolkit.demo import recordings
from toolkit.demo.recordings import Defect
from toolkit.intake import dyno_file, dyno_summary, judging

HOURS = 24.0
HELD = (Held("gallery_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),)
RULE = DynoLog(
    time="Time [s]",
    columns={
        **{"shaft_speed_rpm": "N [r/min]", "brake_torque_Nm": "M [Nm]", "gallery_temp_degC": "T_SUMP [degC]"},
        **{"baro_kPa": "P_AIR [kPa]", "intake_degC": "T_AIR [degC]", "damp_pct": "RH [%]"},
    },
    missing=(-9999.0,),
    longest_step_s=90.0,
    sweeps=SweepRule(
        *("shaft_speed_rpm", "brake_torque_Nm", "brake_torque_Nm", 1500.0, 5500.0, 180.0, 20.0, (2500.0, 4500.0)),
        step_rpm=200.0,
        asked=2,
    ),
    standard=StandardRule("ISO 1585 spark", "naturally aspirated", "baro_kPa", "intake_degC", "damp_pct"),
)
# What is put in, and the words by which it is found.
DEFECTS = {
    "hot": (Defect("hot", 5.0, 10.0, 4.5), "quality index -"),
    "gap": (Defect("gap", 16.0, 0.3), "1 gap, 0.3"),
    "restart": (Defect("restart", 13.0), "1 time the clock went back"),
    "clock back": (Defect("clock back", 18.0, 0.5), "1 time the clock went back"),
    "no signal": (Defect("no signal", 10.0, 0.4), "readings missing, for 0.4"),
    "cut": (Defect("cut"), "the last one, breaks off"),
    "sweep missing": (Defect("sweep missing", 20.0), "1 full-load sweep"),
    "twice": (Defect("twice", 15.0), "1 reading at the same time as the one before"),
    "stopped": (None, "1 full-load sweep"),
}


@dataclass
class Tally:
    """What was found over the campaigns."""

    clean: int = 0
    flagged: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    beside: list[str] = field(default_factory=list)


def told(folder: Path, name: str, seed: list[int], hours: float, defects: tuple[Defect, ...]) -> list[str]:
    """What is told of one generated run that goes through its files."""
    paths = []
    draw = np.random.default_rng(seed)
    for suffix, lines in recordings.run(hours, float(np.clip(draw.normal(100.0, 0.3), 99.1, 100.9)), seed, defects):
        path = folder / f"{name}{suffix}.csv"
        path.write_text(recordings.text(lines, cut=any(item.kind == "cut" for item in defects)))
        paths.append(path)
    found = dyno_summary.summarise(dyno_file.read(paths, RULE, run_id=name), RULE, HELD, run_id=name)
    broken = judging.of_recording(RULE, found)
    return [*(str(item["found"]) for item in found.findings), *(item.found for item in broken)]


def tally(campaigns: int, *, clean: int = 3, first: int = 0) -> Tally:
    """Campaigns of so many clean runs and one run with each defect."""
    made = Tally()
    with tempfile.TemporaryDirectory() as scratch:
        for number in range(first, first + campaigns):
            for run in range(clean):
                found = told(Path(scratch), "clean", [number, run], HOURS, ())
                made.clean += 1
                made.flagged += [f"campaign {number} run {run}: {text}" for text in found]
            for place, (kind, (defect, words)) in enumerate(DEFECTS.items()):
                hours = 12.0 if defect is None else HOURS
                found = told(Path(scratch), "spoilt", [number, 50 + place], hours, () if defect is None else (defect,))
                hits = [text for text in found if words in text]
                made.missed += [] if len(hits) == 1 else [f"campaign {number} {kind}: {found}"]
                made.beside += [f"campaign {number} {kind}: {text}" for text in found if text not in hits]
    return made


def main() -> None:
    """Print the tally."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--campaigns", type=int, default=200)
    asked.add_argument("--first", type=int, default=0)
    given = asked.parse_args()
    made = tally(given.campaigns, first=given.first)
    spoilt = given.campaigns * len(DEFECTS)
    print(f"{given.campaigns} campaigns: {made.clean} clean runs, {len(made.flagged)} flagged")
    print(f"{spoilt} runs with one defect: {spoilt - len(made.missed)} found, {len(made.beside)} told beside it")
    print(*made.flagged[:20], *made.missed[:20], *made.beside[:20], sep="\n")


if __name__ == "__main__":
    main()
