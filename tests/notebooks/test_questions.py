"""The questions of the guide: each has its heading, its command, an answer of two lines that a cell works out and
asserts, and something to look at."""

import re

import nbformat
import pytest

from tests.house.tree import ROOT
from toolkit.cli.verbs import VERBS

BOOKS = sorted((ROOT / "notebooks").glob("*-questions-*.ipynb"))
HEADING = re.compile(r'^## (\d+)\. .*[?"]$')


def sections(path):
    """The cells below each heading of a question."""
    found = []
    for cell in nbformat.read(path, as_version=4).cells:
        first = cell.source.split("\n")[0]
        if cell.cell_type == "markdown" and HEADING.match(first):
            found.append([cell])
        elif cell.cell_type == "markdown" and first.startswith("#"):
            found.append([])
        elif found:
            found[-1].append(cell)
    return [cells for cells in found if cells and cells[0].source.startswith("## ")]


def printed(cell):
    """The lines that a cell prints."""
    return "".join(item.text for item in cell.outputs if item.output_type == "stream").strip().splitlines()


def test_there_are_two_books_of_them():
    assert [len(sections(path)) for path in BOOKS] == [12, 17]


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_a_question_has_its_command_an_asserted_answer_of_two_lines_and_something_to_look_at(path):
    for at, (heading, answer, _, seen) in enumerate(sections(path), start=1):
        assert HEADING.match(heading.source.split("\n")[0]).group(1) == str(at)
        named = re.findall(r"`wearbook ([a-z]+) CAMPAIGN", heading.source)
        assert named and set(named) <= set(VERBS), heading.source
        assert re.search(r"^assert ", answer.source, re.MULTILINE), answer.id
        assert len(printed(answer)) == 2, (answer.id, printed(answer))
        shown = [item.data for item in seen.outputs if "data" in item]
        assert any("image/png" in data or "<t" in data.get("text/html", "") or "<li" in data.get("text/html", "")
                   or "<p" in data.get("text/html", "") for data in shown), seen.id  # fmt: skip
