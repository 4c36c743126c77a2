"""A command that is interrupted while it still imports what it needs ends as one that is interrupted later."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.house.tree import ROOT

# Ctrl-C arrives while a module is looked for; the rest is what an installed command does.
COMMAND = """
import sys
from importlib.abc import MetaPathFinder

class Interrupted(MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name == sys.argv[1]:
            raise KeyboardInterrupt

sys.meta_path.insert(0, Interrupted())
from toolkit.cli import main
sys.exit(main(sys.argv[2:]))
"""


def ended(module: str, *words: str) -> tuple[int, str, str]:
    """How a command ends that is interrupted while a module is imported."""
    found = subprocess.run([sys.executable, "-c", COMMAND, module, *words], cwd=ROOT, capture_output=True, text=True)
    return found.returncode, found.stdout, found.stderr


@pytest.mark.parametrize(
    "module", ["toolkit.cli.command", "argparse", "toolkit.errors", "toolkit.cli.verbs", "toolkit.campaign", "numpy"]
)
def test_an_import_that_is_interrupted_shows_no_lines_of_python(module):
    assert ended(module, "status", "nowhere") == (130, "", "wearbook: interrupted; nothing is half-written.\n")


def test_what_is_not_interrupted_goes_on():
    code, out, told = ended("no.such.module", "status", "nowhere")
    assert (code, out, told.splitlines()[0]) == (
        1,
        "",
        "wearbook status: nowhere: there is no such folder. Name a campaign folder, or start one with `wearbook new "
        "nowhere`.",
    )


def test_before_it_is_called_the_command_imports_nothing_that_takes_time():
    asked = "import sys; from toolkit.cli import main; print(sorted(n for n in sys.modules if n.startswith('toolkit')))"
    found = subprocess.run([sys.executable, "-S", "-c", asked], cwd=ROOT, capture_output=True, text=True)
    assert found.stdout == "['toolkit', 'toolkit.cli']\n"
