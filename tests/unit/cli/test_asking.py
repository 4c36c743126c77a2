"""Parts side by side in one engine are not begun at a terminal: it says where they are told."""

from __future__ import annotations

from toolkit.campaign.first_answers import FirstAnswers, text
from toolkit.cli import asking


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
