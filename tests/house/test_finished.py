"""Nothing is left unfinished: no stubs, no public name without a docstring, no test without a check."""

import ast
import re

import pytest

from tests.house.tree import calls, faults_over, sources

MOST_LINES = 400
UNFINISHED = re.compile(r"\b(TODO|FIXME|XXX|NotImplementedError|[Nn]ot implemented)\b|#\s*(later|for now)\b")


def is_nothing(node: ast.stmt) -> bool:
    """Whether a statement is `pass` or `...`."""
    value = node.value if isinstance(node, ast.Expr) else None
    return isinstance(node, ast.Pass) or (isinstance(value, ast.Constant) and value.value is Ellipsis)


def stub_faults(text: str, tree: ast.AST) -> list[str]:
    """Places that say they are not finished."""
    faults = [
        f"line {number}: {hit.group()}"
        for number, line in enumerate(text.splitlines(), start=1)
        for hit in UNFINISHED.finditer(line)
    ]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            if all(is_nothing(item) for item in body):
                faults.append(f"line {node.lineno}: {node.name} does nothing")
        elif isinstance(node, ast.Assert):
            faults.append(f"line {node.lineno}: a bare assert, which python -O takes out")
    return faults


def undocumented(tree: ast.Module) -> list[str]:
    """The module, public functions, classes and methods that have no docstring."""
    faults = [] if ast.get_docstring(tree) else ["the module"]

    def look(body: list[ast.stmt], prefix: str) -> None:
        """Go through the definitions of a module or a public class."""
        for node in body:
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                continue
            if node.name.startswith("_"):
                continue
            if not ast.get_docstring(node):
                faults.append(f"{prefix}{node.name}")
            if isinstance(node, ast.ClassDef):
                look(node.body, f"{prefix}{node.name}.")

    look(tree.body, "")
    return faults


def checks_nothing(tree: ast.AST) -> list[str]:
    """The test functions without an assertion of their own."""
    faults = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test"):
            says = any(isinstance(inner, ast.Assert) for inner in ast.walk(node))
            raises = any(
                name.rpartition(".")[2] in {"raises", "warns"} or "assert" in name for _, name in calls(node)
            )
            if not says and not raises:
                faults.append(f"line {node.lineno}: {node.name}")
    return faults


def test_nothing_is_left_unfinished():
    assert faults_over("toolkit", stub_faults) == []


def test_everything_public_is_documented():
    assert faults_over("toolkit", lambda text, tree: undocumented(tree)) == []


def test_modules_hold_one_idea():
    assert {
        path: text.count("\n") for path, text in sources("toolkit").items() if text.count("\n") > MOST_LINES
    } == {}


def test_every_test_checks_something():
    assert faults_over("tests", lambda text, tree: checks_nothing(tree)) == []


def test_every_test_file_is_found_by_pytest():
    holding = [
        path
        for path, text in sources("tests").items()
        if re.search(r"^(async )?def test|^class Test", text, re.MULTILINE)
    ]
    assert [path for path in holding if not path.rpartition("/")[2].startswith("test_")] == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("# TODO: more", ["line 1: TODO"]),
        ("raise NotImplementedError", ["line 1: NotImplementedError"]),
        ("x = 1  # later", ["line 1: # later"]),
        ("def f():\n    'Doc.'\n    ...", ["line 1: f does nothing"]),
        ("def f():\n    pass", ["line 1: f does nothing"]),
        ("assert x", ["line 1: a bare assert, which python -O takes out"]),
        ("def f():\n    'A later seal carries the one before.'\n    return 1", []),
    ],
)
def test_what_is_unfinished_is_found(text, found):
    assert stub_faults(text, ast.parse(text)) == found


def test_a_missing_docstring_is_found():
    text = "class A:\n    'Doc.'\n    def b(self): return 1\n    def _c(self): return 2\ndef d(): return 3\n"
    assert undocumented(ast.parse(text)) == ["the module", "A.b", "d"]


def test_a_test_that_checks_nothing_is_found():
    text = (
        "def test_a():\n    f()\n"
        "def test_b():\n    assert f()\n"
        "def test_c():\n    with pytest.raises(E): f()\n"
        "def test_d():\n    np.testing.assert_allclose(f(), 1)\n"
        "class TestE:\n    def test_f(self): f()\n"
    )
    assert checks_nothing(ast.parse(text)) == ["line 1: test_a", "line 10: test_f"]
