"""Rows of the table of scatter (rank 5)."""

from __future__ import annotations

import math

import numpy as np

from toolkit.brief.model import Brief, Response
from toolkit.numeric import intervals
from toolkit.size.layers import MeanSquare

COLUMNS = ("response", "source", "stratum", "sd", "conf_low", "conf_high", "df", "conf_level", "used", "note")
# Beside them only where a scatter is a bound.
BOUND = ("bound", "sd_at_least")


def interval_line(
    brief: Brief,
    response: Response,
    source: str,
    stratum: str,
    square: MeanSquare,
    note: str,
    least: float | None = None,
) -> dict[str, object]:
    """A line with the chi-square interval of its SD; of a bound, the least mean square too: it has the lower limit."""
    sd = math.sqrt(square.value)
    low, high = intervals.sd_interval(sd, square.df, conf_level=brief.conf_level)
    made = line(brief, response, source, stratum, sd, float(low), float(high), square.df, note)
    if least is None:
        return made
    share = math.sqrt(least / square.value) if square.value > 0.0 else 1.0
    return {**made, "conf_low": float(low) * share, "bound": True, "sd_at_least": sd * share}


def line(
    brief: Brief,
    response: Response,
    source: str,
    stratum: str,
    sd: object,
    low: object,
    high: object,
    df: object,
    note: str,
) -> dict[str, object]:
    """One row of the table."""
    numbers = [
        None if value is None or not np.isfinite(float(value)) else float(value) for value in (sd, low, high, df)
    ]
    return {
        "response": response.name,
        "source": source,
        "stratum": stratum,
        "sd": numbers[0],
        "conf_low": numbers[1],
        "conf_high": numbers[2],
        "df": numbers[3],
        "conf_level": brief.conf_level,
        "note": note,
    }
