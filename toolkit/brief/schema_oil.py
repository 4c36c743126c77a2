"""The form of [oil] and of the cards of the oils (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief.schema_table import Table


class Precision(Table):
    """Limits of two figures of one element."""

    shape: ClassVar[str] = "{ within_batch = [0.13, 0.8], between_labs = [0.52, 0.8] }"
    within_batch: list[float] | None = Field(None, min_length=2, max_length=2, description="two numbers: [a, b]")
    between_batches: list[float] | None = Field(None, min_length=2, max_length=2, description="two numbers: [a, b]")
    between_labs: list[float] | None = Field(None, min_length=2, max_length=2, description="two numbers: [a, b]")


class Oil(Table):
    """The section [oil]."""

    shape: ClassVar[str] = "a section [oil] with fill_kg"
    fill_kg: float = Field(description="kilograms, a number above 0")
    liquid_share: float | None = Field(None, description="a number from 0 to 1")
    marker: str = Field("", description='an element such as "mo_ppm"')
    most_carry_over_pct: float | None = Field(None, description="per cent, a number such as 2")
    zero_from_carry_over: bool = Field(False, description="true or false")
    most_rise_ppm: dict[str, float] = Field({}, description="elements and numbers: { si_ppm = 15 }")
    precision: dict[str, Precision] = Field({}, description="elements, each with its limits")
    mg_per_unit: dict[str, dict[str, float]] = Field({}, description="{ fe_ppm = { wear_um = 0.6 } }")
    viscosity_at: str = Field("", description='a held temperature such as "sump_temp_degC"')
    recovery_band: list[float] = Field([0.2, 3.0], min_length=2, max_length=2, description="two numbers: [0.2, 3]")


class OilCard(Table):
    """One card of an oil."""

    shape: ClassVar[str] = "[[oil_card]] with a name and new_ppm"
    name: str = Field(description='what the oil is called, such as "current oil"')
    where: dict[str, str] = Field({}, description='levels by factor: { oil = "O0" }')
    new_ppm: dict[str, float] = Field({}, description="elements and numbers: { fe_ppm = 1, ca_ppm = 2000 }")
    within_pct: float = Field(15.0, description="per cent, a number such as 15")
    kv40_mm2_s: float | None = Field(None, description="a number")
    kv100_mm2_s: float | None = Field(None, description="a number")
