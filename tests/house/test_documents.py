"""README.md, DEVELOPERS.md and the guide: links lead somewhere, commands have the options they are shown with, and the
Python of README.md and DEVELOPERS.md runs."""

import json
import re
import shutil
import subprocess
import sys

import pytest

from tests.house.test_commands import code_of, verbs
from tests.house.tree import ROOT, tracked

DOCUMENTS = ("README.md", "DEVELOPERS.md", "data/README.md")


def prose(name):
    """The Markdown of a document or a notebook."""
    text = (ROOT / name).read_text(encoding="utf-8")
    if not name.endswith(".ipynb"):
        return text
    cells = json.loads(text)["cells"]
    return "\n\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")


def guides():
    """Documents and notebooks."""
    return [*DOCUMENTS, *(name for name in tracked() if name.endswith(".ipynb"))]


def dead_links(name, text, kept):
    """Links and pictures of a Markdown text that lead to nothing that is kept."""
    here = (ROOT / name).parent
    found = []
    for target in re.findall(r"\]\(([^)\s#]+)(?:#[^)]*)?(?: \"[^\"]*\")?\)", text):
        if not re.match(r"[a-z]+:", target):
            path = (here / target).resolve()
            inside = path.is_relative_to(ROOT) and path.relative_to(ROOT).as_posix()
            if not inside or not (inside in kept or any(item.startswith(f"{inside.rstrip('/')}/") for item in kept)):
                found.append(target)
    return found


def named_notebooks(text):
    """Numbered notebooks that a text names."""
    return set(re.findall(r"(?:notebooks/|`)(\d\d-[a-z][a-z-]+)", text))


def strange_options(text, known):
    """Commands shown with an option that their verb does not have."""
    found = []
    for line in code_of(text).splitlines():
        for part in re.split(r"&&|\|", line):
            words = part.replace("[", "").replace("]", "").split()
            at = next((at for at, word in enumerate(words) if word.rpartition("/")[2] == "wearbook"), None)
            if at is not None and len(words) > at + 1 and words[at + 1] in known:
                options = known[words[at + 1]][1]._option_string_actions
                asked = [word.partition("=")[0] for word in words[at + 2 :] if word.startswith("--")]
                found += [f"{words[at + 1]} {option}" for option in asked if option not in options]
    return found


def test_every_link_leads_somewhere():
    kept = set(tracked())
    assert {name: dead for name in guides() if (dead := dead_links(name, prose(name), kept))} == {}


def test_every_notebook_that_is_named_is_there():
    there = {name.rpartition("/")[2].removesuffix(".ipynb") for name in tracked() if name.startswith("notebooks/")}
    assert {name: gone for name in guides() if (gone := named_notebooks(prose(name)) - there)} == {}


def test_commands_are_shown_with_options_that_they_have():
    from toolkit.cli.arguments import parser

    known = verbs(parser())
    assert {name: odd for name in guides() if (odd := strange_options(prose(name), known))} == {}


def test_the_python_of_the_readme_runs(tmp_path):
    (block,) = re.findall(r"^```python\n(.*?)^```", prose("README.md"), re.M | re.S)
    shutil.copy(ROOT / "data" / "chain-soot" / "campaign.toml", tmp_path)
    show = "\nprint(len(order.table), order.table['run_id'].iloc[0])"
    ran = subprocess.run(
        [sys.executable, "-c", block + show],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(ROOT)},
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "12 R01\n", "")


def examples(text):
    """Heading of a section to the Python shown in it."""
    sections = re.split(r"^## ", text, flags=re.M)[1:]
    found = {part.partition("\n")[0]: re.findall(r"^```python\n(.*?)^```", part, re.M | re.S) for part in sections}
    return {head: blocks for head, blocks in found.items() if blocks}


def test_each_way_to_extend_has_a_short_example_and_they_run():
    found = examples(prose("DEVELOPERS.md"))
    assert list(found) == ["How to add a design", "How to add a response", "How to add a reference case"]
    blocks = [block for blocks in found.values() for block in blocks]
    assert [len(block.splitlines()) <= 25 and "assert " in block for block in blocks] == [True] * 3
    # Each by itself, in one process: importing what they need takes the time.
    alone = "import sys\nfor block in sys.argv[1:]:\n    exec(block, {})\n    print('ran')"
    ran = subprocess.run([sys.executable, "-c", alone, *blocks], cwd=ROOT, capture_output=True, text=True)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "ran\n" * 3, "")


@pytest.mark.parametrize(
    ("text", "dead"),
    [
        ("[a](README.md) ![b](data/pictures/answers.png 'x')", []),
        ("[a](gone.md#top)", ["gone.md"]),
        ("[a](../outside.md)", ["../outside.md"]),
        ("[a](https://example.org/x) [b](notebooks/)", []),
    ],
)
def test_a_dead_link_is_found(text, dead):
    assert dead_links("README.md", text, set(tracked())) == dead


def test_a_strange_option_is_found():
    from toolkit.cli.arguments import parser

    text = "`wearbook plan x --phase main` and `wearbook size x --phase main`\n```sh\nwearbook lab --port 1\n```"
    assert strange_options(text, verbs(parser())) == ["size --phase"]
    assert named_notebooks("see notebooks/05-questions-before-the-runs.ipynb") == {"05-questions-before-the-runs"}
