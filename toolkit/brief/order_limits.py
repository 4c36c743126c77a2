"""How closely a comparison may follow the run order, where the brief limits it (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OrderLimits:
    """The limits that an order must keep before it can be drawn; None: no limit of that kind.

    Attributes
    ----------
    most_linear : float or None
        Largest size of the correlation of a comparison with the position in the run order, over the campaign and within
        builds; from 0 up to, and without, 1.
    most_quadratic : float or None
        The same with the square of the position, what is straight in it taken out: drift that bends.
    """

    most_linear: float | None = None
    most_quadratic: float | None = None
