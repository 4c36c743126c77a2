"""One figure from the wear between two traces: greatest, mean, area, or a scheme of positions, each with its doubt.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, IntakeError, raise_all
from toolkit.numeric.traces import Aligned, Zone, worn

NEIGHBOURS = 5


@dataclass(frozen=True)
class Taken:
    """One figure of wear.

    Attributes
    ----------
    value : float
        Of height; of height times position for an area.
    at : float or None
        Where it lies, of the greatest.
    of_readings, of_alignment : float
        Its standard uncertainty from the scatter of readings, and from bringing the traces together.
    """

    value: float
    at: float | None
    of_readings: float
    of_alignment: float

    @property
    def std_error(self) -> float:
        """Both together."""
        return float(np.hypot(self.of_readings, self.of_alignment))


def take(
    aligned: Aligned,
    what: str,
    *,
    zone: Zone | None = None,
    positions: Sequence[float] = (),
    neighbours: int = NEIGHBOURS,
) -> Taken:
    """Give back the wear of a zone, or over a scheme of positions, as one figure with its standard uncertainty.

    Parameters
    ----------
    aligned : Aligned
        From ``traces.align``.
    what : str
        max (a mean over neighbouring readings), mean or area; of positions max or mean.
    zone : (from, to), optional
        Where the wear is; left out where ``positions`` are given.
    positions : sequence of float
        Places at which the wear is the mean over the nearest readings.
    neighbours : int
        How many readings such a mean is over (odd).

    Returns
    -------
    Taken

    Raises
    ------
    IntakeError
        When the traces do not reach the zone or a position.

    Notes
    -----
    Var = 2 s^2 sum w^2 + g' C g with w the weights of the readings, g the weighted slope of the wear with shift, offset
    and tilt, and C their covariance: on a flank the doubt of the alignment times the slope (propagation of uncertainty,
    JCGM 100:2008, 5.1.2). That the greatest is chosen where it is greatest is not taken off.

    Checked against: simulated traces and a flank by hand, tests/unit/numeric/test_trace_takes.py.
    """
    if positions:
        rows = np.array([_near(aligned, place, neighbours) for place in positions])
        depths = rows @ np.nan_to_num(aligned.wear)
        if what == "max":
            best = int(np.argmax(depths))
            return _weighed(aligned, rows[best], float(positions[best]))
        return _weighed(aligned, rows.mean(axis=0), None)
    if zone is None:
        raise_all(IntakeError, "The wear cannot be told.", [Fault("zone", "none", "a zone, or positions")])
    found = worn(aligned, zone, neighbours=neighbours)
    inside = (aligned.position >= zone[0]) & (aligned.position <= zone[1])
    weights = np.zeros(len(aligned.position))
    if what == "max":
        return _weighed(aligned, _near(aligned, found.greatest_at, neighbours), found.greatest_at)
    if what == "mean":
        weights[inside] = 1.0 / inside.sum()
        return _weighed(aligned, weights, None)
    width = np.gradient(aligned.position[inside])
    width[[0, -1]] *= 0.5
    weights[inside] = width
    return _weighed(aligned, weights, None)


def _near(aligned: Aligned, place: float, neighbours: int) -> NDArray[np.float64]:
    """Weights of the mean over the readings nearest to a place."""
    known = np.isfinite(aligned.wear)
    at = np.flatnonzero(known)
    reach = aligned.position[at]
    short = len(at) < neighbours or not reach[0] <= place <= reach[-1]
    if short:
        expected = "both traces there"
        raise_all(IntakeError, "The wear cannot be told.", [Fault(f"position {place:g}", "no readings", expected)])
    middle = int(np.argmin(np.abs(reach - place)))
    first = min(max(middle - neighbours // 2, 0), len(at) - neighbours)
    weights = np.zeros(len(aligned.position))
    weights[at[first : first + neighbours]] = 1.0 / neighbours
    return weights


def _weighed(aligned: Aligned, weights: NDArray[np.float64], at: float | None) -> Taken:
    """A weighted sum of the wear with its two shares of doubt."""
    used = weights != 0.0
    gradient = weights[used] @ aligned.slopes[used]
    alignment = float(np.sqrt(max(float(gradient @ aligned.covariance @ gradient), 0.0)))
    readings = float(aligned.scatter * np.sqrt(2.0 * np.square(weights[used]).sum()))
    return Taken(float(weights[used] @ aligned.wear[used]), at, readings, alignment)
