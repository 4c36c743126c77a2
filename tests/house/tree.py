"""The project as the house tests see it: its files, its modules, their syntax trees."""

import ast
import functools
import json
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def tracked() -> list[str]:
    """Paths of the files that git keeps and that are there, relative to the top level."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, encoding="utf-8"
    ).stdout
    return sorted({name for name in listed.split("\0") if name and (ROOT / name).is_file()})


def sources(folder: str) -> dict[str, str]:
    """Path relative to the top level and text of each Python file under ``folder``."""
    found = sorted((ROOT / folder).rglob("*.py"))
    return {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in found}


def faults_over(folder: str, rule: Callable[[str, ast.Module], list[str]], *, but: str = "") -> list[str]:
    """The faults of every Python file of a folder, each with its path."""
    return [
        f"{path}: {fault}"
        for path, (text, tree) in parsed(folder).items()
        if path != but
        for fault in rule(text, tree)
    ]


# One folder at a time: the trees of all would fill a few hundred megabytes.
@functools.lru_cache(maxsize=1)
def parsed(folder: str) -> dict[str, tuple[str, ast.Module]]:
    """Path, text and syntax tree of each Python file under ``folder``: read once for all the rules of a test file."""
    return {path: (text, ast.parse(text, path)) for path, text in sources(folder).items()}


def module_name(path: str) -> str:
    """``toolkit.design.strata`` for ``toolkit/design/strata.py``; the package for its ``__init__.py``."""
    parts = path.removesuffix(".py").split("/")
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def dotted(node: ast.expr) -> str:
    """``os.path.join`` for the expression of that form; ``?.join`` where it starts with something else."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return "?"


def calls(tree: ast.AST) -> Iterator[tuple[ast.Call, str]]:
    """Every call in the tree and the dotted name of what is called."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node, dotted(node.func)


def texts_of(name: str) -> list[str] | None:
    """The texts in a kept file: the strings of a notebook or JSON file, else the whole; None if binary."""
    try:
        whole = (ROOT / name).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None
    if not name.endswith((".ipynb", ".json")):
        return [whole]
    return list(_strings(json.loads(whole)))


def _strings(value: object) -> Iterator[str]:
    """Every string in decoded JSON, keys included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from _strings(item)
