"""How the recordings of a dynamometer are read (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
CLOCK = "clock"


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
class DynoLog:
    """How recordings are read: headings, units, what stands for a missing reading.

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
