"""Parts side by side in one engine are not begun at a terminal: it says where they are told."""

from __future__ import annotations

import pytest

from toolkit.campaign.first_answers import FirstAnswers, text
from toolkit.cli import asking, main


def test_positions_are_told_in_the_brief_and_the_question_is_asked_again():
    typed = iter(["", "ring", "position", "part", "R0 = today, R1 = coated", "", "", "", ""])
    shown: list[str] = []
    made = asking.asked(FirstAnswers("trial"), read=lambda: next(typed), tell=shown.append)
    assert [(item.name, item.undo) for item in made.factors] == [("ring", "part")]
    assert "3 What must be undone to change ring: build, part, fill, setting? [part]" in shown
    assert [line.strip() for line in shown if line.startswith("  ")] == [
        "parts side by side in one engine have their own section: say part here, then see [positions] in "
        "campaign.toml. What must be undone? [part]"
    ]
    assert "# [positions]" in text(made)


def test_a_name_or_a_word_that_does_not_fit_is_asked_for_again_at_once_and_nothing_else_is():
    typed = iter(["", "pin: part: P0, P1", "pin", "sump", "Fill", "P0, P1", "", "", "", "20 percent", "12.5 %"])
    shown: list[str] = []
    made = asking.asked(FirstAnswers("trial"), read=lambda: next(typed), tell=shown.append)
    assert [(item.name, item.undo, item.levels) for item in made.factors] == [
        ("pin", "fill", (("P0", "P0"), ("P1", "P1")))
    ]
    assert [line.strip() for line in shown if line.startswith("  ")] == [
        "factor 'pin: part: P0, P1', name: 'pin: part: P0, P1' is not a plain name; expected letters a to z, digits "
        "and _, starting with a letter. Write 'pin_part_P0_P1', for example.",
        "'sump' is none of build, part, fill, setting. What must be undone? [part]",
        "'20 percent' is no number; write it with a point, as 12.5.",
    ]
    # The question says per cent, so that the sign says nothing else.
    assert made.worthwhile_change_pct == 12.5


def test_per_cent_with_its_sign_is_refused_with_what_is_expected(tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["new", str(tmp_path / "x"), "--worthwhile-pct", "20%"])
    assert stop.value.code == 2
    assert capsys.readouterr().err.endswith(
        "argument --worthwhile-pct: '20%'; expected per cent as a plain number, such as 20 or 12.5\n"
    )
    for typed in ("-25", "100", "nan"):
        with pytest.raises(SystemExit) as stop:
            main(["new", str(tmp_path / "x"), "--worthwhile-pct", typed])
        assert stop.value.code == 2
        assert capsys.readouterr().err.endswith(
            f"argument --worthwhile-pct: '{typed}'; expected more than 0 and less than 100, without a sign\n"
        )


def test_levels_in_doubt_and_odd_digits_are_asked_for_again():
    levels = ["90,5, 120", "P0 = ground, coarse, P1 = coated", "P0 = ground and coarse, P1 = coated"]
    typed = iter(["", "pin", "", *levels, "", "", "²", "4", ""])
    shown: list[str] = []
    made = asking.asked(FirstAnswers("trial"), read=lambda: next(typed), tell=shown.append)
    assert [(item.name, item.undo, item.levels) for item in made.factors] == [
        ("pin", "part", (("P0", "ground and coarse"), ("P1", "coated")))
    ]
    assert [line.strip() for line in shown if line.startswith("  ")] == [
        "'90,5' is one number or two; write a point in a number (90.5), or a blank after a comma that parts levels "
        "(90, 5). Its levels?",
        "'coarse' stands without its meaning among levels that have one; write 'coarse = coarse' if it is a level, and "
        "no comma within a meaning. Its levels?",
        "'²' is no whole number from 0 up.",
    ]


@pytest.mark.parametrize("option", ["--stations", "--seed"])
@pytest.mark.parametrize(("typed", "told"), [("3,5", "3,5"), ("-1", "-1"), ("²", "²"), ("9" * 5000, "9" * 39 + "…")])
def test_a_whole_number_is_asked_for_in_our_words(tmp_path, capsys, option, typed, told):
    with pytest.raises(SystemExit) as stop:
        main(["new", str(tmp_path / "x"), f"{option}={typed}"])
    assert stop.value.code == 2
    assert capsys.readouterr().err.endswith(f"argument {option}: '{told}'; expected a whole number from 0 up\n")
    assert not (tmp_path / "x").exists()
