"""The form of [[traces]], [[master]] and [reference] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief.metrology import CORRECTIONS, DECIMALS, MOVES, TAKES
from toolkit.brief.schema_table import Table
from toolkit.errors import listing

_ZONE = "two numbers: [from, to]"


class Traces(Table):
    """How traces of one response are read."""

    shape: ClassVar[str] = "[[traces]] with response, files, reference and worn"
    response: str = Field(description="the name of a response, in quotes")
    files: str = Field(description='a pattern of names in raw/traces such as "{run_id}_{part_id}.csv"')
    reference: list[list[float]] = Field(description="a list of zones such as [[0, 1.5], [8.5, 10]]")
    worn: list[float] | None = Field(None, min_length=2, max_length=2, description=_ZONE)
    take: str = Field("mean", description=listing(TAKES))
    positions: list[float] = Field([], description="a list of numbers such as [-14, -10, -4, 0, 4, 10, 14]")
    columns: dict[str, str] = Field({}, description='our columns and their headings: { position = "X" }')
    position_in: str = Field("mm", description='a unit in quotes, such as "mm" or "deg"')
    height_in: str = Field("um", description='a unit in quotes, such as "um"')
    width_mm: float | None = Field(None, description="a number above 0")
    may_move: list[str] = Field(list(MOVES), description='a list such as ["shift", "offset", "tilt"]')
    decimal: str = Field("point", description=listing(DECIMALS))


class Master(Table):
    """One artefact that does not wear."""

    shape: ClassVar[str] = "[[master]] with name, response and value"
    name: str = Field(description='its id in raw/masters.csv, such as "bar-1040"')
    response: str = Field(description="the name of a response, in quotes")
    value: float = Field(description="a number in the response's own unit")
    value_sd: float = Field(0.0, description="0 or a number above 0 in the response's own unit")
    correct: str = Field("none", description=listing(CORRECTIONS))


class Reference(Table):
    """The section [reference]."""

    shape: ClassVar[str] = "a section [reference]"
    combination: dict[str, str] = Field({}, description='a level of every factor: { pin = "P0", oil = "O0" }')
    conf_level: float = Field(0.9973, description="a number between 0.5 and 1")
    history: str | None = Field(None, description="a file in the campaign folder, in quotes")
    adjust: bool = Field(False, description="true or false")
