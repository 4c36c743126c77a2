"""The first questions of a new campaign, asked in a terminal one by one until each answer fits (rank 11)."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace

from toolkit.brief.model import UNDONE
from toolkit.campaign.first_answers import FirstAnswers, FirstFactor, doubt, levels_of, text
from toolkit.errors import BriefError

_MOST = 7
# Positions have names, which only campaign.toml can hold.
_POSITION = "position"
_LIKE_ANY = (("L0", "L0"), ("L1", "L1"))
_ASKED = tuple(word for word in UNDONE if word != _POSITION)


def asked(start: FirstAnswers, *, read: Callable[[], str], tell: Callable[[str], None]) -> FirstAnswers:
    """The answers of a person: every one is checked at once, and an empty one takes what stands in brackets.

    Parameters
    ----------
    start : FirstAnswers
        What is proposed.
    read : callable
        Gives a line that was typed.
    tell : callable
        Shows a line.
    """
    tell("Seven questions; an empty answer takes what stands in [ ]. Everything can be changed in campaign.toml later.")
    made = _one(start, "1 What is asked, in one sentence?", start.question, read, tell,
                lambda found, line: replace(found, question=line))  # fmt: skip
    made = _factors(made, read, tell)
    made = _one(made, "5 What is measured? A name that ends in its unit, as wear_um, loss_mg, fe_ppm", made.response,
                read, tell, lambda found, line: replace(found, response=line))  # fmt: skip
    made = _one(made, "6 At how many places on a part, in every run? 0: one figure a run", str(made.stations), read,
                tell, lambda found, line: replace(found, stations=_whole(line)))  # fmt: skip
    worth = f"{made.worthwhile_change_pct:g}"
    made = _one(made, "7 Which change, in per cent, would be worthwhile?", worth, read, tell,
                lambda found, line: replace(found, worthwhile_change_pct=_per_cent(line)))  # fmt: skip
    drawn = replace(made, seed=secrets.randbelow(90_000) + 10_000)
    tell(f"seed {drawn.seed} was drawn once for every random order of this campaign; it stands in campaign.toml")
    return drawn


def _factors(made: FirstAnswers, read: Callable[[], str], tell: Callable[[str], None]) -> FirstAnswers:
    """The factors, one after the other."""
    kept: tuple[FirstFactor, ...] = ()
    while len(kept) < _MOST:
        end = " (empty: no more)" if kept else " [factor_a]"
        tell(f"2 Name of factor {len(kept) + 1}, what is deliberately varied?{end}")
        name = read().strip() or ("" if kept else "factor_a")
        if not name:
            break
        # The name is tried with a stand-in for the rest, so that it is told at once and not after two more questions.
        if not _fits(replace(made, factors=(*kept, FirstFactor(name, "part", _LIKE_ANY))), tell):
            continue
        undo = _undone(name, read, tell)
        first, second = (f"{name[0].upper()}{number}" for number in (0, 1))
        tell(f"4 Its levels, the first as it is today, as P0 = ground, P1 = coated? [{first}, {second}]")
        line = read().strip()
        while problem := doubt(line):
            tell(f"  {problem} Its levels?")
            line = read().strip()
        levels = levels_of(line or f"{first} = as it is today, {second} = the change proposed")
        more = replace(made, factors=(*kept, FirstFactor(name, undo, levels)))
        if _fits(more, tell):
            made, kept = more, more.factors
    return made


def _undone(name: str, read: Callable[[], str], tell: Callable[[str], None]) -> str:
    """What must be undone to change a factor, asked until it is one of the words."""
    tell(f"3 What must be undone to change {name}: {', '.join(_ASKED)}? [part]")
    while (undo := read().strip().lower() or "part") not in _ASKED:
        if undo == _POSITION:
            tell("  parts side by side in one engine have their own section: say part here, then see [positions] in "
                 "campaign.toml. What must be undone? [part]")  # fmt: skip
        else:
            tell(f"  '{undo}' is none of {', '.join(_ASKED)}. What must be undone? [part]")
    return undo


def _one(
    made: FirstAnswers,
    question: str,
    proposed: str,
    read: Callable[[], str],
    tell: Callable[[str], None],
    put: Callable[[FirstAnswers, str], FirstAnswers],
) -> FirstAnswers:
    """One question, asked until its answer fits."""
    while True:
        tell(f"{question} [{proposed}]")
        line = read().strip() or proposed
        try:
            found = put(made, line)
        except ValueError as problem:
            tell(f"  {problem}")
            continue
        if _fits(found, tell):
            return found


def _fits(answers: FirstAnswers, tell: Callable[[str], None]) -> bool:
    """Whether a brief with these answers is in order; tells what is not."""
    try:
        text(answers)
    except BriefError as problem:
        for fault in problem.faults:
            where = fault.where.partition(": ")[2] or fault.where
            tell(f"  {where}: {fault.found}; expected {fault.expected}. {fault.remedy}".rstrip())
        return False
    return True


def _number(line: str) -> float:
    """A number that was typed."""
    try:
        return float(line)
    except ValueError:
        raise ValueError(f"'{line}' is no number; write it with a point, as 12.5.") from None


def _per_cent(line: str) -> float:
    """A number of per cent that was typed, with or without the sign that the question has already said."""
    return _number(line.strip().removesuffix("%").rstrip())


def _whole(line: str) -> int:
    """A whole number that was typed."""
    if not (line.isascii() and line.isdigit()):
        raise ValueError(f"'{line}' is no whole number from 0 up.")
    return int(line)
