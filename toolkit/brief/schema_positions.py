"""The form of [positions] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief.schema_table import Table


class Positions(Table):
    """The keys of [positions]."""

    shape: ClassVar[str] = 'a section [positions] with names = ["cyl 1", "cyl 2"]'
    names: list[str] = Field(description='a list of names such as ["cyl 1", "cyl 2"]')
