"""Lines that are not TOML: what is told, and that the rest is read on."""

import pytest

from toolkit.brief.loading import load

# text -> line, what is told after 'campaign.toml line N: '. The remedies were tried by hand.
TOLD = {
    "a = pin": (1, "cannot read 'a = pin'; expected text in quotes. Write \"pin\"."),
    "a = 5W30  # oil": (1, "cannot read 'a = 5W30'; expected text in quotes. Write \"5W30\"."),
    "a = 07:30": (1, "cannot read 'a = 07:30'; expected text in quotes. Write \"07:30\"."),
    "a = True": (1, "cannot read 'a = True'; expected text in quotes. Write \"True\"."),
    "a = { b = ground steel, c = 1 }": (
        1,
        "cannot read 'a = { b = ground steel, c = 1 }'; expected text in quotes. Write \"ground steel\".",
    ),
    "a = { t = 98,5, w = [1, 2] }": (
        1,
        "cannot read 'a = { t = 98,5, w = [1, 2] }'; expected a number with a point. Use a point: 98.5.",
    ),
    "a = .5": (1, "cannot read 'a = .5'; expected a digit on both sides of the point. Write 0.5."),
    "a = 1.": (1, "cannot read 'a = 1.'; expected a digit on both sides of the point. Write 1.0."),
    "a = 1e": (1, "cannot read 'a = 1e'; expected key = value, with text in quotes."),
    'a = { b = "x" c = 1 }': (
        1,
        "cannot read 'a = { b = \"x\" c = 1 }'; expected a comma between the items. Put a comma before c.",
    ),
    "a = { b = 3 c = 1 }": (
        1,
        "cannot read 'a = { b = 3 c = 1 }'; expected a comma between the items. Put a comma before c.",
    ),
    "a = [\n  { b = 1 }\n  { b = 2 },\n]": (
        3,
        "cannot read '{ b = 2 },'; expected a comma between the items. Put one at the end of the line before.",
    ),
    "a = [1 2]": (1, "cannot read 'a = [1 2]'; expected a comma between the items."),
    'a = "say "so" now"': (
        1,
        'cannot read \'a = "say "so" now"\'; expected nothing after the closing quote but a comma or a remark. '
        "A text that holds quotes goes in the other kind: '...'.",
    ),
    'a = "C:\\xew"': (
        1,
        "cannot read 'a = \"C:\\xew\"'; expected no backslash inside \"...\". Put the text in single quotes: '...'.",
    ),
    'a = """x\nb = 2': (
        1,
        'cannot read \'a = """x\'; expected a closing quote. Close the text with the quote it starts with.',
    ),
    "größe = 1": (
        1,
        "cannot read 'größe = 1'; expected a key without blanks or special letters, or in quotes. "
        'Write "größe" = ...',
    ),
    "hello world": (
        1,
        "cannot read 'hello world'; expected key = value, with text in quotes. A remark starts with #.",
    ),
    'a = "x\x01"': (
        1,
        "cannot read 'a = \"x\\x01\"'; expected characters that print. Retype the line: it holds a control character.",
    ),
    "a = [\n  { b = 1 },\n  { b = x },\n]": (
        3,
        "cannot read '{ b = x },'; expected text in quotes. Write \"x\".",
    ),
    "a = " + "9" * 5000: (1, f"cannot read 'a = {'9' * 66}…'; expected a number of sensible length."),
    "a = " + "[" * 5000: (1, f"cannot read 'a = {'[' * 66}…'; expected a closing ]. Add the missing ]."),
}


@pytest.mark.parametrize("text", TOLD, ids=lambda text: text[:20])
def test_what_is_told_of_one_line(text):
    line, told = TOLD[text]
    found = load(text, "campaign.toml").faults
    assert [(at, str(fault)) for at, fault in found] == [(line, f"campaign.toml line {line}: {told}")]


def test_the_rest_is_read_on():
    loaded = load("[a]\nx = no\ny = 2\nz z = 3\n[b]\nu = [1,\nv = 'w'\n[c\nq = 1\n[d]\np = 0", "campaign.toml")
    assert [at for at, _ in loaded.faults] == [2, 4, 6, 8]
    assert loaded.tables == {"a": {"x": None, "y": 2}, "b": {"u": None, "v": "w"}, "d": {"p": 0}}
    assert loaded.refused == {("a", "x"), ("b", "u")}
    assert loaded.incomplete == {("a",), ("c",)}


def test_lines_keep_their_places():
    text = "a = {\n  b = 1,\n}\n[c]\nd = no\n"
    loaded = load(text, "campaign.toml")
    assert loaded.text.count("\n") == text.count("\n")
    assert loaded.text.split("\n")[3] == "[c]"


def test_too_many_unreadable_lines():
    found = load("\n".join(f"a{at} = no" for at in range(30)), "campaign.toml").faults
    assert len(found) == 21
    assert str(found[-1][1]) == (
        "campaign.toml: 20 lines cannot be read; expected TOML. The rest was not looked at: mend these first."
    )


def test_a_text_of_nothing_but_a_stray_sign():
    found = load("\r", "campaign.toml").faults
    assert [str(fault) for _, fault in found] == ["campaign.toml: this text cannot be read; expected TOML."]


def test_a_file_that_is_no_brief():
    found = load("x" * 100_001, "campaign.toml").faults
    assert [str(fault) for _, fault in found] == [
        "campaign.toml: 100001 characters; expected 100000 at most. Keep records in raw/, not in the brief."
    ]


def test_keys_in_keys_without_end_are_refused_at_once():
    told = "keys in keys, deeper than 50; expected the sections of a brief with their keys. Look for a key with many "
    told += "dots, or for brackets in brackets."
    for text, where in (
        ("a = 1\nx" + ".x" * 20_000 + " = 1\n", "campaign.toml line 2"),
        ("a = 1\n[x" + " . x" * 20_000 + "]\n", "campaign.toml line 2"),
        ("x = " + "[" * 400 + "]" * 400 + "\n", "campaign.toml"),
        ("x = " + "{a = " * 200 + "1" + "}" * 200 + "\n", "campaign.toml"),
    ):
        assert [str(fault) for _, fault in load(text, "campaign.toml").faults] == [f"{where}: {told}"]
    assert load("a.b.c = 1\n# " + "word. " * 40, "campaign.toml").faults == ()
