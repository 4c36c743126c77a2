"""What the metrology room measures beside plain readings: [[traces]], [[master]] and [reference] (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Zone = tuple[float, float]
TAKES = ("max", "mean", "area", "volume")
MOVES = ("shift", "offset", "tilt")
CORRECTIONS = ("none", "session", "line")
DECIMALS = ("point", "comma")
# What a table of traces tells; the first three are needed, in the file or in its name.
TRACE_KEYS = ("part_id", "station_id", "state", "run_id", "reading", "session_id")
TRACE_VALUES = ("position", "height")


@dataclass(frozen=True)
class Traces:
    """How the wear of stations is read from traces taken before and after.

    Attributes
    ----------
    response : str
        A response with stations and no states; its unit is that of what is taken.
    files : str
        A pattern of names in raw/traces: ``*``, and ``{run_id}``, ``{part_id}``, ``{station_id}``, ``{state}``,
        ``{reading}``, ``{session_id}`` where the name tells them (no underscore in them).
    reference : tuple of (from, to)
        Zones of positions that do not wear: traces are brought together on them alone.
    worn : (from, to)
        The zone whose wear is told.
    take : str
        max (a mean over neighbouring readings), mean, area (over position) or volume (area times ``width_mm``).
    positions : tuple of float
        A scheme of positions in place of ``worn``: ``take`` is then the greatest or the mean over them.
    columns : mapping of str to str
        Ours (part_id, station_id, state, run_id, reading, session_id, position, height) to their heading.
    position_in, height_in : str
        What theirs is measured in; zones and positions are told in the former.
    decimal : str
        point or comma: the decimal mark of their figures; columns stand between commas, semicolons or tabs.
    width_mm : float or None
    may_move : tuple of str
        What may differ between the two settings on the gauge: shift, offset, tilt.
    """

    response: str
    files: str
    reference: tuple[Zone, ...]
    worn: Zone | None = None
    take: str = "mean"
    positions: tuple[float, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)
    position_in: str = "mm"
    height_in: str = "um"
    width_mm: float | None = None
    may_move: tuple[str, ...] = MOVES
    decimal: str = "point"


@dataclass(frozen=True)
class Master:
    """An artefact that does not wear, read again and again: it shows whether the gauge drifts.

    Attributes
    ----------
    name : str
        Its id in raw/masters.csv.
    response : str
        The response whose readings it stands for.
    value : float
        As certified, in the unit of the response.
    value_sd : float
        Standard uncertainty of the certificate.
    correct : str
        none: drift is told; session: what the master reads off its value in a session is taken off every reading of
        that session; line: the straight line through all sessions is taken off.
    """

    name: str
    response: str
    value: float
    value_sd: float = 0.0
    correct: str = "none"


@dataclass(frozen=True)
class Reference:
    """Which runs show what the rig does while nothing is changed on purpose.

    Attributes
    ----------
    combination : mapping of str to str
        A level of every factor; empty: the baseline, the first level of each.
    conf_level : float
        How often a point lies within its limits if nothing changed.
    history : str or None
        A table in the campaign's folder of reference runs made earlier, in their order.
    adjust : bool
        True: answers with other runs adjusted by the references near them stand beside the verdicts.
    """

    combination: Mapping[str, str] = field(default_factory=dict)
    conf_level: float = 0.9973
    history: str | None = None
    adjust: bool = False


def masters_of(masters: tuple[Master, ...], response: str) -> tuple[Master, ...]:
    """The masters that stand for the readings of a response."""
    return tuple(item for item in masters if item.response == response)
