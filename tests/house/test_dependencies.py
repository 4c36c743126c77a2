"""What the sources import is declared, what is declared is pinned, and a pin is a name and a version."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.tree import ROOT, sources

OURS = {"toolkit", "tests"}


def project() -> dict:
    """The project table of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def declared(*, tests: bool) -> set[str]:
    """Names of the distributions that are asked for, those of the test extra only when asked."""
    lines = project()["dependencies"] + (project()["optional-dependencies"]["test"] if tests else [])
    return {canonicalize_name(Requirement(line).name) for line in lines}


def pins(name: str = "constraints.txt") -> dict[str, str]:
    """Version of each pinned distribution."""
    lines = (ROOT / ".ci" / name).read_text(encoding="utf-8").splitlines()
    return {canonicalize_name(name): version for name, _, version in (line.partition("==") for line in lines)}


def third_party(tree: ast.AST) -> set[str]:
    """Top-level names that a file imports and that neither we nor Python bring."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names.add((node.module or "").split(".")[0])
    return names - OURS - set(sys.stdlib_module_names)


def undeclared(folder: str, *, tests: bool) -> list[str]:
    """File and name of each import that no declared distribution brings."""
    brings = packages_distributions()
    allowed = declared(tests=tests)
    return [
        f"{path}: {name}"
        for path, text in sources(folder).items()
        for name in sorted(third_party(ast.parse(text, path)))
        # A script may import the one beside it.
        if not (ROOT / path).with_name(f"{name}.py").is_file()
        and not allowed & {canonicalize_name(distribution) for distribution in brings.get(name, ())}
    ]


def test_what_the_toolkit_imports_is_declared():
    assert undeclared("toolkit", tests=False) == []


def test_what_the_tests_import_is_declared():
    assert undeclared("tests", tests=True) == []


@pytest.mark.parametrize("name", ["constraints.txt", "lowest.txt"])
def test_every_pin_is_a_name_and_a_version(name):
    lines = (ROOT / ".ci" / name).read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line)] == []
    assert len(pins(name)) == len(lines)
    assert set(pins(name)) == set(pins())


def test_lower_bounds_are_the_versions_that_the_lowest_set_holds():
    asked = project()["dependencies"] + project()["optional-dependencies"]["test"]
    held = pins("lowest.txt")
    faults = []
    for requirement in map(Requirement, asked):
        version = held[canonicalize_name(requirement.name)]
        # Two ways to write one bound: the back end is pinned, and its lowest version is that one.
        if str(requirement.specifier) not in (f">={version}", f"=={version}"):
            faults.append(f"{requirement}: .ci/lowest.txt has {version}")
    assert faults == []
    # What nobody asks for by name is the same in both sets.
    own = {canonicalize_name(Requirement(text).name) for text in asked}
    assert {name: version for name, version in held.items() if name not in own and pins()[name] != version} == {}


def test_what_is_declared_is_pinned_within_its_bounds():
    asked = project()["dependencies"] + project()["optional-dependencies"]["test"]
    faults = []
    for requirement in map(Requirement, asked):
        pinned = pins().get(canonicalize_name(requirement.name))
        if pinned is None or pinned not in requirement.specifier:
            faults.append(f"{requirement}: pinned at {pinned}")
        if not str(requirement.specifier):
            faults.append(f"{requirement}: no lower bound")
    assert faults == []


def test_an_undeclared_import_is_found():
    text = "import os, numpy.linalg\nimport toolkit.a\ndef f():\n    import not_there\n    from . import a"
    assert third_party(ast.parse(text)) == {"numpy", "not_there"}
