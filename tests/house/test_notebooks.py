"""Templates are stripped and thin, guide notebooks are stored as they ran, both have the same kernel."""

import ast
import io
import json
import re
import tokenize
from pathlib import Path

import pytest

from tests.house.tree import ROOT

# Not the eight hexadecimal digits that editors give by themselves.
READABLE_ID = re.compile(r"(?![0-9a-f]{8}$)(?=[a-z-]{3})[a-z][a-z0-9]*(-[a-z0-9]+)*")
ABSOLUTE = re.compile(r"^(/[\w.]|~|[A-Za-z]:[\\/]|file:)")
KINDS = ("Tutorial", "How-to", "Explanation", "Reference")
EVERY_PICTURE = "13-every-picture.ipynb"
TEMPLATE_LINES, GUIDE_LINES, GUIDE_BYTES = 12, 25, 550_000


def notebooks(folder: str) -> list[Path]:
    """The notebooks under a top-level folder, without what JupyterLab keeps on its own."""
    return sorted(path for path in (ROOT / folder).rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)


def source(cell: dict) -> str:
    """The text of a cell, which the format stores whole or in lines."""
    return "".join(cell["source"])


def code_cells(notebook: dict) -> list[dict]:
    """The code cells that hold something."""
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code" and source(cell).strip()]


def headings(notebook: dict) -> list[int]:
    """The levels of all headings in order, fenced blocks left out."""
    levels, fenced = [], False
    for cell in notebook["cells"]:
        for line in source(cell).splitlines() if cell["cell_type"] == "markdown" else ():
            if line.lstrip().startswith("```"):
                fenced = not fenced
            elif not fenced and (hit := re.match(r"(#{1,6})\s", line)):
                levels.append(len(hit.group(1)))
    return levels


def heading_faults(levels: list[int]) -> list[str]:
    """What is wrong with the order of headings."""
    faults = []
    if levels[:1] != [1] or levels.count(1) != 1:
        faults.append(f"one first-level heading first, found levels {levels}")
    faults += [
        f"a heading of level {after} follows one of level {before}"
        for before, after in zip(levels, levels[1:], strict=False)
        if after > before + 1
    ]
    return faults


def structure_faults(notebook: dict, most_lines: int) -> list[str]:
    """What is wrong in any notebook of ours: kernel, ids, headings, long or odd cells, absolute paths."""
    faults = heading_faults(headings(notebook))
    kernel = notebook["metadata"].get("kernelspec", {}).get("name")
    if kernel != "python3":
        faults.append(f"kernel {kernel!r}, not 'python3'")
    if (notebook["nbformat"], notebook["nbformat_minor"]) < (4, 5):
        faults.append("format older than 4.5, which has no cell ids")
    names = [cell.get("id", "") for cell in notebook["cells"]]
    faults += [f"cell id '{name}' says nothing" for name in names if not READABLE_ID.fullmatch(name)]
    faults += [f"cell id '{name}' stands twice" for name in sorted({n for n in names if names.count(n) > 1})]
    for cell in code_cells(notebook):
        faults += [f"{cell.get('id', '?')}: {fault}" for fault in code_faults(source(cell), most_lines)]
        tags = " ".join(cell["metadata"].get("tags", []))
        if re.search(r"nbval[-_]skip|raises[-_]exception", f"{tags} {source(cell)}", re.IGNORECASE):
            faults.append(f"{cell.get('id', '?')}: is left out of the check")
    return faults


def code_faults(text: str, most_lines: int) -> list[str]:
    """What is wrong with the text of a code cell."""
    faults = []
    if len(text.splitlines()) > most_lines:
        faults.append(f"{len(text.splitlines())} lines, at most {most_lines}")
    commands = [line for line in text.splitlines() if line.lstrip().startswith(("!", "%"))]
    if commands:
        return [*faults, f"not Python: {commands[0].strip()}"]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            faults.append(f"defines '{node.name}', which belongs in toolkit")
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and ABSOLUTE.match(node.value):
            faults.append(f"absolute path {node.value!r}")
    return faults


