"""How a table that comes back with headings of its own is read (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class ReceivedTable:
    """How a table with headings of its own is read when it comes back; no seal covers it.

    Attributes
    ----------
    name : str
    table : str
        runs, stations or oil.
    columns : mapping of str to str
        Our column to their heading.
    files : str
        A shell pattern on the file's name; empty: only when it is asked for by name.
    sheet : str or None
        Of a workbook; None: the only sheet that has anything on it.
    measured_in : mapping of str to str
        Our column to what theirs is measured in; left out: as ours.
    always : mapping of str to str
        Our column to what stands in it throughout, where the file lacks it.
    levels : mapping of str to mapping
        Factor to our level to their word.
    decimal : str
        comma or point; empty: told from each cell, what can be read in two ways is refused.
    """

    name: str
    table: str
    columns: Mapping[str, str]
    files: str = ""
    sheet: str | None = None
    measured_in: Mapping[str, str] = field(default_factory=dict)
    always: Mapping[str, str] = field(default_factory=dict)
    levels: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    decimal: str = ""
