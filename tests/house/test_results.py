"""What a call gives is readable in a notebook: words or a table of its own, no list of fields."""

import ast

from tests.house.tree import faults_over

# Numbers of a formula, what the command prints, what is read on the way to a result: nobody shows them. The status is
# shown by view_steps.stood.
NOT_SHOWN = (
    "toolkit/numeric/",
    "toolkit/cli/",
    "toolkit/brief/received_table.py",
    "toolkit/campaign/old_columns.py",
    "toolkit/intake/dyno_sweeps.py",
    "toolkit/intake/layouts.py",
    "toolkit/intake/told.py",
)


def is_result(node: ast.stmt) -> bool:
    """Whether a class is a public dataclass that has a table, or plain values for a file."""
    if not isinstance(node, ast.ClassDef) or node.name.startswith("_"):
        return False
    if not any("dataclass" in ast.unparse(mark) for mark in node.decorator_list):
        return False
    fields = {
        item.target.id for item in node.body if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
    }
    return bool({"to_json", "table"} & (fields | methods(node)))


def methods(node: ast.ClassDef) -> set[str]:
    """The names of the functions of a class."""
    return {item.name for item in node.body if isinstance(item, ast.FunctionDef)}


def unsaid(_: str, tree: ast.Module) -> list[str]:
    """The results of a module that would show as a list of fields."""
    return [node.name for node in tree.body if is_result(node) and "__repr__" not in methods(node)]


def test_every_result_shows_as_words_or_a_table():
    found = [fault for fault in faults_over("toolkit", unsaid) if not fault.startswith(NOT_SHOWN)]
    assert found == []


def test_a_result_without_words_is_found():
    given = "@dataclass(frozen=True)\nclass Found:\n    table: object\n"
    assert unsaid("", ast.parse(given)) == ["Found"]
    said = "    def __repr__(self):\n        return 'x'\n"
    assert unsaid("", ast.parse(given + said)) == []
    assert unsaid("", ast.parse(given.replace("table", "name"))) == []
