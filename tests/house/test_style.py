"""The linter finds nothing."""

import subprocess
import sys

from tests.house.tree import ROOT


def test_the_linter_finds_nothing():
    ended = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--no-cache", "--output-format", "concise", "."],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert (ended.returncode, ended.stdout) == (0, "All checks passed!\n")
