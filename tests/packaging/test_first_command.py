"""The first line of README.md does what it says, in a fresh clone and with an empty HOME."""

import os
from pathlib import Path

import pytest

from tests.house.test_top_level import DEMO, fenced
from tests.house.tree import ROOT
from tests.packaging.report import report_of


def test_the_first_line_of_the_readme_ends_in_a_report(on_bare_machine, empty_folder):
    on_bare_machine(empty_folder, f"git clone -q '{ROOT}' clone")
    clone = empty_folder / "clone"
    (line,) = [line for line in fenced((clone / "README.md").read_text(encoding="utf-8")) if "demo" in line]
    assert line == DEMO
    report = report_of(on_bare_machine(clone, line), clone)
    assert report.is_relative_to(clone / "wearbook-demo")
    assert "INVENTED" in report.read_text(encoding="utf-8")
    # Nothing is left in the clone that git would offer to keep.
    assert on_bare_machine(clone, "git status --porcelain") == ""


def test_the_bare_machine_is_bare(on_bare_machine, tmp_path):
    assert on_bare_machine(tmp_path, 'echo "$HOME"') not in (f"{Path.home()}\n", "\n")
    assert on_bare_machine(tmp_path, "env | grep -c ^WEARBOOK || true") == "0\n"
    assert on_bare_machine(tmp_path, "command -v wearbook || echo none") == "none\n"
    with pytest.raises(pytest.fail.Exception, match="ended with 3"):
        on_bare_machine(tmp_path, "exit 3")


@pytest.mark.parametrize(
    "said", ["out/my report.html\n", "report: out/my report.html\nnext: wearbook status\n"]
)
def test_the_path_of_the_report_is_read(said, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out/my report.html").touch()
    assert report_of(said, tmp_path) == tmp_path / "out" / "my report.html"
    assert report_of(f"{tmp_path}{os.sep}out/my report.html", tmp_path) == tmp_path / "out" / "my report.html"
    with pytest.raises(AssertionError, match="no line ends"):
        report_of("out/other.html", tmp_path)
