"""What counts as moved: by the kind of value, with the rule that was broken."""

import pytest

from toolkit.campaign import compared
from toolkit.campaign.compared import Difference

STORED = {
    "verdict": "not known yet", "runs": 12, "estimate": 0.69, "null": None, "flag": True,
    "rows": [{"df": 4.0}, {"df": 5}],
}  # fmt: skip


def moved(**now):
    return compared.differences(STORED, STORED | now)


def test_the_same_values_do_not_move_and_every_one_is_counted():
    assert moved() == ([], 7)
    # What only the new result has is no stored result.
    assert moved(more=3) == ([], 7)


@pytest.mark.parametrize(
    ("now", "found"),
    [
        ({"verdict": "worthwhile gain"}, Difference("verdict", "words", "not known yet", "worthwhile gain")),
        ({"runs": 13}, Difference("runs", "count", "12", "13")),
        ({"estimate": 0.69 * (1 + 2e-8)}, Difference("estimate", "estimate", "0.69", "0.6900000138")),
        ({"estimate": None}, Difference("estimate", "words", "0.69", "none")),
        ({"null": 0.0}, Difference("null", "words", "none", "0")),
        ({"flag": 1}, Difference("flag", "words", "True", "1")),
        ({"rows": [{"df": 4.0}]}, Difference("rows", "rows", "2 rows", "1 rows")),
        ({"rows": [{"df": 3.0}, {"df": 5}]}, Difference("rows[1].df", "estimate", "4", "3")),
        ({"rows": [{"df": 4.0}, {"f": 5}]}, Difference("rows[2].df", "gone", "5", "not there")),
        ({"verdict": ["a"]}, Difference("verdict", "words", "not known yet", "1 values")),
    ],
)
def test_what_moved_is_told_with_its_rule(now, found):
    assert moved(**now)[0] == [found]
    assert found.kind in compared.RULES


def test_another_processor_may_add_in_another_order():
    assert moved(estimate=0.69 * (1 + 5e-9))[0] == []
    assert compared.differences(1e-17, -3e-17) == ([], 1)
    # Shares drawn from a seed have no such excuse.
    assert compared.differences(0.81, 0.81 + 1e-12, simulated=True)[0] == [
        Difference("", "simulated", "0.81", "0.810000000001")
    ]


def test_cells_of_tables_are_compared_as_what_they_are():
    stored = [{"run_id": "R01", "sd": "0.1234567890123", "n": "3", "code": "007"}]
    assert compared.rows(stored, [stored[0] | {"sd": "0.1234567890124"}]) == ([], 4)
    assert compared.rows(stored, [stored[0] | {"n": "4", "run_id": "R02"}])[0] == [
        Difference("[1].run_id", "words", "R01", "R02"),
        Difference("[1].n", "count", "3", "4"),
    ]


def test_a_sentence_in_other_words_is_told_from_one_with_other_numbers_and_from_a_verdict():
    before = "coating: 32 % less elongation (95 % interval: 14 to 46 % less): a gain is shown, its size is not settled."

    def told(now):
        ((found,), _) = compared.differences({"sentence": before}, {"sentence": now})
        return found.stored, found.now, found.in_words

    assert told(before.replace("a gain", "some gain")) == (
        "...: 14 to 46 % less): a gain is shown, its size is not s...",
        "...: 14 to 46 % less): some gain is shown, its size is no...",
        True,
    )
    assert told(before.replace("46", "45"))[2] is False
    assert moved(verdict="worthwhile gain")[0][0].in_words is False


def test_lines_of_texts_are_told_by_their_place():
    stored = ["# a\n", "builds = 3\n", "runs = 12\n", "end\n"]
    assert compared.lines(stored, list(stored)) == ([], 4)
    assert compared.lines(stored, ["# a\n", "builds = 4\n", "runs = 16\n", "end\n"]) == (
        [
            Difference("line 2", "words", "builds = 3", "builds = 4"),
            Difference("line 3", "words", "runs = 12", "runs = 16"),
        ],
        4,
    )
    # A line more shifts nothing that stands behind it.
    assert compared.lines(stored, ["# a\n", "# b\n", *stored[1:]]) == (
        [Difference("line 2", "words", "no such line", "# b")],
        5,
    )
    assert compared.lines(stored, stored[:1]) == (
        [Difference("line 2", "words", "builds = 3 runs = 12 end", "no such line")],
        4,
    )
    # One without its end is another file.
    assert compared.lines(stored, [*stored[:3], "end"])[0] == [Difference("line 4", "words", "end", "end")]
