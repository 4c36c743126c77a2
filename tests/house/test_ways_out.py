"""Every error says what to do: what was expected instead, or a sentence that begins with something to do."""

import ast
import re

from tests.house.tree import dotted, faults_over
from toolkit.errors import WearbookError

CLASSES = {WearbookError.__name__, *(kind.__name__ for kind in WearbookError.__subclasses__())}
# Told beside a result as the reason why a part of it is missing; what to do is told there.
REASONS = (
    "toolkit/decide/counted_too.py",
    "toolkit/decide/interim.py",
    "toolkit/model/positions.py",
    "toolkit/model/unreplicated.py",
)
# What is put in where the program runs; a message that ends with it has its way out from there.
OPEN = "\0"
TO_DO = (
    "Add Analyse Answer Ask Bring Change Choose Compare Copy Delete Enter Free Give Go Hold Install Judge Keep Leave "
    "Let Look Make Mend Move Name Number Open Pass Plan Please Plot Print Put Raise Read Remove Repeat Restore Run "
    "Save Say Shorten Simulate Spread State Take Use Write"
).split()
WAY_OUT = re.compile(rf"(?:[.;:{OPEN}] |\n *|, or |\) |To [a-z ]+, )(?i:{'|'.join(TO_DO)}) |`?wearbook [a-z]")
SHOWN = 90


def text_of(node: ast.expr, names: dict[str, str]) -> str:
    """The text of an expression, constants of the module put in, everything else ``OPEN``."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            text_of(part.value if isinstance(part, ast.FormattedValue) else part, names) for part in node.values
        )
    if isinstance(node, ast.BinOp):
        return text_of(node.left, names) + text_of(node.right, names)
    return names.get(node.id, OPEN) if isinstance(node, ast.Name) else OPEN


def constants(tree: ast.Module) -> dict[str, str]:
    """The texts that a module gives names to."""
    return {
        node.targets[0].id: text_of(node.value, {})
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    }


def no_way_out(tree: ast.Module) -> list[str]:
    """The messages of a module that end without one."""
    found, names = [], constants(tree)
    for node in ast.walk(tree):
        called = dotted(node.func).rpartition(".")[2] if isinstance(node, ast.Call) else ""
        # The headline alone is never read: it stands behind the call that raises all faults with it.
        if called in CLASSES and node.args and ast.unparse(node.args[0]) != "HEADLINE":
            text = text_of(node.args[0], names)
            if "expected" not in text and not WAY_OUT.search(text) and not text.rstrip(" .").endswith(OPEN):
                found.append(f"{called}: {text.replace(OPEN, '...')[:SHOWN]}")
        if called == "Fault" and len(node.args) > 2 and not text_of(node.args[2], names).strip():
            found.append(f"Fault: {ast.unparse(node)[:SHOWN]}")
    return found


def test_every_error_says_what_was_expected_or_what_to_do():
    found = faults_over("toolkit", lambda _, tree: no_way_out(tree))
    assert [fault for fault in found if not fault.startswith(REASONS)] == []


def test_a_message_without_a_way_out_is_found():
    for call in (
        'ModelError(f"{name}: nothing is left.")',
        'errors.CampaignError("no plan. It is gone")',
        'Fault(where, "x", "")',
    ):
        assert len(no_way_out(ast.parse(f"HINT = 'Restore it.'\nraise {call}"))) == 1
    for call in (
        'ModelError(f"{name}: nothing is left. Take more runs.")',
        'CampaignError(f"{name}: gone. {HINT}")',
        'CampaignError(f"{name}: {problem}")',
        'UseError("x; expected y")',
        'Fault(where, "x", "y")',
    ):
        assert no_way_out(ast.parse(f"HINT = 'Restore it.'\nraise {call}")) == []
