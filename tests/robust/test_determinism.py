"""The same records give the same bytes, whatever the hash seed, the time zone, the language or the folder."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.robust import folders
from toolkit import shipped
from toolkit.campaign import folder, steps

ROOT = Path(__file__).resolve().parents[2]
CODE = """
import hashlib, json, sys
from pathlib import Path
from toolkit.campaign import folder, steps
root = Path(sys.argv[1])
for step in (lambda c: steps.plan(c, phase="pilot"), lambda c: steps.plan(c, phase="main"), steps.size, steps.analyse):
    step(folder.open_campaign(root))
print(json.dumps({
    path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
    for path in sorted(root.rglob("*")) if path.is_file() and path.name != ".wearbook.lock"
}))
"""
BESIDE_A_COPY = """
import sys
from pathlib import Path
from toolkit import copies
from toolkit.campaign import folder, steps
from toolkit.report.html import ReportInput, build
from toolkit.report.pictures import Pictures
campaign = folder.open_campaign(Path(sys.argv[1]))
with copies.copied() as copy:
    made = []
    for one in (None, copy):
        found = steps.analysis_of(campaign, one)
        given = ReportInput(found, steps.stamp_of(campaign))
        made.append((found.checksum(), build(given, begun=Pictures(found, None, one))))
print(copy is not None, made[0] == made[1], len(made[0][1]) > 300_000)
"""
VARIANTS = {
    "seed 0, C, west": {"PYTHONHASHSEED": "0", "LC_ALL": "C", "TZ": "America/St_Johns"},
    "seed 2, two threads, east": {
        "PYTHONHASHSEED": "2",
        "LC_ALL": "de_DE.UTF-8",
        "TZ": "Asia/Kathmandu",
        "OMP_NUM_THREADS": "2",
        "OPENBLAS_NUM_THREADS": "2",
    },
}


@pytest.fixture(scope="module")
def here(tmp_path_factory):
    """Checksums of every file after the whole way in this process."""
    root = tmp_path_factory.mktemp("here") / "c"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", folders.CLOCK)
        for step in (lambda c: steps.plan(c, phase="pilot"), lambda c: steps.plan(c, phase="main")):
            step(folder.open_campaign(root))
        steps.size(folder.open_campaign(root))
        steps.analyse(folder.open_campaign(root))
    return {name: hashlib.sha256(content).hexdigest() for name, content in folders.contents(root).items()}


@pytest.mark.parametrize("variant", VARIANTS)
def test_other_surroundings_give_the_same_bytes(here, tmp_path, variant):
    root = tmp_path / "another place" / "Verschleiß"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    ended = subprocess.run(
        [sys.executable, "-c", CODE, str(root)],
        cwd=tmp_path,
        env={**os.environ, "WEARBOOK_NOW": folders.CLOCK, "PYTHONPATH": str(ROOT), **VARIANTS[variant]},
        capture_output=True,
        text=True,
    )
    assert ended.returncode == 0, ended.stderr
    there = json.loads(ended.stdout)
    assert {name: there.get(name) == here[name] for name in here} == dict.fromkeys(here, True)
    assert sorted(there) == sorted(here)
    assert {"plan/1-main/runs.csv", "derived/comparisons.csv", "derived/sizing.json", "log.csv"} <= set(here)


def test_a_copy_of_the_process_that_does_some_of_the_work_gives_the_same_bytes(tmp_path):
    root = tmp_path / "c"
    shutil.copytree(shipped.folder("data") / "sprocket-build", root)
    ended = subprocess.run(
        [sys.executable, "-c", BESIDE_A_COPY, str(root)],
        cwd=ROOT, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"}, capture_output=True, text=True,
    )  # fmt: skip
    assert (ended.stderr, ended.stdout) == ("", f"{len(os.sched_getaffinity(0)) > 1} True True\n")
