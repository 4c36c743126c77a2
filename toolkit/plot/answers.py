"""One comparison or effect as it is drawn and said: the numbers of a result row and their text (rank 8).

Figures, alt texts, tables and sentences all read their numbers here, so that they cannot differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, worthwhile
from toolkit.plot import rounding

VERDICTS = (
    "worthwhile gain",
    "gain, size not settled",
    "smaller than worthwhile",
    "not known yet",
    "loss, size not settled",
    "worthwhile loss",
)


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
        One of the six, or empty when none was asked for.
    sentence : str
        The verdict in words.
    worthwhile : float or None
        The smallest change that matters, as a positive gain on the analysis scale (ln for ratios).
    interaction : bool
        True when the comparison asks for an interaction.
    note : str
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

    @property
    def estimable(self) -> bool:
        """True when there is an estimate."""
        return self.estimate is not None

    def shown(self, value: float) -> str:
        """A value of this answer as text, as far as the standard error allows: '−26 %' or '+1.2 µm'."""
        if not self.ratio:
            return f"{rounding.estimate(value, self.std_error, sign=True)} {self.unit}".rstrip()
        error = (
            None
            if self.std_error is None or self.estimate is None
            else 100.0 * self.std_error * self.estimate
        )
        return per_cent(value, error)

    @property
    def change(self) -> str:
        """The estimated change with its sign and unit; 'not estimable' when there is none."""
        return "not estimable" if self.estimate is None else self.shown(self.estimate)

    @property
    def interval(self) -> str:
        """The limits, as in '−35 to −16 %'; 'no interval' when there is none."""
        if self.low is None or self.high is None:
            return "no interval"
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


def per_cent(ratio: float, error: float | None, *, sign: bool = True) -> str:
    """A ratio as a change in per cent: 0.74 gives '−26 %'; above four-fold '× 5.2'.

    Above four-fold a percentage misleads.

    Parameters
    ----------
    ratio : float
    error : float or None
        Standard error in per cent points, which decides on decimals; whole per cents when there is none.
    sign : bool
        True puts a plus before increases.
    """
    if ratio >= 4.0:
        return f"× {rounding.significant(ratio)}"
    places = rounding.decimals(error)
    places = 0 if places is None else min(max(places, 0), 3)
    # Near total loss of wear the whole per cents run out: −99.6 % is not −100 %.
    if ratio < 0.05:
        places = max(places, 1)
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
        judged = {(row["response"], row["comparison"]): row for row in verdicts.to_dict("records")}
    asked = {item.name: item for item in brief.comparisons}
    made = []
    for row in frame.to_dict("records"):
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
                level=float(row["conf_level"]),
                verdict=text(found.get("verdict")),
                sentence=text(found.get("sentence")),
                worthwhile=worthwhile(brief, comparison, response),
                interaction=bool(comparison.interaction) if comparison else " × " in text(row.get("term")),
                note=text(row.get("note")),
            )
        )
    return made


def only_response(frame: pd.DataFrame, brief: Brief) -> str:
    """The one response a table speaks of; the first response of the brief when the table is empty."""
    names = list(dict.fromkeys(frame["response"]))
    return names[0] if names else brief.responses[0].name


def quantity(brief: Brief, response: str) -> str:
    """The response with its unit, for axes: 'elongation (%)'."""
    return measured_in.quantity(brief.response(response).name)


def value(found: object) -> float | None:
    """A number of a result row; None where it is missing."""
    return float(found) if rounding.known(found) else None  # type: ignore[arg-type]


def text(found: object) -> str:
    """A text of a result row; empty where it is missing."""
    return found if isinstance(found, str) else ""
