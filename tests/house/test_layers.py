"""Each part of the toolkit imports only what lies below it, and no package goes round in a circle."""

import ast
import functools

import pytest

from tests.house.tree import calls, module_name, sources

RANKS = {
    "cautions": 0,
    "wording": 0,
    "errors": 0,
    "measured_in": 0,
    "stamp": 1,
    "parallel": 1,
    "sheetfile": 1,
    "shipped": 1,
    "numeric": 1,
    "copies": 2,
    "brief": 2,
    "explain": 3,
    "design": 3,
    "model": 4,
    "size": 5,
    "running": 5,
    "intake": 6,
    "decide": 7,
    "plot": 8,
    "campaign": 9,
    "report": 10,
    "demo": 10,
    "cli": 11,
}
SAYS_NOTHING = {"utils", "util", "helpers", "common", "misc", "tools", "core"}


def imported(name: str, is_package: bool, tree: ast.AST, known: set[str]) -> list[tuple[int, str]]:
    """Line and module of each import of the toolkit, those inside functions and by ``import_module`` too."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                here = name.split(".")
                kept = here[: len(here) - node.level + (1 if is_package else 0)]
                base = ".".join(kept + ([node.module] if node.module else []))
            for alias in node.names:
                deeper = f"{base}.{alias.name}"
                found.append((node.lineno, deeper if deeper in known else base))
    for call, called in calls(tree):
        if called.endswith("import_module") and call.args and isinstance(call.args[0], ast.Constant):
            found.append((call.lineno, call.args[0].value))
    return [(line, target) for line, target in found if target.split(".")[0] == "toolkit"]


def edges(files: dict[str, str]) -> list[tuple[str, int, str]]:
    """Importing module, line, imported module, for every import of the toolkit in ``files``."""
    return _edges(tuple(files.items()))


# Both tests on the toolkit ask for the same ones.
@functools.cache
def _edges(texts: tuple[tuple[str, str], ...]) -> list[tuple[str, int, str]]:
    """As ``edges``, worked out once for the same texts."""
    files = dict(texts)
    known = {module_name(path) for path in files} | {
        module_name(path).rpartition(".")[0] for path in files if path.count("/") > 1
    }
    found = []
    for path, text in files.items():
        name = module_name(path)
        for line, target in imported(name, path.endswith("/__init__.py"), ast.parse(text, path), known):
            found.append((name, line, target))
    return found


def part(module: str) -> str:
    """``design`` for ``toolkit.design.strata``; empty for ``toolkit`` itself."""
    return [*module.split("."), ""][1]


def rank_faults(files: dict[str, str]) -> list[str]:
    """Every import that goes up or sideways, and every part without a rank."""
    unranked = {part(module_name(path)) for path in files} - set(RANKS) - {""}
    faults = [f"toolkit.{name} has no rank" for name in sorted(unranked)]
    for name, line, target in edges(files):
        own, other = part(name), part(target)
        if own == other and own:
            continue
        if other not in RANKS or own not in RANKS or RANKS[other] >= RANKS[own]:
            faults.append(f"{name}, line {line}: imports {target}")
    return faults


def circles(files: dict[str, str]) -> list[str]:
    """Every circle of imports inside one package, function-level imports counted."""
    below: dict[str, set[str]] = {}
    for name, _, target in edges(files):
        if part(name) == part(target):
            below.setdefault(name, set()).add(target)
    found = []

    def walk(module: str, path: list[str]) -> None:
        """Follow the imports from ``module`` until they come back to where they started."""
        for target in sorted(below.get(module, ())):
            if target == path[0]:
                found.append(" -> ".join([*path, target]))
            elif target not in path and target > path[0]:
                walk(target, [*path, target])

    for start in sorted(below):
        walk(start, [start])
    return found


def test_every_import_goes_down():
    assert rank_faults(sources("toolkit")) == []


def test_no_package_imports_in_a_circle():
    assert circles(sources("toolkit")) == []


def test_every_module_is_named_for_what_it_does():
    names = {piece for path in sources("toolkit") for piece in module_name(path).split(".")}
    assert names & SAYS_NOTHING == set()


@pytest.mark.parametrize(
    ("path", "text", "fault"),
    [
        ("toolkit/errors.py", "import toolkit.stamp", "toolkit.errors, line 1: imports toolkit.stamp"),
        (
            "toolkit/design/strata.py",
            "def f():\n    from toolkit.size.promise import power",
            "toolkit.design.strata, line 2: imports toolkit.size.promise",
        ),
        ("toolkit/brief/a.py", "import toolkit.design", "toolkit.brief.a, line 1: imports toolkit.design"),
        ("toolkit/brief/a.py", "from ..design import b", "toolkit.brief.a, line 1: imports toolkit.design"),
        ("toolkit/brief/__init__.py", "from ..plot import b", "toolkit.brief, line 1: imports toolkit.plot"),
        (
            "toolkit/size/a.py",
            "import importlib\nimportlib.import_module('toolkit.report')",
            "toolkit.size.a, line 2: imports toolkit.report",
        ),
        ("toolkit/size/a.py", "from toolkit import plot", "toolkit.size.a, line 1: imports toolkit.plot"),
        ("toolkit/size/a.py", "import toolkit.running", "toolkit.size.a, line 1: imports toolkit.running"),
        ("toolkit/__init__.py", "from toolkit import errors", "toolkit, line 1: imports toolkit.errors"),
        ("toolkit/odd/a.py", "", "toolkit.odd has no rank"),
    ],
)
def test_an_import_upwards_is_found(path, text, fault):
    packages = ["design", "size", "running", "report", "plot"]
    others = ["errors", "stamp", "size/promise", *(f"{name}/__init__" for name in packages)]
    files = {f"toolkit/{name}.py": "" for name in others}
    assert rank_faults({**files, path: text}) == [fault]


def test_an_import_downwards_is_let_through():
    files = {
        "toolkit/errors.py": "",
        "toolkit/design/__init__.py": "from toolkit.design.a import A",
        "toolkit/design/a.py": "from . import b\nfrom toolkit import errors",
        "toolkit/design/b.py": "def f():\n    import toolkit.errors",
    }
    assert rank_faults(files) == []
    assert circles(files) == []


def test_a_circle_is_found():
    files = {
        "toolkit/model/__init__.py": "from toolkit.model.a import A",
        "toolkit/model/a.py": "from toolkit.model import b",
        "toolkit/model/b.py": "def f():\n    from .c import x",
        "toolkit/model/c.py": "from toolkit.model.a import y",
        "toolkit/model/d.py": "from toolkit.model import A",
    }
    assert circles(files) == ["toolkit.model.a -> toolkit.model.b -> toolkit.model.c -> toolkit.model.a"]
    files["toolkit/model/c.py"] = "from toolkit.model import A"
    assert circles(files) == [
        "toolkit.model -> toolkit.model.a -> toolkit.model.b -> toolkit.model.c -> toolkit.model"
    ]
