"""What people read is spelt right, in British spelling: each word stands in Debian's list or in that of the house."""

from pathlib import Path

import pytest

from tests.house import prose


def test_every_word_is_spelt_as_a_list_has_it():
    assert Path(prose.DICTIONARY).is_file(), "wbritish is needed: .ci/run installs it"
    # A word that is right and new is written into tests/house/words.txt.
    assert prose.strange() == {}


def test_the_words_of_the_house_are_in_order_and_needed():
    words = prose.own()
    assert words == sorted(set(words), key=lambda word: (word.casefold(), word))
    with open(prose.DICTIONARY, encoding="utf-8") as handle:
        assert sorted(set(words) & set(handle.read().split())) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("The colour of Viscosities, color-blind: one build's oil.", {"color"}),
        ("`teh` {teh} $teh$ [run](teh.md) <teh> R05 teh.csv teh_um", set()),
        ("```sh\nteh\n```\nteh — anaylse", {"teh", "anaylse"}),
        ("to analyze the behavior, modeled", {"analyze", "behavior", "modeled"}),
    ],
)
def test_what_is_spelt_wrong_is_found(text, found):
    among = prose.known()
    assert {word for word in prose.words(text) if not prose.is_known(word, among)} == found


def test_sentences_of_code_are_read_and_names_are_not():
    text = '"""Teh docstring."""\n# teh "remark of a line"\nx = f"{a} is recieved now"\ny = "recieved", "center left"\n'
    assert prose.literals(text) == "{a} is recieved now"
    assert prose.comments("# a line that says it\n# builds = 3\nkey = 1  # teh\n") == " a line that says it"
