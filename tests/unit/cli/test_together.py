"""What several comparisons are told alike stands once, under all their names."""

from __future__ import annotations

from toolkit.cli import words

NAMED = ["oil B", "oil B: cold", "coating"]


def test_what_is_said_of_several_alike_stands_once_and_nothing_else_is_touched():
    said = [
        "oil B: no exact test",
        "oil B: cold: no exact test",
        "coating: run R03 at 7.4 instead of 8 would make it 'not known yet'.",
        "coating: no exact test",
        "oil B: no exact test",
        "All of it rests on 12 runs.",
    ]
    assert words.together(NAMED, said) == [
        "oil B, oil B: cold and coating: no exact test",
        "coating: run R03 at 7.4 instead of 8 would make it 'not known yet'.",
        "All of it rests on 12 runs.",
    ]
    assert words.together(NAMED, ()) == []
