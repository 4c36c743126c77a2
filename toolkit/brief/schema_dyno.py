"""The form of [dyno_log] (rank 2)."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from toolkit.brief.dyno_log import CHARGING, DECIMALS, FORMS, TIMES
from toolkit.brief.schema_table import Table
from toolkit.errors import listing

_CHANNEL = "one of your columns, in quotes"


class Sweeps(Table):
    """What counts as a full-load sweep."""

    shape: ClassVar[str] = "sweeps with speed, torque, load, low_rpm, high_rpm, full_load, shortest_s and window_rpm"
    speed: str = Field(description=_CHANNEL)
    torque: str = Field(description=_CHANNEL)
    load: str = Field(description=_CHANNEL)
    low_rpm: float = Field(description="a number")
    high_rpm: float = Field(description="a number")
    full_load: float = Field(description="a number")
    shortest_s: float = Field(description="seconds, a number")
    window_rpm: list[float] = Field(min_length=2, max_length=2, description="two numbers: [lowest, highest]")
    step_rpm: float = Field(50.0, description="a number")
    leave_out: int = Field(1, description="a whole number from 0 up")
    asked: int = Field(0, description="how many the protocol asks for, a whole number")


class Steady(Table):
    """When the engine runs steadily."""

    shape: ClassVar[str] = "steady = { within = { speed_rpm = [1400, 3600] }, settle_s = 600 }"
    within: dict[str, list[float]] = Field(description="channels, each with two numbers: { speed_rpm = [1400, 3600] }")
    settle_s: float = Field(0.0, description="seconds, a number")


class Standard(Table):
    """How torque and power are brought to standard conditions."""

    shape: ClassVar[str] = "standard with form, charging, pressure, temperature and humidity"
    form: str = Field(description=listing(FORMS))
    charging: str = Field(description=listing(CHARGING))
    pressure: str = Field(description=_CHANNEL)
    temperature: str = Field(description=_CHANNEL)
    humidity: str = Field(description=_CHANNEL)
    fuel_mg_per_L: float | None = Field(None, description="a number above 0")


class DynoLog(Table):
    """The section [dyno_log]."""

    shape: ClassVar[str] = "a section [dyno_log] with time and columns"
    time: str = Field(description="the heading of the time, in quotes")
    columns: dict[str, str] = Field(description='our channels and their headings: { speed_rpm = "N" }')
    time_in: str = Field("s", description=listing(TIMES))
    measured_in: dict[str, str] = Field({}, description='our channels and their units: { torque_Nm = "ft-lb" }')
    missing: list[float] = Field([], description="a list of numbers such as [-9999]")
    separator: str = Field(",", description='",", ";" or "\\t"')
    decimal: str = Field("point", description=listing(DECIMALS))
    longest_step_s: float = Field(5.0, description="seconds, a number above 0")
    sweeps: Sweeps | None = None
    steady: Steady | None = None
    standard: Standard | None = None
    gives: dict[str, str] = Field({}, description='columns of the runs: { power_kW = "sweep power" }')
    review_deviation_pct: float | None = Field(None, description="per cent, a number such as 2.5")
