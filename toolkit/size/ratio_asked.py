"""The fewest further runs that reach a detectable ratio asked for in [extension] (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolkit.brief.model import Brief
from toolkit.size.claim import Claim
from toolkit.size.option import Option

_NEAR = 1e-9


def asked(brief: Brief) -> tuple[str, float] | None:
    """The comparison and the ratio that [extension] names; None where it names none.

    Notes
    -----
    Checked against: tests/unit/size/test_ratio_asked.py.
    """
    given = brief.extension
    if given is None or given.detectable_ratio is None or not given.comparison:
        return None
    return given.comparison, given.detectable_ratio


def fewest(made: Sequence[Option], primary: str, aim: tuple[str, float]) -> Option | None:
    """The plan with fewest runs that shows the ratio asked for, or its inverse, with the asked power.

    Notes
    -----
    At the scatter as estimated, as detectable ratios are told.

    Checked against: noncentral t by scipy alone, tests/unit/size/test_ratio_asked.py.
    """
    reached = [option for option in made if _reaches(_claim(option, primary, aim[0]), aim[1])]
    return min(reached, key=lambda option: (option.design.runs, option.price.cost)) if reached else None


def told(made: Sequence[Option], book: Option | None, primary: str, aim: tuple[str, float]) -> str:
    """What reaches the ratio asked for, in words, or what the largest plan reaches.

    Notes
    -----
    Checked against: tests/unit/size/test_ratio_asked.py.
    """
    name, ratio = aim
    what = f"a ratio of {ratio:g} of '{name}' ([extension] detectable_ratio)"
    if book is not None:
        claim = _claim(book, primary, name)
        found = None if claim is None else claim.detectable_ratio
        return f"{what} is reached with {book.design.runs} further runs at the fewest: {book.name} detects {found:.3g}"
    largest = max(made, key=lambda option: option.design.runs)
    claim = _claim(largest, primary, name)
    if claim is None or claim.detectable_ratio is None:
        return f"{what} cannot be told: {claim.note if claim is not None and claim.note else 'no plan tells it'}"
    return (
        f"{what} is reached by no plan looked at: the largest, {largest.name} of {largest.design.runs} further runs, "
        f"detects {claim.detectable_ratio:.3g}"
    )


def _claim(option: Option, primary: str, name: str) -> Claim | None:
    """The claim of a plan on one comparison of the primary response."""
    return next((one for one in option.claims if (one.response, one.comparison) == (primary, name)), None)


def _reaches(claim: Claim | None, ratio: float) -> bool:
    """True when the smallest change shown is no larger than the one asked for."""
    if claim is None or claim.detectable_ratio is None:
        return False
    return abs(math.log(claim.detectable_ratio)) <= abs(math.log(ratio)) + _NEAR
