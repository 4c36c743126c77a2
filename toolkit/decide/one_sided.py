"""Verdicts on intervals that are open on one side, because what would close them lies below a limit (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, worthwhile
from toolkit.decide import change_words
from toolkit.decide.change_words import Change


def answer_of(line: Mapping[str, Any], brief: Brief) -> Change | None:
    """The answer in a row of comparisons of which one end is open; None where both are known, or none is.

    Parameters
    ----------
    line : mapping
        A row of the table of comparisons.
    brief : Brief

    Returns
    -------
    Change or None
        The open end infinite; without an estimate the gain stands at the open side.
    """
    estimate, low, high = (_known(line[name]) for name in ("estimate", "conf_low", "conf_high"))
    if (low is None) == (high is None):
        return None
    response = brief.response(line["response"])
    comparison = next(item for item in brief.comparisons if item.name == line["comparison"])
    log = response.scale == "log"
    ends = [(0.0 if log else -math.inf) if low is None else low, math.inf if high is None else high]
    first, last = sorted(change_words.gain_of(response, end) for end in ends)
    gain = first if math.isinf(first) else last
    if estimate is not None:
        gain = change_words.gain_of(response, estimate)
    return Change(
        comparison, response, gain, first, last, worthwhile(brief, comparison, response), brief.conf_level
    )


def sentence(answer: Change) -> str:
    """The change, or its bound: 'at least 62 % less iron (95 % interval, open on the other side)'."""
    told = change_words.bound(answer)
    level = f"{100.0 * answer.level:g} % interval"
    if math.isinf(answer.gain):
        return f"{told} ({level}, open on the other side)"
    # What is less or more is said once.
    told = told.removesuffix(f" {measured_in.label(answer.response.name)}").removeprefix("a ratio of ratios of ")
    told = told.removeprefix("a difference of differences of ")
    return f"{change_words.estimate(answer.response, answer.comparison, answer.gain)} ({level}: {told})"


def _known(value: Any) -> float | None:
    """A number, or None where there is none."""
    return None if value is None or pd.isna(value) else float(value)
