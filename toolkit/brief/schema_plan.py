"""The form of [plan] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief import designs
from toolkit.brief.schema_table import Table
from toolkit.errors import listing
from toolkit.numeric.surfaces import KINDS


class Limit(Table):
    """A sum of numeric factors that is kept within limits."""

    shape: ClassVar[str] = "{ sum = { load_Nm = 1, speed_rpm = 0.05 }, at_most = 250 }"
    sum: dict[str, float] = Field(description="numeric factors and their weights: { load_Nm = 1, speed_rpm = 0.05 }")
    at_most: float | None = Field(None, description="a number")
    at_least: float | None = Field(None, description="a number")


class Plan(Table):
    """The section [plan]."""

    shape: ClassVar[str] = 'a section [plan] with design = "full factorial"'
    design: str = Field(designs.FULL, description=listing(designs.DESIGNS))
    builds: int = Field(0, description="a whole number; 0 means not chosen yet")
    replicates: int = Field(0, description="a whole number; 0 means not chosen yet")
    centre_points: int = Field(0, description="a whole number from 0 up")
    nil_interactions: list[list[str]] = Field([], description='a list of lists such as [["pin", "oil"]]')
    runs: int = Field(0, description="how many runs one set has, a whole number")
    resolution: int = Field(0, description="3, 4, 5 ...; 0: whatever the runs allow")
    keep_clear: list[list[str]] = Field([], description='a list of lists such as [["pin", "oil"]]')
    interactions_up_to: int = Field(0, description="a whole number from 1 up; 0: none is taken as nil")
    split_over: int = Field(1, description="over how many builds one set of runs is spread, a whole number")
    axial: str = Field("", description=listing(KINDS))
    runs_in_build: int = Field(0, description="how many runs a build holds, a whole number; 0: as many as it lasts")
    baseline_in_every_build: bool = Field(False, description="true or false")
    balance_carry_over: bool = Field(False, description="true or false")
    criterion: str = Field("D", description="'D', 'A' or 'I'")
    model: str = Field("main effects", description="'main effects', 'two-factor interactions' or 'quadratic'")
    interactions: list[list[str]] = Field([], description='a list of lists such as [["pin", "oil"]]')
    forbidden: list[dict[str, str]] = Field([], description='a list such as [ { pin = "P1", oil = "O0" } ]')
    limits: list[Limit] = Field([], description=f"a list such as [ {Limit.shape} ]")
    repeat_points: int = Field(0, description="a whole number from 0 up")
    plots: dict[str, int] = Field({}, description="units of one set and their number: { part = 8 }")
    variance_ratio: float = Field(1.0, description="a number, 0 or more")
