"""What habits of testing cost, in words (rank 5)."""

from __future__ import annotations

import math

from toolkit.brief import model as brief_model
from toolkit.brief.model import Response, Stations


def percent(share: float) -> str:
    """A share in per cent, one place below ten."""
    text = f"{100.0 * share:.0f}" if share >= 0.0995 else f"{100.0 * share:.1f}"
    return text if share >= 0.0005 or share == 0.0 else "under 0.1"


def change(response: Response, margin: float) -> str:
    """A worthwhile change as the brief states it, without its sign."""
    if response.scale != "log":
        return f"{margin:.3g} {response.measured_in}".strip()
    return f"{100.0 * abs(math.expm1(brief_model.gain_sign(response) * margin)):.3g} %"


def raw(habit: str, comparison: str, false: float, wrong: float, worthwhile: str, assumed: str) -> str:
    """Runs read as they are."""
    return (
        f"{habit[0].upper()}{habit[1:]}: of {comparison}, {worthwhile} or more is seen, one way or the other, in "
        f"{percent(false)} % of tests where there is no difference, and a true change of {assumed} comes out the wrong "
        f"way round in {percent(wrong)} %."
    )


def stations(held: Stations, runs: int, false: float, alpha: float) -> str:
    """Stations counted as runs."""
    return (
        f"Stations counted as runs: {held.count} {held.kind}s of {runs} runs taken for {held.count * runs} runs claim "
        f"a difference where there is none in {percent(false)} % of campaigns; {100.0 * alpha:g} % is meant."
    )


def looks(habit: str, number: int, share: float, alpha: float) -> str:
    """Looks in between."""
    rule = f"claimed at p < {100.0 * alpha:g} %"
    if "close" in habit:
        rule += f", gone on up to {400.0 * alpha:g} %"
    return (
        f"{habit[0].upper()}{habit[1:]} ({number} looks, {rule}): a difference is claimed where there is none in "
        f"{percent(share)} % of campaigns; {100.0 * alpha:g} % is meant."
    )
