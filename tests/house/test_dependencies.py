"""What the sources import is declared, what is declared is pinned, and a pin is a name and a version."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions

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


def pins() -> dict[str, str]:
    """Version of each pinned distribution."""
    lines = (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines()
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


def test_every_pin_is_a_name_and_a_version():
    lines = (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line)] == []
    assert len(pins()) == len(lines)


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
