"""The form that every table of a brief has (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """One table of the file: nothing is converted, no other key is taken, no number is infinite."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)
    shape: ClassVar[str] = "a table"
