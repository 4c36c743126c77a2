"""A small campaign folder that is planned and run part of the way; everything in it is INVENTED."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np

from toolkit.campaign import folder, steps
from toolkit.campaign.folder import Campaign

BRIEF = """[campaign]
id = "small"
question = "INVENTED: does the coated pin or the new oil wear less?"
seed = 7
new_each_run = ["part", "fill"]

[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "plain", P1 = "coated" }

[[factor]]
name = "oil"
undo = "fill"
levels = { O0 = "today", O1 = "new" }

[blocks]
by = "build"

[[response]]
name = "wear_mg"
worthwhile_change_pct = 20

[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }

[[comparison]]
name = "new oil"
of = { oil = "O1" }
against = { oil = "O0" }

[plan]
builds = 3

[held]
sump_temp_degC = { target = 100, window = [98, 102], limits = [94, 106] }

[protocol]
run_time_h = { target = 100, window = [99, 101] }

[cost]
currency = "EUR"
budget = 20_000
items = [ { per = "run", what = "cell", amount = 1000 }, { per = "build", what = "rebuild", hours = 20, rate = 50 } ]

[scatter]
declared_cv_pct = [8, 12]
"""
RANDOMISED = BRIEF.replace('[blocks]\nby = "build"\n\n', "").replace("builds = 3", "replicates = 3")
WHOLE_PLOTS = (
    BRIEF.replace('[blocks]\nby = "build"\n\n', "").replace('undo = "part"', 'undo = "build"').replace("= 3\n", "= 6\n")
)
ROLE = {"reason": "the hose burst", "role": "test engineer"}


# What planning leaves, by the brief and the time that it was told: many tests begin with the same campaign.
_PLANNED: dict[tuple[str, str | None], dict[str, bytes]] = {}


def planned(root: Path, text: str = BRIEF) -> Campaign:
    """A folder with its main phase sealed; planned once for each brief where nothing lies in the folder yet."""
    root.mkdir(parents=True, exist_ok=True)
    empty = not any(root.iterdir())
    key = (text, os.environ.get("WEARBOOK_NOW"))
    (root / "campaign.toml").write_text(text, encoding="utf-8")
    for name, content in _PLANNED.get(key, {}).items() if empty else ():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
    campaign = folder.open_campaign(root)
    if empty and key in _PLANNED:
        return campaign
    steps.plan(campaign, phase="main")
    if empty:
        files = [path for path in root.rglob("*") if path.is_file()]
        _PLANNED[key] = {path.relative_to(root).as_posix(): path.read_bytes() for path in files}
    return campaign


def rewritten(campaign: Campaign, *texts: str) -> Campaign:
    """The campaign with other texts in its brief: old, new, old, new, ..."""
    path = campaign.folder / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in zip(texts[::2], texts[1::2], strict=True):
        assert text.count(old) == 1
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return folder.open_campaign(campaign.folder)


def ran(
    campaign: Campaign, *runs: str, lost: tuple[str, ...] = (), phase: str = "1-main", late: tuple[str, ...] = ()
) -> None:
    """Write raw/runs.csv: these runs of the plan judged valid, those lost invalid; ``late`` are made and not judged."""
    rows = run_list(campaign, phase)
    draw = np.random.default_rng(3)
    lines = []
    for place, row in enumerate(item for item in rows if item["run_id"] in (*runs, *lost, *late)):
        void = row["run_id"] in lost
        wear = 20.0 * np.exp(-0.3 * (row["pin"] == "P1") + draw.normal(0.0, 0.1))
        lines.append(
            {
                **{name: row[name] for name in ("run_id", "phase", "build_id", "pin", "oil", "planned_order")},
                "actual_order": place + 1,
                "run_time_h": 41 if void else 100,
                "sump_temp_degC": 100,
                "wear_mg": "" if void or row["run_id"] in late else f"{wear:.4f}",
                "verdict": "pending" if row["run_id"] in late else "invalid" if void else "valid",
                "reason": "hose burst" if void else "",
                "role": "" if row["run_id"] in late else "test engineer",
            }
        )
    raw = campaign.folder / "raw"
    raw.mkdir(exist_ok=True)
    with (raw / "runs.csv").open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(lines[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(lines)


def run_list(campaign: Campaign, phase: str = "1-main") -> list[dict[str, str]]:
    """The run list in force, as text."""
    text = (campaign.folder / "plan" / phase / "runs.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
