"""Figures and changes in words, as the notebooks show them (rank 10)."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Response


def reach(ratio: float | None, width: float | None, response: Response) -> str:
    """The half-width of an interval as a ratio, or in the unit of the response."""
    if ratio is not None:
        return f"×/÷ {ratio:.2f}"
    return "–" if width is None else f"± {width:.3g} {response.measured_in}".rstrip()


def worthwhile(brief: Brief, comparison: Any) -> str:
    """The worthwhile change of a comparison, for each response."""
    told = []
    for response in brief.responses:
        gain = brief_model.worthwhile(brief, comparison, response)
        if gain is None:
            continue
        name, way = measured_in.label(response.name), brief_model.gain_sign(response)
        if response.scale == "log" and comparison.interaction:
            told.append(f"ratio of ratios {math.exp(-gain):.3g} or {math.exp(gain):.3g} for {name}")
            continue
        amount = f"{abs(100 * math.expm1(way * gain)):.3g} %" if response.scale == "log" else in_unit(gain, response)
        told.append(
            f"difference of differences {amount} for {name}"
            if comparison.interaction
            else f"{amount} {'less' if way < 0 else 'more'} {name}"
        )
    return "; ".join(told)


def in_unit(change: float, response: Response) -> str:
    """A change in the unit of the response."""
    return f"{change:.3g} {response.measured_in}".strip()


def signed(value: object) -> str:
    """A correlation with its sign."""
    return "–" if value is None or pd.isna(value) else f"{float(str(value)):+.2f}"


def share(value: float | None) -> str:
    """A share in per cent."""
    return "–" if value is None else f"{100 * value:.0f} %"
