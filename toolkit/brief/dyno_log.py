"""How the recordings of a dynamometer are read (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
CLOCK = "clock"


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
    """

    time: str
    columns: Mapping[str, str]
    time_in: str = "s"
    measured_in: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[float, ...] = ()
    separator: str = ","
    decimal: str = "point"
    longest_step_s: float = 5.0