def parameter_faults(text: str) -> list[str]:
    """What is wrong with the text of a parameters cell: annotated assignments only, each with a comment."""
    commented = {
        token.start[0]
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    }
    faults = []
    for node in ast.parse(text).body:
        first = ast.unparse(node).splitlines()[0]
        if not isinstance(node, ast.AnnAssign) or node.value is None:
            faults.append(f"'{first}' is not an annotated assignment")
        elif not commented & set(range(node.lineno, (node.end_lineno or node.lineno) + 1)):
            faults.append(f"'{first}' has no comment on its line")
    return faults


def template_faults(notebook: dict) -> list[str]:
    """What is wrong in a template."""
    faults = structure_faults(notebook, TEMPLATE_LINES)
    marked = [cell for cell in notebook["cells"] if "parameters" in cell["metadata"].get("tags", [])]
    if [cell["cell_type"] for cell in marked] != ["code"]:
        faults.append(f"{len(marked)} cells tagged 'parameters', not one code cell")
    for cell in marked:
        faults += parameter_faults(source(cell))
        if not source(cell).strip():
            faults.append("the parameters cell is empty")
    for cell in notebook["cells"]:
        if cell.get("outputs") or cell.get("execution_count") is not None:
            faults.append(f"{cell.get('id', '?')}: holds what came out of a run")
    kept = {"papermill", "widgets"} & set(notebook["metadata"])
    faults += [f"metadata of a run: {name}" for name in sorted(kept)]
    return faults


def kind_faults(notebook: dict) -> list[str]:
    """What is wrong where a page of the guide says its kind: in bold, below its heading."""
    below = source(notebook["cells"][0]).partition("\n\n")[2]
    said = re.match(r"\*\*([A-Z][a-z-]+)\*\*: \w", below)
    return [] if said and said[1] in KINDS else [f"does not say below its heading which it is of {', '.join(KINDS)}"]


def guide_faults(notebook: dict) -> list[str]:
    """What is wrong in a guide notebook, which is stored executed."""
    faults = structure_faults(notebook, GUIDE_LINES)
    counts = [cell["execution_count"] for cell in code_cells(notebook)]
    if counts != list(range(1, len(counts) + 1)):
        faults.append(f"execution counts {counts}")
    for cell in code_cells(notebook):
        for output in cell["outputs"]:
            if output["output_type"] == "error":
                faults.append(f"{cell.get('id', '?')}: a stored error, {output['ename']}")
            elif output.get("name") == "stderr":
                faults.append(f"{cell.get('id', '?')}: something on stderr, {''.join(output['text'])[:80]!r}")
    return faults


def all_faults(folder: str, rule) -> list[str]:
    """The faults of every notebook in a folder, each with the name of its file."""
    return [
        f"{path.relative_to(ROOT).as_posix()}: {fault}"
        for path in notebooks(folder)
        for fault in rule(json.loads(path.read_text(encoding="utf-8")))
    ]


def test_templates_are_stripped_and_thin():
    assert all_faults("templates", template_faults) == []


def test_guide_notebooks_are_stored_as_they_ran():
    assert all_faults("notebooks", guide_faults) == []


def test_pages_of_the_guide_say_their_kind():
    assert all_faults("notebooks", kind_faults) == []


def test_the_tutorial_is_one():
    first = [source(json.loads(path.read_text(encoding="utf-8"))["cells"][0]) for path in notebooks("notebooks")]
    assert ["**Tutorial**: " in text for text in first] == [True] + [False] * (len(first) - 1)


@pytest.mark.parametrize("text", ["# A\n\nOne line.", "# A\n\n**Story**: x", "# A\n**How-to**: x"])
def test_a_page_that_does_not_say_its_kind_is_found(text):
    told = "does not say below its heading which it is of Tutorial, How-to, Explanation, Reference"
    assert kind_faults({"cells": [{"source": text}]}) == [told]


def test_guide_notebooks_are_small():
    sizes = {path.name: path.stat().st_size for path in notebooks("notebooks")}
    # The page with every picture has a limit of its own: tests/notebooks/test_every_picture.py.
    assert {name: size for name, size in sizes.items() if size > GUIDE_BYTES and name != EVERY_PICTURE} == {}


def cell(kind: str, text: str, name: str, tags: tuple[str, ...] = (), **more) -> dict:
    """A cell of a notebook."""
    run = {"outputs": [], "execution_count": None} if kind == "code" else {}
    return {"cell_type": kind, "source": text, "id": name, "metadata": {"tags": list(tags)}, **run, **more}


