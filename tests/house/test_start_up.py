"""``wearbook --help`` answers at once: nothing beyond the standard library is loaded for it."""

import json
import subprocess
import sys

import pytest

from tests.house.tree import ROOT

# Import names, the slow ones first; each costs between 0.1 s and 2 s.
HEAVY = {
    "papermill",
    "pint",
    "statsmodels",
    "seaborn",
    "pyDOE3",
    "matplotlib",
    "pandas",
    "scipy",
    "numpy",
    "pydantic",
    "nbconvert",
    "nbformat",
    "jupyterlab",
    "ipykernel",
    "jinja2",
    "openpyxl",
}
CALL = """
import json, sys
from toolkit.cli import main
try:
    code = main()
except SystemExit as end:
    code = end.code
print(json.dumps([code, sorted({name.split(".")[0] for name in sys.modules})]), file=sys.stderr)
"""


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["size", "--help"]])
def test_help_loads_nothing_heavy(arguments):
    run = subprocess.run(
        [sys.executable, "-c", CALL, *arguments], cwd=ROOT, capture_output=True, text=True, check=True
    )
    code, loaded = json.loads(run.stderr)
    assert code in (0, None)
    assert run.stdout.strip()
    assert HEAVY & set(loaded) == set()


def test_nothing_is_pinned_that_builds_parsers_when_it_is_loaded():
    # rfc3987-syntax builds 38 parsers of grammars on import: four seconds of processor time in every process that
    # reads a notebook or serves JupyterLab. jsonschema asks for it from 4.25 on, and nothing here checks addresses.
    pins = [line.partition("==") for line in (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines()]
    names = {name: version for name, _, version in pins}
    assert {"rfc3987-syntax", "lark"} & set(names) == set()
    assert names["jsonschema"].startswith("4.24.")
