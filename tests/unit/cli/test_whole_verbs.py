"""new with answers, book, lab, and what a refused verb says where JSON is asked for."""

from __future__ import annotations

import gc
import json

import pytest

from toolkit.brief import reading
from toolkit.campaign.first_answers import FirstAnswers
from toolkit.cli import asking, main
from toolkit.cli.verbs import VERBS
from toolkit.demo import bundled
from toolkit.errors import CampaignError

QUESTION = 'the guide: 01-the-bundled-campaign, section "The question"'


def run(capsys, *words):
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_a_refused_verb_prints_one_json_document_with_the_faults(capsys, tmp_path):
    run(capsys, "new", tmp_path / "mine")
    path = tmp_path / "mine" / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace('undo = "part"', 'undo = "prat"', 1).replace("power = 0.80", "power = 8")
    path.write_text(text, encoding="utf-8")
    code, out, err = run(capsys, "check", tmp_path / "mine", "--json")
    assert code == 1
    found = json.loads(out)["refused"]
    assert (found["verb"], found["exit_code"]) == ("check", 1)
    assert err == f"{found['message']}\n{found['more']}\n"
    assert found["more"] == "More: wearbook explain campaign.power; " + QUESTION
    assert [(item["found"], item["remedy"]) for item in found["faults"]] == [
        ("8", "Write per cent as a share: 0.08."), ("'prat'", "Did you mean 'part'?")
    ]  # fmt: skip
    code, out, _ = run(capsys, "status", tmp_path / "gone", "--json")
    assert (code, json.loads(out)["refused"]["faults"]) == (1, [])
    # Without --json nothing stands on stdout.
    assert run(capsys, "check", tmp_path / "mine")[1] == ""


def test_new_takes_options_and_refuses_them_all_at_once(capsys, tmp_path):
    words = ("--question", "Which oil?", "--factor", "oil: fill: O0 = now, O1 = new", "--response", "loss_mg",
             "--stations", "0", "--worthwhile-pct", "15", "--seed", "99")  # fmt: skip
    code, out, _ = run(capsys, "new", tmp_path / "oil trial", *words, "--json")
    assert code == 0
    assert len(json.loads(out)["written"]) == 9
    brief = reading.read(tmp_path / "oil trial" / "campaign.toml")
    assert (brief.id, brief.question, brief.seed, brief.factor_names) == ("oil-trial", "Which oil?", 99, ("oil",))
    assert run(capsys, "check", tmp_path / "oil trial")[0] == 0
    code, _, err = run(capsys, "new", tmp_path / "other", "--factor", "oil: flush: O0, O1", "--response", "loss")
    assert code == 1
    assert "undo: 'flush'; expected 'build', 'part', 'fill'" in err and "'loss'" in err
    assert not (tmp_path / "other").exists()
    code, _, err = run(capsys, "new", tmp_path / "other", "--from-table", "x.csv", "--seed", "3")
    assert (code, err) == (
        1,
        "wearbook new: --from-table drafts the brief from the table; leave the other options out.\n"
        f"More: wearbook explain new; {QUESTION}\n",
    )


def test_questions_are_asked_until_each_answer_fits(monkeypatch):
    typed = iter([
        "Which pin?", "Pin 1", "pin", "part", "P0 = ground, P1 = coated", "", "wear", "loss_mg", "x", "0", "-3", "",
    ])  # fmt: skip
    monkeypatch.setattr("secrets.randbelow", lambda most: 7)
    shown: list[str] = []
    made = asking.asked(FirstAnswers("trial"), read=lambda: next(typed), tell=shown.append)
    assert list(typed) == []
    assert (made.question, made.response, made.stations, made.worthwhile_change_pct, made.seed) == (
        "Which pin?", "loss_mg", 0, 20.0, 10_007
    )  # fmt: skip
    assert [(item.name, item.undo, item.levels) for item in made.factors] == [
        ("pin", "part", (("P0", "ground"), ("P1", "coated")))
    ]
    assert "1 What is asked, in one sentence? [Replace this by the question in one sentence: which change, by how " \
        "much, for which decision?]" in shown  # fmt: skip
    faults = [line.strip() for line in shown if line.startswith("  ")]
    assert faults[0].startswith("factor 'Pin 1', name: 'Pin 1' is not a plain name; expected letters a to z")
    assert faults[1].startswith("response 'wear', name: ")
    assert faults[2] == "'x' is no whole number from 0 up."
    assert faults[3].startswith("response 'loss_mg', worthwhile_change_pct: -3; expected ")
    assert shown[-1] == (
        "seed 10007 was drawn once for every random order of this campaign; it stands in campaign.toml"
    )


def test_new_asks_in_a_terminal_alone(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    lines = iter([])

    def ended():
        raise EOFError

    monkeypatch.setattr("builtins.input", lambda: next(lines, None) or ended())
    code, out, err = run(capsys, "new", tmp_path / "mine")
    assert (code, out) == (1, "")
    assert err.splitlines()[-2:] == [
        "wearbook new: the answers ended before all was asked; nothing was written. Answer all, or use --yes.",
        f"More: wearbook explain new; {QUESTION}",
    ]
    assert not (tmp_path / "mine").exists()
    assert run(capsys, "new", tmp_path / "mine", "--yes")[0] == 0


def test_book_prints_what_to_do_by_when(capsys, tmp_path):
    bundled.bring("chain-soot", tmp_path / "chain")
    run(capsys, "plan", tmp_path / "chain", "--phase", "pilot")
    code, out, err = run(capsys, "book", tmp_path / "chain")
    assert code == 0
    lines = out.splitlines()
    assert lines[1] == "The test cell is needed from 2026-04-13 to 2026-05-12: 492 h as planned."
    assert lines[5].split() == ["what", "of", "build", "begins", "ends", "hours", "measured", "by", "oil", "back", "by"]
    assert lines[7].split() == ["run", "P01", "PB1", "2026-04-14", "2026-04-20", "117", "2026-04-23", "2026-04-30"]
    assert err.splitlines()[:2] == [
        "wrote derived/booking-pilot.csv, derived/booking-pilot.ics",
        "next: take the .ics file into your calendar",
    ]
    code, out, _ = run(capsys, "book", tmp_path / "chain", "--phase", "main", "--json")
    assert code == 1
    assert json.loads(out)["refused"]["message"] == (
        "wearbook book: main: there is no sealed plan yet. Run `wearbook plan` first."
    )


@pytest.mark.parametrize("words", [["--processes", "0"], ["--processes", "two"]])
def test_rerun_takes_whole_numbers_of_processes(words, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["rerun", "x", *words])
    assert ended.value.code == 2
    assert f"'{words[1]}'; expected a whole number from 1 up" in capsys.readouterr().err


def test_cycles_are_looked_for_less_often_while_a_verb_is_at_work_and_as_before_after_it(capsys, monkeypatch, tmp_path):
    before, during = gc.get_threshold(), []

    def verb(given):
        during.append(gc.get_threshold())
        raise CampaignError("refused.")

    monkeypatch.setitem(VERBS, "status", verb)
    assert run(capsys, "status", tmp_path)[0] == 1
    assert (during, gc.get_threshold()) == ([(50_000, 20, 50)], before)
    assert before[0] < 50_000
