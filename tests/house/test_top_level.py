"""The top level is fixed, and README.md opens with the job, two commands and a picture."""

import re

from tests.house.tree import ROOT, tracked

TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "notebooks",
    "toolkit",
    "tests",
    "data",
    "templates",
}
DEMO = (
    "python3 -m venv .venv && .venv/bin/pip install -q -c .ci/constraints.txt -e . && .venv/bin/wearbook demo"
)
TESTS = (
    "python3 -m venv .venv && .venv/bin/pip install -q -c .ci/constraints.txt -e '.[test]'"
    " && .venv/bin/python -m pytest -n 2 --dist loadfile"
)


def fenced(text: str) -> list[str]:
    """The lines inside the fenced blocks of a Markdown text."""
    inside, lines = False, []
    for line in text.splitlines():
        if line.lstrip().startswith("```"):
            inside = not inside
        elif inside:
            lines.append(line.strip())
    return lines


def pictures(text: str) -> list[tuple[int, str, str]]:
    """Line, alternative text and path of each picture in a Markdown text."""
    return [
        (number, alt, path)
        for number, line in enumerate(text.splitlines(), start=1)
        for alt, path in re.findall(r"!\[([^\]]*)\]\(([^)\s]+)[^)]*\)", line)
    ]


def test_the_top_level_holds_what_it_should():
    top = {name.split("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_nothing_made_by_a_run_is_kept():
    made = re.compile(r"(^|/)(__pycache__|\.ipynb_checkpoints|_shipped|wearbook-demo)(/|$)|\.(pyc|lock|whl)$")
    assert [name for name in tracked() if made.search(name)] == []


def test_the_readme_opens_with_the_job():
    words = (ROOT / "README.md").read_text(encoding="utf-8").split()[:120]
    opening = " ".join(words).casefold()
    job = ("engineer", "compar", "wear", "dynamometer", "runs", "report")
    assert [word for word in job if word not in opening] == []


def test_the_two_commands_stand_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = [line for line in fenced(text) if "-m venv" in line]
    assert commands == [DEMO, TESTS]
    assert DEMO in text.splitlines()[:39]


def test_both_commands_stand_above_the_ci_script():
    head = (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()[:12]
    assert [line for line in (f"#   {DEMO}", f"#   {TESTS}") if line not in head] == []


def test_a_picture_of_what_comes_out_stands_early():
    found = pictures((ROOT / "README.md").read_text(encoding="utf-8"))
    assert found
    line, _, path = found[0]
    assert line < 40
    assert [alt for _, alt, _ in found if len(alt.split()) < 5] == []
    assert [path for _, _, path in found if path not in tracked()] == []
    assert path.endswith((".png", ".svg"))


def test_the_licence_stands_in_the_readme():
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    # The words of the licence as published under the SPDX identifier BSD-3-Clause.
    assert "BSD-3-Clause" in text
    assert "Redistribution and use in source and binary forms, with or without modification, are" in text
    assert "Neither the name of the copyright holder nor the names of its contributors" in text
    assert 'THIS SOFTWARE IS PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS"' in text


def test_fenced_lines_and_pictures_are_read():
    text = 'a\n```sh\none\n```\n![seven runs on two pins](data/x.png)\n![](b.svg "t")\n```\ntwo\n```'
    assert fenced(text) == ["one", "two"]
    assert pictures(text) == [(5, "seven runs on two pins", "data/x.png"), (6, "", "b.svg")]
