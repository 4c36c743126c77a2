"""The form of [extension] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief import extensions
from toolkit.brief.schema_table import Table
from toolkit.errors import listing


class Extension(Table):
    """A section [extension]."""

    shape: ClassVar[str] = "a section [extension] with builds, replicates or design"
    builds: int = Field(0, description="a whole number; 0 means not chosen yet")
    replicates: int = Field(0, description="a whole number; 0 means not chosen yet")
    combinations: list[dict[str, str]] = Field([], description='a list such as [ { pin = "P0", oil = "O0" } ]')
    design: str = Field(extensions.SAME, description=listing(extensions.KINDS))
    swap: list[str] = Field([], description='a list of factors such as ["pin", "oil"]')
    half: dict[str, str] = Field({}, description='a factor and its level: { oil = "O1" }')
    axial: str = Field("", description=listing(extensions.DISTANCES))
    centre_points: int = Field(0, description="a whole number from 0 up")
    free: list[list[str]] = Field([], description='a list of lists such as [["pin", "oil"]]')
    comparison: str = Field("", description="the name of a comparison, in quotes")
    detectable_ratio: float | None = Field(None, description="a number such as 1.25 or 0.8")
