"""The CI script runs the line that stands in README.md, and gives back how it ended."""

import os
import subprocess
from pathlib import Path

import pytest

from tests.house.tree import ROOT

README = """# A
```sh
true && echo first
```
```sh
{line}
```
Not fenced: python -m pytest
"""


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """A folder that holds the CI script alone, and a chromium that is never started."""
    (tmp_path / "clone/.ci").mkdir(parents=True)
    (tmp_path / "clone/.ci/run").write_bytes((ROOT / ".ci/run").read_bytes())
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin/chromium").write_text("#!/bin/sh\nexit 1\n")
    (tmp_path / "bin/chromium").chmod(0o755)
    return tmp_path


def run(clone: Path, readme: str) -> subprocess.CompletedProcess:
    """The CI script on a README of that text, started from elsewhere."""
    (clone / "clone/README.md").write_text(readme, encoding="utf-8")
    path = f"{clone / 'bin'}:{os.environ['PATH']}"
    return subprocess.run(
        ["bash", str(clone / "clone/.ci/run")],
        cwd=clone,
        env={**os.environ, "PATH": path, "DISPLAY": ":7"},
        capture_output=True,
        text=True,
    )


def test_the_line_is_run_in_the_clone_with_an_empty_home(clone):
    line = 'echo "$PWD" "$WEARBOOK_CI" "${DISPLAY-none}" $(ls -A "$HOME" | wc -l) -m pytest; exit 3'
    ended = run(clone, README.format(line=line))
    assert ended.stdout == f"{line}\n{clone / 'clone'} 1 none 0 -m pytest\n"
    assert ended.returncode == 3


TWICE = "a -m pytest\nb -m pytest"


@pytest.mark.parametrize(("line", "found"), [("true", "none"), (TWICE, TWICE)])
def test_a_readme_without_the_one_line_is_refused(clone, line, found):
    ended = run(clone, README.format(line=line))
    assert ended.stderr == f"README.md must hold exactly one fenced line with '-m pytest'; found: {found}\n"
    assert ended.returncode == 1