def made(*cells: dict, kernel: str = "python3", **metadata) -> dict:
    """A template in order, with ``cells`` added at its end."""
    first = [
        cell("markdown", "# What the runs show\n\n## Choose", "title"),
        cell("code", 'campaign: str = "demo"  # folder of the campaign', "choose-campaign", ("parameters",)),
    ]
    return {
        "nbformat": 4,
        "nbformat_minor": 5,
        "metadata": {"kernelspec": {"name": kernel}, **metadata},
        "cells": [*first, *cells],
    }


def test_a_template_in_order_is_let_through():
    assert template_faults(made(cell("code", "from toolkit import size\nx = '1/2'", "load-runs"))) == []


TWELVE = "\n".join(["x = 1"] * 12)


@pytest.mark.parametrize(
    ("added", "fault"),
    [
        (cell("code", TWELVE + "\ny = 2", "load-runs"), "load-runs: 13 lines, at most 12"),
        (cell("code", "def f(): pass", "load-runs"), "load-runs: defines 'f', which belongs in toolkit"),
        (cell("code", "class A: pass", "load-runs"), "load-runs: defines 'A', which belongs in toolkit"),
        (cell("code", "!ls", "load-runs"), "load-runs: not Python: !ls"),
        (cell("code", "%matplotlib inline", "load-runs"), "load-runs: not Python: %matplotlib inline"),
        (cell("code", "open('/data/x')", "load-runs"), "load-runs: absolute path '/data/x'"),
        (cell("code", "open('~/x')", "load-runs"), "load-runs: absolute path '~/x'"),
        (cell("code", "x = 1", "3f2a9b1c"), "cell id '3f2a9b1c' says nothing"),
        (cell("code", "x = 1", "abcdef12"), "cell id 'abcdef12' says nothing"),
        (cell("code", "x = 1", "0"), "cell id '0' says nothing"),
        (cell("code", "x = 1", "title"), "cell id 'title' stands twice"),
        (cell("code", "x = 1", "load-runs", execution_count=1), "load-runs: holds what came out of a run"),
        (cell("code", "x = 1", "load-runs", ("nbval-skip",)), "load-runs: is left out of the check"),
        (cell("code", "# NBVAL_SKIP\nx = 1", "load-runs"), "load-runs: is left out of the check"),
        (
            cell("code", "a: int = 1  # n", "more", ("parameters",)),
            "2 cells tagged 'parameters', not one code cell",
        ),
        (cell("markdown", "#### Deep", "deep"), "a heading of level 4 follows one of level 2"),
        (cell("markdown", "# Again", "again"), "one first-level heading first, found levels [1, 2, 1]"),
    ],
)
def test_a_fault_in_a_template_is_found(added, fault):
    assert template_faults(made(added)) == [fault]


def test_a_foreign_kernel_and_the_traces_of_a_run_are_found():
    assert template_faults(made(kernel="my-old-env", papermill={}, widgets={})) == [
        "kernel 'my-old-env', not 'python3'",
        "metadata of a run: papermill",
        "metadata of a run: widgets",
    ]


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ('a: str = "x"  # folder', []),
        ("a: list[int] = [\n    1,  # hours\n]", []),
        ('a = "x"  # folder', ["'a = 'x'' is not an annotated assignment"]),
        ("a: int  # hours", ["'a: int' is not an annotated assignment"]),
        ("import os  # why", ["'import os' is not an annotated assignment"]),
        ("# hours\na: int = 1", ["'a: int = 1' has no comment on its line"]),
    ],
)
def test_a_parameters_cell_holds_commented_assignments(text, faults):
    assert parameter_faults(text) == faults


def test_a_guide_notebook_that_did_not_run_through_is_found():
    error = {"output_type": "error", "ename": "ValueError", "evalue": "", "traceback": []}
    talk = {"output_type": "stream", "name": "stderr", "text": ["careful"]}
    guide = made(
        cell("code", "x = 1", "load-runs", execution_count=3, outputs=[error]),
        cell("code", "y = 1", "show-runs", execution_count=2, outputs=[talk]),
        cell("markdown", "```\n# not a heading\n```", "aside"),
    )
    guide["cells"][1]["execution_count"] = 1
    assert guide_faults(guide) == [
        "execution counts [1, 3, 2]",
        "load-runs: a stored error, ValueError",
        "show-runs: something on stderr, 'careful'",
    ]
