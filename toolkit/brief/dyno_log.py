"""How the recordings of a dynamometer are read, and by which rules they are judged (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
CLOCK = "clock"
TIMES = (*SECONDS, CLOCK)
SEPARATORS = (",", ";", "\t")
DECIMALS = ("point", "comma")
FORMS = ("J1349", "ISO 1585 spark", "ISO 1585 compression")
CHARGING = ("naturally aspirated", "boosted", "boosted, liquid cooled")
# What a recording can give beside means of its channels, and what that is measured in.
FIGURES = {
    "hours": "h",
    "gaps": "h",
    "longest gap": "h",
    "sweep torque": "Nm",
    "sweep power": "kW",
    "peak torque": "Nm",
    "peak power": "kW",
}
OF_SWEEPS = ("sweep torque", "sweep power", "peak torque", "peak power")
# How a file is written is known only once a recorder has written one: it stands outside the seal.
OUTSIDE_SEAL = ("time", "time_in", "columns", "measured_in", "missing", "separator", "decimal")


@dataclass(frozen=True)
class SweepRule:
    """What counts as a periodic full-load sweep, and what is taken from it.

    Attributes
    ----------
    speed, torque, load : str
        Our channels; ``load`` is what is high at full load, the torque itself where nothing better is recorded.
    low_rpm, high_rpm : float
        A sweep rises from below the one to above the other.
    full_load : float
        ``load`` at full load.
    shortest_s : float
    window_rpm : (float, float)
        Torque and power are averaged over it, the same in a whole campaign.
    step_rpm : float
    leave_out : int
        So many at the start are left out by rule.
    asked : int
        How many the protocol asks for; 0: not said.
    """

    speed: str
    torque: str
    load: str
    low_rpm: float
    high_rpm: float
    full_load: float
    shortest_s: float
    window_rpm: tuple[float, float]
    step_rpm: float = 50.0
    leave_out: int = 1
    asked: int = 0


@dataclass(frozen=True)
class SteadyRule:
    """When the engine runs steadily: held windows are judged by these readings alone.

    Attributes
    ----------
    within : mapping of str to (float, float)
        Channel to the range it must lie in.
    settle_s : float
        So long all of them must have lain there before readings count [s].
    """

    within: Mapping[str, tuple[float, float]]
    settle_s: float = 0.0


@dataclass(frozen=True)
class StandardRule:
    """How full-load torque and power are brought to standard conditions; the raw figures are kept beside.

    Attributes
    ----------
    form : str
        One of ``FORMS``.
    charging : str
        One of ``CHARGING``: an engine whose control makes up for the weather is not corrected at all.
    pressure, temperature, humidity : str
        Our channels: pressure of the air as it is, its temperature, relative humidity in per cent.
    fuel_mg_per_L : float or None
        Fuel a litre and cycle at full load, for compression ignition.
    """

    form: str
    charging: str
    pressure: str
    temperature: str
    humidity: str
    fuel_mg_per_L: float | None = None


@dataclass(frozen=True)
class DynoLog:
    """How recordings are read and judged: headings, units, what stands for a missing reading, and the rules.

    ``OUTSIDE_SEAL`` names what says only how a file is written; the rest is sealed with the plan.

    Attributes
    ----------
    time : str
        Heading of the time.
    columns : mapping of str to str
        Our channel, with its unit as suffix, to their heading.
    time_in : str
        s, min, h since the start, or clock: dates and times as ISO 8601 writes them.
    measured_in : mapping of str to str
        Our channel to what theirs is measured in; left out: as ours.
    missing : tuple of float
        Figures that a recorder writes where it has none.
    separator : str
        Between cells: comma, semicolon or tab.
    decimal : str
        point or comma.
    longest_step_s : float
        A longer step between readings is a gap [s].
    sweeps : SweepRule or None
    steady : SteadyRule or None
        None: every reading counts against the held windows.
    standard : StandardRule or None
        None: torque and power stay as recorded.
    gives : mapping of str to str
        Column of the runs (a response, a covariate, a bound) to what it is taken from: one of ``FIGURES``, or a
        channel, whose mean it is. A held variable is given by the channel of its own name, without a line here.
    review_deviation_pct : float or None
        A held channel whose per cent deviation is above it sends the run to a review.
    """

    time: str
    columns: Mapping[str, str]
    time_in: str = "s"
    measured_in: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[float, ...] = ()
    separator: str = ","
    decimal: str = "point"
    longest_step_s: float = 5.0
    sweeps: SweepRule | None = None
    steady: SteadyRule | None = None
    standard: StandardRule | None = None
    gives: Mapping[str, str] = field(default_factory=dict)
    review_deviation_pct: float | None = None
