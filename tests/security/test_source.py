"""No text becomes code anywhere in the toolkit, formulas included, and nothing listens on a port.

The rules on eval, exec, pickle, shells and queries, and on who may write to disk, are those of
tests/house/test_sources.py; here they are applied to whatever else a campaign's text could pass through.
"""

from __future__ import annotations

import ast
import json

import pytest

from tests.house import test_sources
from tests.house.tree import ROOT, calls, dotted, faults_over, sources

# Modules that evaluate text by design, or unpack what an archive says where it says.
NEVER = {"patsy", "formulaic", "numexpr", "asteval", "simpleeval", "ctypes", "socket", "ssl", "http", "urllib"}
NEVER |= {
    "ftplib",
    "requests",
    "telnetlib",
    "xmlrpc",
    "socketserver",
    "smtplib",
    "webbrowser",
    "yaml",
    "tarfile",
    "xml",
    "lxml",
}
# Of statsmodels only what takes arrays; its formula interface evaluates names as Python.
FORMULAS = {"smf", "statsmodels.formula", "statsmodels.formula.api", "sm.formula"}
STARTS = {"Popen", "run", "call", "check_call", "check_output", "spawnv", "spawnl", "execv", "execl", "fork", "forkpty"}

# JupyterLab and Chromium.
PROGRAMS = "toolkit/report/programs.py"


def reached_for(tree: ast.AST) -> list[str]:
    """Every import of a module that has no business here, and every way to a formula or another program."""
    found = []
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            if name.split(".")[0] in NEVER or any(name.startswith(formula) for formula in FORMULAS):
                found.append(f"line {node.lineno}: import {name}")
    for call, name in calls(tree):
        first, _, last = name.rpartition(".")
        if first in ("subprocess", "os", "pty") and last in STARTS:
            found.append(f"line {call.lineno}: {name}()")
        if "formula" in {item.arg for item in call.keywords} or first in FORMULAS:
            found.append(f"line {call.lineno}: {name}(formula)")
        if dotted(call.func).endswith((".format_map", "Template", "from_string")):
            found.append(f"line {call.lineno}: {name}() of a text that may be anybody's")
    return found


def test_no_formula_no_other_program_no_network():
    assert faults_over("toolkit", lambda text, tree: reached_for(tree), but=PROGRAMS) == []


def test_the_one_place_that_starts_programs_passes_lists_of_words():
    tree = ast.parse((ROOT / PROGRAMS).read_text(encoding="utf-8"))
    started = [call for call, name in calls(tree) if name.rpartition(".")[0] == "subprocess"]
    assert [ast.unparse(call.args[0]) for call in started] == ["list(words)", "list(words)"]
    assert [item for call in started for item in call.keywords if item.arg in ("shell", "executable")] == []
    found = sorted(fault.partition(": ")[2] for fault in reached_for(tree))
    assert found == ["subprocess.Popen()", "subprocess.run()"]


def test_the_cells_of_the_notebooks_reach_for_nothing_either():
    found = []
    for path in sorted(path for folder in ("templates", "notebooks") for path in (ROOT / folder).rglob("*.ipynb")):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                tree = ast.parse("".join(cell["source"]))
                found += [f"{path.name}: {fault}" for fault in test_sources.code_faults(tree) + reached_for(tree)]
    assert found == []


def test_every_module_is_looked_at():
    assert len(sources("toolkit")) > 100


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("import patsy", "line 1: import patsy"),
        ("from statsmodels.formula.api import ols", "line 1: import statsmodels.formula.api.ols"),
        ("import statsmodels.formula.api as smf", "line 1: import statsmodels.formula.api"),
        ("smf.ols('y ~ x', data)", "line 1: smf.ols(formula)"),
        ("ols(formula=text)", "line 1: ols(formula)"),
        ("subprocess.run([a])", "line 1: subprocess.run()"),
        ("from socket import socket", "line 1: import socket.socket"),
        ("import xml.etree.ElementTree as tree", "line 1: import xml.etree.ElementTree"),
        ("text.format_map(names)", "line 1: text.format_map() of a text that may be anybody's"),
        ("jinja2.Template(text)", "line 1: jinja2.Template() of a text that may be anybody's"),
    ],
)
def test_what_is_reached_for_is_found(text, found):
    assert reached_for(ast.parse(text)) == [found]
