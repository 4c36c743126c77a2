"""What an error is about: its last line points to the entry and to the guide's section."""

from __future__ import annotations

import pytest

from tests.house.tree import ROOT
from toolkit.brief import reading
from toolkit.cli import main
from toolkit.cli.verbs import VERBS
from toolkit.errors import BriefError, CampaignError, Fault, IntakeError, StorageError, WearbookError, raise_all
from toolkit.explain import subjects

EXAMPLE = (ROOT / "tests/unit/brief/example.toml").read_text(encoding="utf-8")
REPLICATES = 'the guide: 05-questions-before-the-runs, section "How many replicates do I need?"'
PLAN = 'the guide: 01-the-bundled-campaign, section "The plan and its order"'
QUESTION = 'the guide: 01-the-bundled-campaign, section "The question"'
JOB = 'the guide: 01-the-bundled-campaign, section "The bundled campaign, step by step"'
UNDONE = (
    'the guide: 05-questions-before-the-runs, section "Changing the sprocket is a week-end, oil is an afternoon. In '
    'what order?"'
)


def of(fault, error=BriefError):
    """An error with one fault."""
    with pytest.raises(error) as caught:
        raise_all(error, "is not in order:", [fault])
    return caught.value


@pytest.mark.parametrize(
    ("where", "line"),
    [
        ("campaign.toml line 16: factor 'oil', undo", f"More: wearbook explain factor.undo; {UNDONE}"),
        ("campaign.toml line 30: [plan] builds", f"More: wearbook explain plan.builds; {REPLICATES}"),
        ("campaign.toml line 9: [booking] start", f"More: wearbook explain booking.start; {PLAN}"),
        ("campaign.toml line 9: [dyno_log] sweeps.asked",
         'More: wearbook explain dyno_log.sweeps.asked; the guide: 04-one-run-from-its-files-to-its-row, section "The '
         'recordings of the test cell"'),
        ("campaign.toml line 9: [families] 'may we switch'.adjust", f"More: wearbook explain families; {QUESTION}"),
        ("raw/stations.csv line 3, column wear_um",
         'More: wearbook explain stations.csv; the guide: 04-one-run-from-its-files-to-its-row, section "The files of '
         'the run"'),
        ("raw/dyno/R01.csv line 3",
         'More: wearbook explain raw/dyno; the guide: 04-one-run-from-its-files-to-its-row, section "The recordings of '
         'the test cell"'),
        ("--keep R99",
         'More: wearbook explain amend; the guide: 06-questions-after-the-runs, section "A run stopped early. Keep '
         'it?"'),
    ],
)  # fmt: skip
def test_the_place_of_the_first_fault_says_what_it_is_about(where, line):
    assert subjects.more(of(Fault(where, "'x'", "something else"), IntakeError), "amend") == line


def test_a_section_that_is_missing_is_told_by_what_was_found():
    with pytest.raises(BriefError) as caught:
        reading.parse(EXAMPLE.replace("[[factor]]", "[[facter]]"))
    assert subjects.more(caught.value, "check").startswith("More: wearbook explain factor; the guide: 05-")


def test_words_of_a_message_and_the_verb_are_the_last_ways():
    problem = CampaignError("[plan] builds = 0: the size of the main phase is not chosen yet.")
    assert subjects.more(problem, "plan") == f"More: wearbook explain plan.builds; {REPLICATES}"
    told = subjects.more(CampaignError("main: there is no sealed plan yet."), "book")
    assert told == f"More: wearbook explain book; {PLAN}"
    # Where the folder itself is the trouble there is nothing to read up.
    assert subjects.more(StorageError("could not be written"), "plan") == ""


def test_an_error_in_a_notebook_ends_with_the_line_too():
    from toolkit.report import view  # noqa: F401

    told = "[plan] builds = 0: the size of the main phase is not chosen yet."
    assert CampaignError(told)._render_traceback_() == [told, f"More: wearbook explain plan.builds; {REPLICATES}"]
    assert CampaignError("there is no verb here")._render_traceback_() == [
        "there is no verb here",
        f"More: wearbook explain CampaignError; {JOB}",
    ]


def test_every_error_leads_to_a_section_of_the_guide():
    """Those apart that say all there is: a mistyped word, a cell of a notebook, the disk."""
    silent = {kind.__name__: kind.exit_code for kind in WearbookError.__subclasses__() if not subjects.more(kind("x"))}
    assert silent == {"UseError": 2, "NotebookError": 3, "StorageError": 4}
    lines = [subjects.more(kind("x"), verb) for kind in WearbookError.__subclasses__() for verb in ("", *VERBS)]
    assert {line for line in lines if line and "; the guide: " not in line} == set()
    # What an error names may have no section of its own; the guide is then that of its class.
    best_of = of(Fault("campaign.toml line 9: [[best_of]] gap", "'x'", "a number"))
    assert subjects.more(best_of, "check") == f"More: wearbook explain best_of.gap; {QUESTION}"
    assert subjects.more(WearbookError("nothing nearer is known")) == ""


def test_names_of_the_person_are_no_subjects():
    problem = CampaignError("[zzz] nothing, and factor 'plan' neither")
    assert subjects.more(problem, "check").startswith("More: wearbook explain factor;")
    told = subjects.more(CampaignError("trial/[plans]/x is not there"), "rerun")
    assert told == 'More: wearbook explain rerun; the guide: 01-the-bundled-campaign, section "The records"'


def test_the_command_ends_with_the_line(capsys, tmp_path):
    main(["new", str(tmp_path / "mine")])
    path = tmp_path / "mine" / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('undo = "part"', 'undo = "prat"'), encoding="utf-8")
    capsys.readouterr()
    assert main(["check", str(path.parent)]) == 1
    assert capsys.readouterr().err.splitlines()[-1] == f"More: wearbook explain factor.undo; {UNDONE}"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["analise"], "Did you mean 'analyse'?"),
        (["plan", "x", "--phase", "mian"], "Did you mean 'main'?"),
        (["plan", "x", "--phse", "main"], "unrecognised arguments: --phse main. Did you mean '--phase'?"),
        (["size", "x", "--jsn"], "wearbook size: error: unrecognised arguments: --jsn. Did you mean '--json'?"),
        (["amend", "x", "--because", "y"], "unrecognised arguments: --because y. Did you mean '--reason'?"),
        (["size", "x", "--simulate", "-3"], "'-3'; expected a whole number from 100 to 10000000"),
        (["size", "x", "--simulate", "99"], "'99'; expected a whole number from 100 to 10000000"),
    ],
)
def test_a_wrong_verb_option_or_word_of_the_command_is_told_with_the_nearest(capsys, words, told):
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    assert told in capsys.readouterr().err.splitlines()[-1]
