"""Open answers of a drafted brief are asked in words, each once, and nothing that follows from them is told."""

from pathlib import Path

import pytest

from toolkit.brief import checks, reading
from toolkit.brief.check_answers import unanswered
from toolkit.brief.model import OldData
from toolkit.errors import BriefError, Fault

EXAMPLE = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")
OLD = '\n[old_data]\norder = "unknown"\nrepeats = "runs"\n'
RECEIVED = (
    '\n[[received]]\nname = "old"\ntable = "runs"\nfiles = "old.csv"\ncolumns = { run_id = "Run", pin = "Pin", '
    'actual_order = "When" }\nalways = { verdict = "valid" }\n'
)


def told(text):
    """The faults of a text, a line each, without the file and line."""
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    lines = str(caught.value).split("\n")[1:]
    return [line.partition(": ")[2] for line in lines]


def test_old_data_are_read_and_passed_on():
    brief = reading.parse(EXAMPLE + OLD)
    assert brief.old_data == OldData("unknown", "runs")
    assert reading.canonical(brief)["old_data"] == {"order": "unknown", "repeats": "runs"}
    assert reading.parse(EXAMPLE).old_data is None
    assert checks.check(brief) == []


def test_one_open_answer_gives_one_question():
    assert told(EXAMPLE.replace('role = "primary"', 'role = "?"', 1)) == [
        "response 'elongation_pct', role: '?', not answered yet; expected 'primary' (one response) or 'secondary'. "
        "Does the decision rest on elongation?"
    ]


def test_a_list_with_one_open_answer_is_asked_too():
    assert told(EXAMPLE.replace('new_each_run = ["part", "fill"]', 'new_each_run = ["?"]')) == [
        '[campaign] new_each_run: \'?\', not answered yet; expected a list such as ["part", "fill"], or []. What was '
        "new in every run anyway: build, part, fill, setting?"
    ]


def test_a_question_mark_within_a_text_is_no_question():
    brief = reading.parse(EXAMPLE.replace('"nitride-coated"', '"nitride-coated?"'))
    assert brief.factors[0].levels[1].label == "nitride-coated?"


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            'order = "unknown"',
            'order = "?"',
            "[old_data] order: '?', not answered yet; expected 'unknown', 'as listed' or the heading of the column "
            "that tells it. In which order were these runs made?",
        ),
        (
            'order = "unknown"',
            'order = "unknwon"',
            "[old_data] order: 'unknwon'; expected 'unknown' or 'as listed', or the heading that [[received]] has for "
            "actual_order. Did you mean 'unknown'?",
        ),
        (
            'order = "unknown"',
            'order = ""',
            "[old_data] order: ''; expected 'unknown' or 'as listed', or the heading that [[received]] has for "
            "actual_order. A column is named by actual_order = '' in [received.columns].",
        ),
        (
            'order = "unknown"\n',
            "",
            "[old_data] order: missing; expected 'unknown', 'as listed' or the heading of a column, in quotes.",
        ),
        (
            'order = "unknown"',
            "order = 3",
            "[old_data] order: the number 3; expected 'unknown', 'as listed' or the heading of a column, in quotes. "
            'Write "3".',
        ),
        (
            'repeats = "runs"',
            'repeats = "run"',
            "[old_data] repeats: 'run'; expected 'runs', 'readings', 'none' or 'unknown'. Did you mean 'runs'?",
        ),
        (
            'repeats = "runs"',
            'repeat = "runs"',
            "[old_data] repeat: unknown key; expected 'order' or 'repeats'. Did you mean 'repeats'?",
        ),
    ],
)
def test_what_is_wrong_with_old_data(old, new, line):
    assert told(EXAMPLE + OLD.replace(old, new)) == [line]


@pytest.mark.parametrize("heading", ["When", "when", " When "])
def test_the_heading_of_the_order_is_one_that_is_read(heading):
    brief = reading.parse(EXAMPLE + OLD.replace('"unknown"', f'"{heading}"') + RECEIVED)
    assert brief.old_data.order == heading


def test_an_old_table_needs_no_column_that_names_runs():
    without = RECEIVED.replace('run_id = "Run", ', "")
    assert reading.parse(EXAMPLE + OLD + without).received[0].columns["pin"] == "Pin"
    assert told(EXAMPLE + without) == [
        "received 'old', columns: no run_id; expected the column 'run_id' of runs. Name their heading in columns, or "
        "say in always what it is throughout."
    ]


def test_iron_of_an_old_table_is_one_figure_a_run():
    text = EXAMPLE.replace('name = "fe_ppm"', 'name = "fe_ppm"\nper_run = "value"')
    assert reading.parse(text).response("fe_ppm").source == "runs"
    assert reading.parse(EXAMPLE).response("fe_ppm").source == "oil"


def test_a_brief_built_in_python_is_asked_the_same():
    brief = reading.parse(EXAMPLE)
    from dataclasses import replace

    faults = checks.check(replace(brief, old_data=OldData("?", "?"), question="?"))
    assert faults == [
        Fault(
            "[campaign] question",
            "'?', not answered yet",
            "a sentence",
            "Which change, by how much, for which decision?",
        ),
        Fault(
            "[old_data] order",
            "'?', not answered yet",
            "'unknown', 'as listed' or the heading of the column that tells it",
            "In which order were these runs made?",
        ),
        Fault(
            "[old_data] repeats",
            "'?', not answered yet",
            "'runs', 'readings', 'none' or 'unknown'",
            "What are lines of the same combination: runs of their own (new parts, a new fill), or readings of one "
            "run?",
        ),
    ]


def test_what_is_no_brief_at_all_is_passed_over():
    assert unanswered({"campaign": None, "factor": "?", "response": [None, "?"], "old_data": 3}) == []
