"""A test that was skipped counts as failed where WEARBOOK_CI is set, and so does one expected to fail."""

import os
import subprocess
import sys

import pytest

from tests.house.tree import ROOT

INSIDE = """
import pytest
def test_runs():
    assert True
@pytest.mark.skip(reason="no browser here")
def test_marked():
    assert True
def test_calls():
    pytest.skip("no R here")
@pytest.mark.xfail(reason="known fault", strict=True)
def test_expected_to_fail():
    assert False
"""
WHOLE = "import pytest\npytest.importorskip('a_module_that_nobody_has')\n"


def run(folder, **extra) -> tuple[int, str]:
    """Exit code and output of pytest on ``folder``, under our own conftest."""
    (folder / "conftest.py").write_bytes((ROOT / "tests/conftest.py").read_bytes())
    (folder / "pytest.ini").write_text("[pytest]\n")
    env = {name: value for name, value in os.environ.items() if name != "WEARBOOK_CI"}
    ended = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:nbval"],
        cwd=folder,
        env={**env, **extra},
        capture_output=True,
        text=True,
    )
    return ended.returncode, ended.stdout


def test_a_skip_fails_under_ci(tmp_path):
    (tmp_path / "test_inside.py").write_text(INSIDE)
    code, said = run(tmp_path, WEARBOOK_CI="1")
    assert code == 1
    assert "2 failed, 1 passed, 1 error" in said
    for reason in ("no browser here", "no R here", "known fault"):
        assert reason in said


def test_a_skip_is_a_skip_elsewhere(tmp_path):
    (tmp_path / "test_inside.py").write_text(INSIDE)
    code, said = run(tmp_path)
    assert (code, "1 passed, 2 skipped, 1 xfailed" in said) == (0, True)


@pytest.mark.parametrize(("extra", "code"), [({"WEARBOOK_CI": "1"}, 2), ({}, 0)])
def test_a_module_skipped_as_a_whole_fails_under_ci(tmp_path, extra, code):
    (tmp_path / "test_runs.py").write_text("def test_runs():\n    assert True\n")
    (tmp_path / "test_whole.py").write_text(WHOLE)
    got, said = run(tmp_path, **extra)
    assert got == code
    assert ("a_module_that_nobody_has" in said) is bool(extra)
