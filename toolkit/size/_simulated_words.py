"""Simulated campaigns in words: beside what was worked out, and what happens to it under other conditions (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolkit.size._answer import Answer, Counted
from toolkit.size.conditions import Conditions

SHARES = (
    "power",
    "assurance",
    "false_alarms",
    "coverage",
    "wrong_way",
    "shown_wrong_way",
    "not_judged",
)
FEW_LAYOUTS = (
    "The lost runs were drawn in 20 ways for every 500 campaigns, each used again: the limits of these shares are a "
    "little too narrow."
)
# So many standard errors between what was worked out and what was simulated are put down to chance.
_CHANCE = 3.0


def line(answer: Answer) -> dict[str, object]:
    """One comparison as a row for people, in per cent."""
    told = answer.told
    row: dict[str, object] = {
        "comparison": answer.comparison,
        "worked out (%)": None if told is None else round(100.0 * told.assurance, 1),
        "simulated (%)": shown(answer.assurance),
        "gap (points)": None if told is None else round(100.0 * (answer.gap("assurance") or 0.0), 1),
        "false alarms (%)": shown(answer.false_alarms),
        "coverage (%)": "" if answer.coverage is None else shown(answer.coverage),
        "wrong way round (%)": shown(answer.wrong_way),
        "not judged (%)": shown(answer.not_judged),
    }
    return row | {f"{name} (%)": shown(share) for name, share in answer.verdicts.items()}


def sentences(answers: Sequence[Answer], asked: Conditions, campaigns: int) -> tuple[str, ...]:
    """What is to be said of each comparison."""
    return tuple(_told(answer, asked, campaigns) for answer in answers)


def _told(answer: Answer, asked: Conditions, campaigns: int) -> str:
    """What is to be said of one comparison."""
    if answer.coverage is None:
        return f"{answer.comparison}: the runs of this plan cannot judge it in any campaign."
    return _plain(answer, campaigns) if asked.plain else _other(answer, asked, campaigns)


def _plain(answer: Answer, campaigns: int) -> str:
    """The promise beside the simulation that must repeat it."""
    found = f"simulated {shown(answer.assurance)} % ({_limits(answer.assurance)}, {campaigns:,} campaigns)"
    if answer.told is None:
        return f"{answer.comparison}: nothing was worked out for it; {found}: the simulation decides. {_wrong(answer)}"
    start = f"{answer.comparison}: chance worked out {100.0 * answer.told.assurance:.1f} %, {found}"
    gap = answer.gap("assurance") or 0.0
    apart = f"{100.0 * abs(gap):.1f} points apart"
    if abs(gap) > _CHANCE * _error(answer.told.assurance, campaigns):
        return f"{start}: {apart}, more than chance explains; the simulation decides. {_wrong(answer)}"
    # Whoever reads figure and interval side by side would not believe that the two agree where one lies outside.
    inside = answer.assurance.low <= answer.told.assurance <= answer.assurance.high
    said = "they agree" if inside else f"{apart}, no more than chance explains now and then; simulate more to be sure"
    return f"{start}: {said}. {_wrong(answer)}"


def _other(answer: Answer, asked: Conditions, campaigns: int) -> str:
    """What other conditions make of the promise."""
    text = f"{answer.comparison}, {asked.name}: {shown(answer.assurance)} % of campaigns show the change"
    if answer.told is not None:
        text += f" ({100.0 * answer.told.assurance:.1f} % worked out without that)"
    alarms = f"{shown(answer.false_alarms)} % false alarms where there is none"
    if answer.false_alarms.share > answer.alpha + _CHANCE * _error(answer.alpha, campaigns):
        alarms += f", more than the {100.0 * answer.alpha:g} % asked"
    text += f"; {alarms}"
    if answer.not_judged.share:
        text += f"; {shown(answer.not_judged)} % cannot judge it"
    return f"{text} ({campaigns:,} campaigns)."


def _wrong(answer: Answer) -> str:
    """The chance of a wrong ranking."""
    return (
        f"By chance the estimate ranks the two the wrong way round in {shown(answer.wrong_way)} % of campaigns, and "
        f"the interval claims it in {shown(answer.shown_wrong_way)} %."
    )


def shown(share: Counted) -> str:
    """A share in per cent with one place; below one place as an upper limit, never as nought."""
    if share.share == 0.0:
        return f"under {max(100.0 * share.high, 0.01):.2g}"
    return f"{100.0 * share.share:.1f}" if share.share >= 0.001 else f"{100.0 * share.share:.2g}"


def _limits(share: Counted) -> str:
    """Limits in per cent."""
    return f"{100.0 * share.low:.1f} to {100.0 * share.high:.1f}"


def _error(share: float, campaigns: int) -> float:
    """Standard error of a share of so many campaigns, that of one campaign at least."""
    return max(math.sqrt(share * (1.0 - share) / campaigns), 1.0 / campaigns)
