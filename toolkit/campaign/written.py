"""Tables and plain data as text that is written to a campaign folder (rank 9)."""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from toolkit import stamp


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV text: full precision, Unix line ends, text that a spreadsheet would run gets a leading quote."""
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype == object or str(safe[name].dtype) in ("str", "string"):
            safe[name] = [_harmless(value) for value in safe[name]]
    return safe.to_csv(index=False, lineterminator="\n")


def json_text(value: Any) -> str:
    """Plain data as readable JSON with a last line end."""
    return json.dumps(stamp.plain(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _harmless(value: object) -> object:
    """A text cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        try:
            float(value)
        except ValueError:
            return f"'{value}"
    return value
