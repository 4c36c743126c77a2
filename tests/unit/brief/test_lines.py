"""Where keys stand, against lines counted by hand and the places tomllib finds."""

import tomllib
from pathlib import Path

import pytest

from toolkit.brief.lines import line_of, of_keys, statements

HERE = Path(__file__).parent


ODD = """\
top = 1 # x = 2

[a.b]   # a header
'k e y' = "# [not] a = header"
"\\u00e9t\\u00e9" = 'C:\\new'
long = \"\"\"
[not.a.header]
x = 1 \\"\"\" still in it
\"\"\"
raw = '''
[[nor.this]]
'''
dates = [1979-05-27, 07:32:00]
d.e.f = { g = [1, { h = 2 }], "i j" = [] }
[[list]]
x = [
  1, # one
  [ 2,
    3 ],
  { y = 4 },
]
[list.sub]
z = 5
[[list]]
[[list.inner]]
w = 6
[[list.inner]]
w = -7.5e3
"""
# Counted by hand in the text above.
BY_HAND = {
    ("top",): 1,
    ("a",): 3,
    ("a", "b"): 3,
    ("a", "b", "k e y"): 4,
    ("a", "b", "été"): 5,
    ("a", "b", "long"): 6,
    ("a", "b", "raw"): 10,
    ("a", "b", "dates", 1): 13,
    ("a", "b", "d", "e", "f"): 14,
    ("a", "b", "d", "e", "f", "g", 1, "h"): 14,
    ("list",): 15,
    ("list", 0): 15,
    ("list", 0, "x"): 16,
    ("list", 0, "x", 0): 17,
    ("list", 0, "x", 1): 18,
    ("list", 0, "x", 1, 1): 19,
    ("list", 0, "x", 2, "y"): 20,
    ("list", 0, "sub"): 22,
    ("list", 0, "sub", "z"): 23,
    ("list", 1): 24,
    ("list", 1, "inner", 0, "w"): 26,
    ("list", 1, "inner", 1): 27,
    ("list", 1, "inner", 1, "w"): 28,
}


def places(value, loc=()):
    """Every place in parsed tables."""
    found = {loc} if loc else set()
    if isinstance(value, dict):
        for key, item in value.items():
            found |= places(item, (*loc, key))
    elif isinstance(value, list):
        for at, item in enumerate(value):
            found |= places(item, (*loc, at))
    return found


def test_lines_counted_by_hand():
    found = of_keys(ODD)
    assert {loc: found[loc] for loc in BY_HAND} == BY_HAND


@pytest.mark.parametrize("text", [ODD, (HERE / "example.toml").read_text(encoding="utf-8")], ids=["odd", "example"])
def test_the_places_are_those_tomllib_finds(text):
    assert set(of_keys(text)) == places(tomllib.loads(text))


def test_each_key_of_the_example_stands_on_its_line():
    text = (HERE / "example.toml").read_text(encoding="utf-8")
    rows = text.split("\n")
    named = {loc: line for loc, line in of_keys(text).items() if isinstance(loc[-1], str)}
    assert len(named) > 100
    assert [loc for loc, line in named.items() if loc[-1] not in rows[line - 1]] == []


def test_what_does_not_stand_there_gets_the_line_around_it():
    found = of_keys(ODD)
    assert line_of(found, ("list", 1, "inner", 1, "missing", 3)) == 27
    assert line_of(found, ("elsewhere",)) is None


def test_statements_end_where_they_should():
    text = 'a = [1,\n  2]\n\n# remark\n[b]\nc = "x'
    assert [(item.first, item.last, item.header, item.fault) for item in statements(text)] == [
        (1, 2, False, ""),
        (5, 5, True, ""),
        (6, 6, False, "quote"),
    ]


def test_an_open_bracket_does_not_swallow_the_file():
    text = "a = [1,\nb = 2\nc = { d = 3,\n[e]\nf = 1"
    assert [(item.first, item.last, item.fault) for item in statements(text)] == [
        (1, 1, "["),
        (2, 2, ""),
        (3, 3, "{"),
        (4, 4, ""),
        (5, 5, ""),
    ]
