"""Lines of the table of components: a mean square of its own, or what lies between two of them."""

from __future__ import annotations

import math

from toolkit.model.fit import Fit
from toolkit.numeric import components as mean_squares
from toolkit.numeric import intervals

COLUMNS = (
    "response",
    "source",
    "stratum",
    "sd",
    "conf_low",
    "conf_high",
    "df",
    "conf_level",
    "variance",
    "note",
)


def row(
    made: Fit,
    source: str,
    stratum: str,
    *,
    sd: float | None = None,
    low: float | None = None,
    high: float | None = None,
    df: float | None = None,
    variance: float | None = None,
    note: str = "",
) -> dict[str, object]:
    """One line of the table."""
    numbers = [None if value is None else float(value) for value in (sd, low, high, df)]
    signed = None if variance is None else float(variance)
    return dict(
        zip(
            COLUMNS,
            (made.response.name, source, stratum, *numbers, made.brief.conf_level, signed, note),
            strict=True,
        )
    )


def pure(
    made: Fit, source: str, stratum: str, square: float | None, df: float, note: str
) -> dict[str, object]:
    """A line whose variance is a mean square of its own."""
    if square is None or df < 1:
        return row(made, source, stratum, note=f"{note}: no degrees of freedom to tell it")
    low, high = intervals.sd_interval(math.sqrt(square), df, conf_level=made.brief.conf_level)
    return row(
        made, source, stratum, sd=math.sqrt(square), low=low, high=high, df=df, variance=square, note=note
    )


def between(
    made: Fit,
    source: str,
    stratum: str,
    upper: tuple[float, float],
    lower: tuple[float, float],
    size: float,
    note: str,
) -> dict[str, object]:
    """A line whose variance is a difference of two mean squares, each given with its df."""
    found = mean_squares.between_scatter(*upper, *lower, size, conf_level=made.brief.conf_level)
    variance = float(found.variance)
    if variance < 0.0:
        note += (
            f"; the variance comes out negative ({variance:.3g}): what lies below it scatters enough to "
            f"explain it all, so the SD is shown as 0"
        )
    return row(
        made,
        source,
        stratum,
        sd=found.sd,
        low=found.sd_low,
        high=found.sd_high,
        df=upper[1],
        variance=variance,
        note=note,
    )
