"""Choices of the best level, after the runs: who is still in the race, and how much the winner flatters (rank 7)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.model import race
from toolkit.model.fit import Fit


@dataclass(frozen=True, eq=False)
class Races:
    """The choices that the brief asks for, for one response.

    Attributes
    ----------
    table : DataFrame
        See ``model.race.race``; every factor asked about below the other.
    sentences : tuple of str
        One or two a factor.
    """

    table: pd.DataFrame
    sentences: tuple[str, ...]

    def to_json(self) -> list[dict[str, Any]]:
        """The table's rows as plain data."""
        return stamp.records(self.table)

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def races(fit: Fit) -> Races:
    """Every ``[[best_of]]`` of the brief; nothing where there is none.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    Races
    """
    tables, told = [pd.DataFrame(columns=list(race.COLUMNS), dtype=object)], []
    for asked in fit.brief.best_of:
        found = race.race(fit, asked.factor)
        tables.append(found)
        told += _sentences(fit, asked.factor, found)
    return Races(pd.concat(tables, ignore_index=True), tuple(told))


def _sentences(fit: Fit, factor: str, found: pd.DataFrame) -> list[str]:
    """Who leads, who is still in the race, who is out of it."""
    rows = found.to_dict("records")
    known = [row for row in rows if row["still_in"] is not None]
    if not known:
        return [f"Best of {len(rows)} {factor}: not told ({rows[0]['note']})."]
    best = max(known, key=lambda row: float(row["lead"]))
    inside = [str(row["level"]) for row in known if row["still_in"]]
    out = [str(row["level"]) for row in known if not row["still_in"]]
    level = f"{100 * fit.brief.conf_level:g} %"
    text = f"Best of {len(rows)} {factor}: {best['level']} came out best"
    if len(inside) == 1:
        text += f" and is the only one that may be the best (at {level})"
    else:
        text += f"; still in the race (at {level}): {', '.join(inside)}"
    text += f"; out of it: {', '.join(out)}." if out else "; none is out of it."
    untold = [f"{row['level']} ({row['note']})" for row in rows if row["still_in"] is None]
    if untold:
        text += f" Not told: {', '.join(untold)}."
    made = [text]
    more = race.flattered(fit, factor)
    if more is not None and len(inside) > 1:
        unit = "%" if fit.response.scale == "log" else fit.response.measured_in
        made.append(
            f"If all {len(rows)} were equal the winner would still look {more:.3g} {unit}".rstrip()
            + " better than it is, on average: picking it is a choice, not a proof."
        )
    return made
