"""The reference of keys and words: nothing is missing, every example is accepted, every word is used."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from pydantic import ConfigDict, TypeAdapter, ValidationError

from tests.house.tree import ROOT, sources
from toolkit import errors
from toolkit.brief.schema_keys import form_keys
from toolkit.cli import explaining, main
from toolkit.cli.verbs import VERBS
from toolkit.explain import entries, other_words, sections
from toolkit.explain.files import FILES
from toolkit.explain.keys import MEANT, keys
from toolkit.explain.words import WORDS
from toolkit.plot.gallery import GALLERY

FORM = {item.name: item for item in form_keys()}


def spoken(text):
    """A source without its docstrings."""
    return re.sub(r'"""[\s\S]*?"""', "", text)


def test_every_key_of_the_form_is_explained_and_nothing_else():
    assert sorted(MEANT) == sorted(FORM)
    # Every key that the template names, commented out or not, is one of them.
    template = (ROOT / "templates/campaign/campaign.toml").read_text(encoding="utf-8")
    named = set(re.findall(r"^(?:# )?([a-z_]+) = ", template, re.MULTILINE))
    last = {name.rpartition(".")[2] for name in FORM}
    assert named - last == set()


def test_every_example_is_a_value_that_the_form_accepts():
    odd = []
    for item in keys():
        if item.section:
            assert item.example == ""
            continue
        value = tomllib.loads(item.example)[item.name.rpartition(".")[2]]
        if item.name == "factor.levels":
            # Written as a table or as numbers, and put into a list before the form sees it.
            assert value == {"P0": "ground steel", "P1": "nitride-coated"}
            continue
        kind = TypeAdapter(FORM[item.name].annotation, config=ConfigDict(strict=True, allow_inf_nan=False))
        try:
            kind.validate_python(value)
        except ValidationError:
            odd.append(item.example)
    assert odd == []


def test_a_key_has_the_unit_and_the_default_of_the_form():
    found = {item.name: item for item in keys()}
    told = {name: (found[name].unit, found[name].default, found[name].written) for name in (
        "campaign.seed", "campaign.alpha", "response.worthwhile_change_pct", "response.gauge_sd", "held.NAME.limits",
        "dyno_log.sweeps.window_rpm", "oil.recovery_band", "traces.may_move", "plan.baseline_in_every_build",
    )}  # fmt: skip
    assert told == {
        "campaign.seed": ("", "must be given", "[campaign] seed"),
        "campaign.alpha": ("", "0.05", "[campaign] alpha"),
        "response.worthwhile_change_pct": ("%", "none", "[[response]] worthwhile_change_pct"),
        "response.gauge_sd": ("the response's own unit", "from repeated readings", "[[response]] gauge_sd"),
        "held.NAME.limits": ("the unit at the end of its name", "none", "[held] NAME.limits"),
        "dyno_log.sweeps.window_rpm": ("r/min", "must be given", "[dyno_log] sweeps.window_rpm"),
        "oil.recovery_band": ("", "[0.2, 3.0]", "[oil] recovery_band"),
        "traces.may_move": ("", '["shift", "offset", "tilt"]', "[[traces]] may_move"),
        "plan.baseline_in_every_build": ("", "false", "[plan] baseline_in_every_build"),
    }


def test_a_default_does_not_say_again_that_the_key_is_left_out():
    told = {key.name: key.default for key in keys()}
    assert told["best_of.gap_pct"] == told["best_of.gap"] == "the worthwhile change of the response"
    assert [name for name, default in told.items() if "left out:" in default] == []


def test_an_entry_is_one_or_two_plain_sentences():
    texts = {**{name: meant.text for name, meant in MEANT.items()}, **{word.name: word.text for word in WORDS}, **FILES}
    assert [name for name, text in texts.items() if not text.endswith((".", "?")) or len(text) > 240] == []
    assert [name for name, text in texts.items() if len(re.findall(r"[.?](?= [A-Z])", text)) > 1] == []


def test_every_word_of_the_glossary_is_used_and_stands_once():
    said = "\n".join(spoken(text) for path, text in sources("toolkit").items() if "/explain/" not in path)
    said += (ROOT / "templates/campaign/campaign.toml").read_text(encoding="utf-8")
    said += (ROOT / "templates/report/report.html.j2").read_text(encoding="utf-8")
    assert [word.name for word in WORDS if (word.seen or word.name).casefold() not in said.casefold()] == []
    names = [word.name for word in WORDS]
    assert len(set(names)) == len(names)


def headings(stem):
    """The headings of a notebook of the guide."""
    cells = json.loads((ROOT / "notebooks" / f"{stem}.ipynb").read_text(encoding="utf-8"))["cells"]
    lines = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown").splitlines()
    return {re.sub(r"^#+ (\d+\. )?", "", line) for line in lines if line.startswith("#")}


def test_every_section_of_the_guide_that_is_named_exists_and_is_of_something_explained():
    known = {stem: headings(stem) for stem in {stem for stem, _ in sections.GUIDE.values()}}
    assert [(stem, line) for stem, line in sections.GUIDE.values() if line not in known[stem]] == []
    named = {item.name for item in explaining.known()}
    assert set(sections.GUIDE) - named == set()


def test_every_picture_is_in_the_guide():
    drawn = [item for item in explaining.known() if item.kind == "picture"]
    assert [item.name for item in drawn if not item.guide] == []
    told = {item.name: item.guide for item in drawn}
    assert told["sweeps"] == '13-every-picture, section "The pictures"'
    assert sections.PICTURES[1] in headings(sections.PICTURES[0])


def test_verbs_and_pictures_are_explained_too():
    found = {(item.kind, item.name) for item in explaining.known()}
    assert {("verb", f"wearbook {name}") for name in VERBS} <= found
    assert {("picture", item.name) for item in GALLERY} <= found
    assert {kind for kind, _ in found} == set(entries.KINDS)


@pytest.mark.parametrize(
    ("word", "names"),
    [
        ("plan.builds", ["[plan] builds"]),
        ("[plan] builds", ["[plan] builds"]),
        ("[[factor]] undo", ["[[factor]] undo"]),
        ("builds", ["[pilot] builds", "[plan] builds", "[extension] builds"]),
        ("held.window", ["[held] NAME.window"]),
        ("plan", ["wearbook plan", "[plan]"]),
        ("Assurance", ["assurance"]),
        ("recommended", ["advised plan"]),
        ("half width", ["half-width"]),
        ("aliased", ["alias"]),
        ("runs.csv", ["runs.csv"]),
        ("plan_map", ["plan map"]),
        ("IntegrityError", ["IntegrityError"]),
        ("[plan]builds", ["[plan] builds"]),
        ("raw/stations.csv", ["stations.csv"]),
        ("plan.json", ["plan/"]),
        ("held.sump_temp_degC.window", ["[held] NAME.window"]),
        ("level", ["[[factor]] levels", "[[received]] levels"]),
        ("residuals", ["residual"]),
        ("strata", ["stratum"]),
        ("analyze", ["wearbook analyse"]),
        ("center point", ["centre point"]),
        ("Randomization", ["randomise"]),
        ("ANOVA", ["analysis of variance"]),
        ("Confidence intervals", ["interval"]),
        ("p-Wert", ["p value"]),
        ("Wiederholung", ["replicate"]),
        ("ZIELGRÖSSE", ["[[response]]"]),
    ],
)
def test_a_word_finds_its_entry_by_its_whole_name_before_a_part_of_it(word, names):
    found = [item.name for item in entries.find(word, explaining.known())]
    assert sorted(found) == sorted(names)


def test_a_wrong_name_is_told_with_those_that_are_near(capsys):
    with pytest.raises(errors.UseError) as caught:
        entries.find("replicats", explaining.known())
    assert str(caught.value) == (
        "'replicats': nothing is explained by that name. Did you mean 'replicates', 'replicate' or "
        "'repeats'? `wearbook explain` lists all names."
    )
    assert main(["explain", "zzzz", "--json"]) == 2
    refused = json.loads(capsys.readouterr().out)["refused"]
    assert (refused["message"], refused["more"]) == (
        "wearbook explain: 'zzzz': nothing is explained by that name. `wearbook explain` lists all names.",
        "",
    )


def test_other_words_lead_to_entries_and_none_of_them_has_one_of_its_own():
    known = explaining.known()
    names = {item.name for item in known}
    assert set(other_words.OTHER_WORDS.values()) - names == set()
    # A word that is found by itself would never come to its line here.
    found = {word: [item.name for item in entries.find(word, known)] for word in other_words.OTHER_WORDS}
    assert {word: got for word, got in found.items() if set(got) != {other_words.OTHER_WORDS[word]}} == {}
    listed = [word for table in other_words.TABLES for words in table.values() for word in words]
    assert [word for word in listed if listed.count(word) > 1] == []


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("verfiy", "Did you mean 'verify'? "),
        ("run timelin", "Did you mean 'run timeline', 'run_time_h' or 'timeline'? "),
        ("central", "It stands in what is said of '[plan] design' and '[plan] axial'. "),
        ("liner_um", "A name with a unit at its end is one of your own: `wearbook explain response` or `held`. "),
        ("unheard of", ""),
    ],
)
def test_what_may_have_been_meant_is_told(word, hint):
    with pytest.raises(errors.UseError) as caught:
        entries.find(word, explaining.known())
    assert str(caught.value) == (
        f"'{word}': nothing is explained by that name. {hint}`wearbook explain` lists all names."
    )


def test_the_verb_prints_an_entry_a_list_and_json(capsys):
    assert main(["explain", "plan.builds"]) == 0
    said = capsys.readouterr()
    assert said.out == (
        "[plan] builds\n"
        "  How many builds are made, with [blocks] or where a factor is changed with the build; 0 means not\n"
        "  chosen yet.\n"
        "  write:    a whole number; 0 means not chosen yet\n"
        "  left out: 0\n"
        "  example:  builds = 3\n"
        '  guide:    05-questions-before-the-runs, section "How many replicates do I need?"\n'
    )
    assert said.err == "wrote nothing\nnext: wearbook status\n"
    assert main(["explain", "protocol"]) == 0
    assert capsys.readouterr().out == (
        "[protocol]\n"
        "  How long a run lasts, what may go wrong in it, and who judges it.\n"
        "  write:    a section [protocol] with run_time_h and max\n"
        "  keys:     run_time_h, run_time_h.target, run_time_h.window, run_time_h.limits, max,\n"
        "            not_interpretable, judged_by\n"
        '  guide:    06-questions-after-the-runs, section "A run stopped early. Keep it?"\n'
    )
    assert main(["explain", "run", "timeline"]) == 0
    assert "  drawn by: toolkit.plot.records.timeline\n" in capsys.readouterr().out
    assert main(["explain"]) == 0
    listed = capsys.readouterr().out
    assert listed.startswith(
        "verbs, in the order of the job:\n  new, check, size, plan, book, sheets, intake, note, amend,"
    )
    assert max(map(len, listed.splitlines())) <= 100
    for item in explaining.known():
        if item.kind != "key":
            assert item.name.removeprefix("wearbook ") in listed.replace("\n  ", " "), item.name
    assert main(["explain", "stratum", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "entries": [
            {
                "name": "stratum",
                "kind": "word",
                "text": "One layer of units, such as builds or runs, with the scatter between them. The design decides "
                "which stratum judges what.",
                "form": "",
                "unit": "",
                "default": "",
                "example": "",
                "standard": "ISO 3534-3",
                "parts": [],
                "guide": '05-questions-before-the-runs, section "Which error judges what?"',
            }
        ]
    }
