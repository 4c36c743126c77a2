"""Counts and lists as people write them, in one place (rank 0)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


# Columns of the tables of a campaign, as people read them.
_HEADINGS = {
    "run_id": "run",
    "build_id": "build",
    "part_id": "part",
    "part_set_id": "set of parts",
    "fill_id": "fill",
    "planned_order": "planned order",
    "measured_by": "measured by",
    "oil_back_by": "oil back by",
}


def headed(frame: pd.DataFrame) -> pd.DataFrame:
    """A table whose headings are words: 'run' where a file has ``run_id``.

    Examples
    --------
    >>> import pandas as pd
    >>> list(headed(pd.DataFrame(columns=["run_id", "planned_order", "pin"])).columns)
    ['run', 'planned order', 'pin']
    """
    return frame.rename(columns=_HEADINGS)


def counted(number: int, noun: str) -> str:
    """A count with its noun, in the plural unless it is one: '1 build', '3 builds'."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def joined(parts: Sequence[str]) -> str:
    """Parts with commas and a last 'and'; empty for none."""
    items = list(parts)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""


def filled(frame: pd.DataFrame) -> pd.DataFrame:
    """A table as it is shown: what it does not hold is an empty cell, where Python would show None or NaN."""
    return frame.astype(object).where(frame.notna(), "")
