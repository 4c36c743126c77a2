"""Tables and plain data as text that is written to a campaign folder (rank 9)."""

from __future__ import annotations

import csv
import json
from typing import Any

import pandas as pd

from toolkit import sheetfile, stamp


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV text: full precision, Unix line ends, text that a spreadsheet would run gets a leading quote."""
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype == object or str(safe[name].dtype) in ("str", "string"):
            safe[name] = [sheetfile.guarded(value) if isinstance(value, str) else value for value in safe[name]]
    safe.columns = [sheetfile.guarded(str(name)) for name in safe.columns]
    # Without quotes a carriage return ends the row for every reader; pandas sets none for it alone.
    odd = any("\r" in str(value) for value in [*safe.columns, *safe.to_numpy(dtype=object).ravel()])
    return safe.to_csv(index=False, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC if odd else csv.QUOTE_MINIMAL)


def json_text(value: Any) -> str:
    """Plain data as readable JSON with a last line end."""
    return json.dumps(stamp.plain(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
