"""Questions that a drafted brief leaves open: every '?' is asked in words (rank 2).

A draft made from an old table writes '?' wherever a wrong guess would change an answer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from toolkit import measured_in
from toolkit.brief.found import Found, Loc, quoted

OPEN = "?"
_FOUND = "'?', not answered yet"
# Section and key: what is taken as an answer, and the question; {} stands for what the table of the key is called.
_QUESTIONS: dict[tuple[str, str], tuple[str, str]] = {
    ("campaign", "question"): ("a sentence", "Which change, by how much, for which decision?"),
    ("campaign", "new_each_run"): (
        'a list such as ["part", "fill"], or []',
        "What was new in every run anyway: build, part, fill, setting?",
    ),
    ("factor", "undo"): ("'build', 'part', 'fill', 'setting' or 'position'", "What had to be undone to change {}?"),
    ("blocks", "by"): (
        "'build', or no section [blocks]",
        "Was every combination meant to be run in every build, so that levels are compared within builds?",
    ),
    ("response", "role"): ("'primary' (one response) or 'secondary'", "Does the decision rest on {}?"),
    ("response", "better"): ("'smaller' or 'larger'", "Which is better: less {}, or more?"),
    ("response", "scale"): (
        "'log' or 'linear'",
        "Is {} compared by ratios (log: per cent, the usual choice for wear) or by differences (linear)?",
    ),
    ("response", "worthwhile_change_pct"): (
        "a number above 0 and below 100",
        "What is the smallest change of {}, in per cent, that matters to the decision? On the linear scale write "
        "worthwhile_change, in its own unit.",
    ),
    ("response", "worthwhile_change"): (
        "a number above 0",
        "What is the smallest change of {}, in its own unit, that matters to the decision?",
    ),
    ("old_data", "order"): (
        "'unknown', 'as listed' or the heading of the column that tells it",
        "In which order were these runs made?",
    ),
    ("old_data", "repeats"): (
        "'runs', 'readings', 'none' or 'unknown'",
        "What are lines of the same combination: runs of their own (new parts, a new fill), or readings of one run?",
    ),
}
_DECIMAL = (
    "'comma' or 'point'",
    "Some figures can be read in two ways, as 1,500: what is the mark between units and tenths?",
)
_VERDICT = (
    "'valid', or 'pending' to judge them one by one with `wearbook note`",
    "Did the runs of all lines go to their end by the rules of the rig?",
)
_UNIT = (
    "its unit in place of the ?, as wear_um or loss_mg",
    "What is {} measured in? Write it here and in [[received]].",
)


def unanswered(tables: Mapping[str, Any]) -> list[Found]:
    """Every '?' of a brief as a question in words.

    Parameters
    ----------
    tables : dict
        Plain tables, as ``plain.of_toml`` gives them.

    Returns
    -------
    list of Found
        One for each open answer; ``expected`` says what may be written, ``remedy`` asks.
    """
    made = []
    for loc, key, value, name in _values(tables):
        asked = _QUESTIONS.get((str(loc[0]), key))
        if loc[0] == "received":
            asked = {"verdict": _VERDICT, "decimal": _DECIMAL}.get(key)
        if asked is not None and _is_open(value):
            made.append(Found(loc, _FOUND, asked[0], asked[1].format(name)))
        elif key == "name" and isinstance(value, str) and value.endswith(f"_{OPEN}"):
            made.append(Found(loc, f"{quoted(value)}, its unit not answered yet", _UNIT[0], _UNIT[1].format(name)))
    return made


def blind(tables: Mapping[str, Any]) -> frozenset[Loc]:
    """The places of tables of [[received]] that name a column whose unit is not answered yet: asked elsewhere."""
    return frozenset(
        (*loc[:2], "columns")
        for loc, key, _, _ in _values(tables)
        if loc[0] == "received" and loc[2:3] == ("columns",) and key.endswith(f"_{OPEN}")
    )


def _values(tables: Mapping[str, Any]) -> Iterator[tuple[Loc, str, Any, str]]:
    """Every key of a brief: its place, its own name, its value, and what the table around it is called."""
    for section, content in tables.items():
        several = isinstance(content, list)
        for at, table in enumerate(content if several else [content]):
            if isinstance(table, Mapping):
                name = table.get("name")
                called = _label(name) if isinstance(name, str) else section
                start: Loc = (section, at) if several else (section,)
                yield from _within(table, start, called)


def _within(table: Mapping[str, Any], start: Loc, called: str) -> Iterator[tuple[Loc, str, Any, str]]:
    """The keys of a table and of the tables in it."""
    for key, value in table.items():
        yield (*start, key), str(key), value, called
        if isinstance(value, Mapping):
            yield from _within(value, (*start, key), called)


def _is_open(value: Any) -> bool:
    """True for a '?', alone or as the only item of a list."""
    if isinstance(value, list):
        return len(value) == 1 and _is_open(value[0])
    return isinstance(value, str) and value == OPEN


def _label(name: str) -> str:
    """A name as people say it, without its unit or the mark in the unit's place."""
    return measured_in.label(name.removesuffix(f"_{OPEN}"))
