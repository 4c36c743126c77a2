"""What is kept constant, and what a run is held to (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Held:
    """A variable kept constant: outside its window a run is reviewed, outside its limits it is invalid."""

    name: str
    target: float
    window: tuple[float, float]
    limits: tuple[float, float] | None = None


@dataclass(frozen=True)
class Protocol:
    """How long a run lasts, upper bounds on what may go wrong in it, and who judges it.

    Attributes
    ----------
    run_time_h : Held or None
    max : mapping of str to float
    not_interpretable : tuple of str
        Bounds beyond which a run counts as made and says nothing; beyond the others it is invalid.
    judged_by : str
        The role that gives verdicts; empty: whoever notes them.
    """

    run_time_h: Held | None = None
    max: Mapping[str, float] = field(default_factory=dict)
    not_interpretable: tuple[str, ...] = ()
    judged_by: str = ""
