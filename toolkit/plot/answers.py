"""One comparison or effect as it is drawn and said: the numbers of a result row and their text (rank 8).

Figures, alt texts, tables and sentences all read their numbers here, so that they cannot differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.model import Brief, Response, worthwhile
from toolkit.decide import verdict
from toolkit.plot import rounding

VERDICTS = (*verdict.NAMES, verdict.INTERIM, verdict.NOT_ESTIMABLE, verdict.NO_ERROR)
# More decimals than the error allows are shown only where fewer would move a number over an edge.
_MOST_MORE = 4


@dataclass(frozen=True)
class Answer:
    """The answer to one comparison or effect of one response.

    Attributes
    ----------
    name : str
        The comparison's or the term's name.
    contrast : str
        What is set against what.
    ratio : bool
        True when the numbers are ratios.
    unit : str
        What differences are measured in; '%' for ratios.
    estimate, low, high : float or None
        None when not estimable.
    std_error : float or None
        Of the estimate; of its ln for ratios.
    level : float
        Of the interval.
    verdict : str
        One of the six, 'interim, no claim' or not estimable; empty when none was asked for.
    sentence : str
        The verdict in words.
    worthwhile : float or None
        The smallest change that matters, as a positive gain on the analysis scale (ln for ratios).
    interaction : bool
        True when the comparison asks for an interaction.
    note : str
    interim : str
        How far the runs are while some are pending, such as '7 of 12 runs'; empty when all are in.
    """

    name: str
    contrast: str
    ratio: bool
    unit: str
    estimate: float | None
    low: float | None
    high: float | None
    std_error: float | None
    level: float
    verdict: str
    sentence: str
    worthwhile: float | None
    interaction: bool
    note: str
    interim: str = ""

    @property
    def estimable(self) -> bool:
        """True when there is an estimate."""
        return self.estimate is not None

    @property
    def places(self) -> int | None:
        """Decimals of every number of this answer, by its standard error; None when there is no error.

        More where fewer would round a number onto no change or onto an edge of the worthwhile band.
        """
        natural = [self._natural(item) for item in (self.estimate, self.low, self.high) if item is not None]
        error = self.std_error
        if self.ratio and error is not None and self.estimate is not None:
            error = 100.0 * error * self.estimate
        start = rounding.decimals(error)
        if start is None:
            return None
        start = max(start, 0) if self.ratio else start
        edges = [0.0, *(self._natural(edge) for edge in self.band)]
        for places in range(start, start + _MOST_MORE):
            if all(_same_side(item, edge, places) for item in natural for edge in edges):
                return places
        return start + _MOST_MORE

    @property
    def band(self) -> tuple[float, ...]:
        """The limits of the band of changes too small to matter, as the answer is given; none without one."""
        if self.worthwhile is None:
            return ()
        return tuple(math.exp(edge) if self.ratio else edge for edge in (-self.worthwhile, self.worthwhile))

    @property
    def band_text(self) -> str:
        """The band in words: '−20 to +25 %'; empty without one."""
        edges = [f"{self._natural(edge):+.3g}".replace("-", rounding.MINUS) for edge in self.band]
        return f"{edges[0]} to {edges[1]} {self.unit}".rstrip() if edges else ""

    def _natural(self, value: float) -> float:
        """A number as people read it: a ratio as its change in per cent."""
        return 100.0 * (value - 1.0) if self.ratio else value

    def shown(self, value: float) -> str:
        """A value of this answer as text, as far as the standard error allows: '−26 %' or '+1.2 µm'."""
        places = self.places
        if self.ratio:
            return per_cent(value, places)
        text = rounding.significant(value, sign=True) if places is None else rounding.fixed(value, places, sign=True)
        return f"{text} {self.unit}".rstrip()

    @property
    def change(self) -> str:
        """The estimated change with its sign and unit; 'a bound only' or 'not estimable' when there is none."""
        if self.estimate is None:
            return "not estimable" if self.low is None and self.high is None else "a bound only"
        return self.shown(self.estimate)

    @property
    def interval(self) -> str:
        """The limits, as in '−35 to −16 %', 'at most −16 %' where one end is open; 'no interval' when there is none."""
        if self.low is None and self.high is None:
            return "no interval"
        if self.low is None or self.high is None:
            end = self.high if self.low is None else self.low
            return f"{'at most' if self.low is None else 'at least'} {self.shown(float(end or 0.0))}"
        low, high = self.shown(self.low), self.shown(self.high)
        if self.unit and low.endswith(f" {self.unit}") and high.endswith(f" {self.unit}"):
            low = low.removesuffix(f" {self.unit}")
        return f"{low} to {high}"

    @property
    def interval_name(self) -> str:
        """What the bars are: '95 % interval'."""
        return f"{level_text(self.level)} interval"


def level_text(level: float) -> str:
    """0.95 gives '95 %'."""
    return f"{level * 100.0:.4g} %"


def per_cent(ratio: float, places: int | None = None, *, sign: bool = True) -> str:
    """A ratio as a change in per cent: 0.74 gives '−26 %'; above four-fold '× 5.2'.

    Above four-fold a percentage misleads; near total loss whole per cents run out, so that one decimal is given.

    Parameters
    ----------
    ratio : float
    places : int or None
        Decimals; whole per cents by default.
    sign : bool
        True puts a plus before increases.
    """
    if ratio >= 4.0:
        return f"× {rounding.significant(ratio)}"
    places = max(places or 0, 1 if ratio < 0.05 else 0)
    return f"{rounding.fixed((ratio - 1.0) * 100.0, places, sign=sign)} %"


def of(frame: pd.DataFrame, verdicts: pd.DataFrame | None, brief: Brief) -> list[Answer]:
    """The answers in a table of comparisons or effects, in its order.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons`` gives it.
    verdicts : DataFrame or None
        As ``decide.verdict`` gives it: response, comparison, verdict, sentence.
    brief : Brief
    """
    judged: dict[tuple[str, str], Mapping[str, Any]] = {}
    if verdicts is not None:
        judged = {(row["response"], row["comparison"]): row for row in stamp.rows(verdicts)}
    asked = {item.name: item for item in brief.comparisons}
    made = []
    for row in stamp.rows(frame):
        comparison = asked.get(text(row.get("comparison")))
        response = brief.response(row["response"])
        found = judged.get((row["response"], text(row.get("comparison"))), {})
        ratio = row["measured_in"] == "ratio"
        made.append(
            Answer(
                name=text(row.get("comparison")) or text(row.get("term")),
                contrast=text(row.get("contrast")),
                ratio=ratio,
                unit="%" if ratio else text(row["measured_in"]),
                estimate=value(row["estimate"]),
                low=value(row["conf_low"]),
                high=value(row["conf_high"]),
                std_error=value(row["std_error"]),
                level=value(row["conf_level"]) or brief.conf_level,
                verdict=text(found.get("verdict")),
                sentence=text(found.get("sentence")),
                worthwhile=worthwhile(brief, comparison, response),
                interaction=bool(comparison.interaction) if comparison else " × " in text(row.get("term")),
                note=text(row.get("note")),
                interim=text(found.get("interim")),
            )
        )
    return made


def only_response(frame: pd.DataFrame, brief: Brief) -> str:
    """The one response a table speaks of; the first response of the brief when the table is empty."""
    names = list(dict.fromkeys(frame["response"]))
    return names[0] if names else brief.responses[0].name


def quantity(response: Response) -> str:
    """The response with its unit, for axes: 'elongation (%)'."""
    return measured_in.quantity(response.name)


def value(found: object) -> float | None:
    """A number of a result row; None where it is missing."""
    return float(found) if rounding.known(found) else None  # type: ignore[arg-type]


def text(found: object) -> str:
    """A text of a result row; empty where it is missing."""
    return found if isinstance(found, str) else ""


def _same_side(value: float, edge: float, places: int) -> bool:
    """True when rounding leaves a number on its side of an edge."""
    if math.isclose(value, edge, rel_tol=1e-9, abs_tol=1e-12):
        return True
    rounded, limit = round(value, places), round(edge, places)
    return rounded != limit and (rounded > limit) == (value > edge)
