"""What makes a result repeatable: canonical JSON, checksums, versions, and the clock that tests can fix (rank 1)."""

from __future__ import annotations

import hashlib
import json
import math
import os
import platform
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib import metadata
from typing import Any

# Those that the code loads for numbers, pictures, sheets and notebooks; a test looks that each of them is.
PACKAGES = ("wearbook", "numpy", "scipy", "pandas", "matplotlib", "seaborn", "openpyxl", "papermill")

_OWN = (str, int, float, bool, type(None))


def plain(value: Any) -> Any:
    """A value as JSON can hold it: numpy numbers to Python's, NaN and infinities to null, tuples to lists."""
    kind = type(value)
    # Nearly all values are of these; asking for abstract kinds first would cost more than all the rest.
    if kind is str or kind is int or kind is bool or value is None:
        return value
    if kind is float:
        return value if math.isfinite(value) else None
    if kind is dict or isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return None if _missing(value) else value


def records(frame: Any) -> list[dict[str, Any]]:
    """The rows of a frame as plain dictionaries for JSON."""
    return [plain(row) for row in rows(frame)]


def rows(frame: Any) -> list[dict[Any, Any]]:
    """The rows of a frame as dictionaries of Python's own values, as pandas' ``to_dict("records")`` gives them.

    Notes
    -----
    pandas asks for every column by its place, which takes ten times as long on tables of a few rows.

    Checked against: ``to_dict("records")``, tests/unit/test_stamp.py.
    """
    columns = [[_own(value) for value in column.tolist()] for _, column in frame.items()]
    if not columns:
        return [{} for _ in range(len(frame))]
    names = list(frame.columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _own(value: Any) -> Any:
    """A numpy number as Python's; anything else as it is."""
    if type(value) in _OWN or hasattr(value, "__len__"):
        return value
    return value.item() if hasattr(value, "dtype") else value


def canonical(value: Any) -> str:
    """Canonical JSON: sorted keys, no blanks, so that layout does not change a checksum."""
    return json.dumps(plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def checksum(value: Any) -> str:
    """sha256 (hex) over the canonical JSON of a value."""
    return hashlib.sha256(canonical(value).encode("utf-8")).hexdigest()


def checksum_bytes(content: bytes) -> str:
    """sha256 (hex) of bytes as they are."""
    return hashlib.sha256(content).hexdigest()


def now() -> str:
    """The time in UTC, ISO 8601 to the second; ``WEARBOOK_NOW`` fixes it for tests and the demo."""
    fixed = os.environ.get("WEARBOOK_NOW")
    moment = datetime.fromisoformat(fixed) if fixed else datetime.now(UTC)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def versions() -> dict[str, str]:
    """Versions of Python and of the packages a result rests on."""
    found = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def _missing(value: Any) -> bool:
    """True for pandas' own missing values, told without importing pandas."""
    return type(value).__name__ in {"NAType", "NaTType"}
