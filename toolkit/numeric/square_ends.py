"""The least and the greatest sum of squares that values known only between two ends can leave (rank 1).

A sum of squares left by a model is a convex function of the values: it is greatest where each of them is at one of its
ends. Nothing is assumed of where between the ends they lie, nor that they lie there independently of each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import contrasts
from toolkit.numeric._bases import Floats

# So many values that hang together are tried at every end; more are bounded.
_MOST_TRIED = 12
_SWEEPS = 20_000
_NIL, _NOUGHT = 1e-12, 1e-9


@dataclass(frozen=True)
class SquareEnds:
    """What the sum of squares can be.

    Attributes
    ----------
    least : float
    most : float
        Wherever the values lie it is no larger. Reached, unless more than 12 values that share a mean are open.
    """

    least: float
    most: float


def square_ends(columns: ArrayLike, low: ArrayLike, high: ArrayLike) -> SquareEnds:
    """Give back the least and the greatest residual sum of squares over all values between their ends.

    Parameters
    ----------
    columns : array, shape (n, p)
        Of the model, aliased ones allowed.
    low, high : array, shape (n,)
        The ends of each value, the same where it is known.

    Returns
    -------
    SquareEnds

    Raises
    ------
    ModelError
        When the shapes disagree, an end is no finite number, or a lower end lies above its upper one.

    Notes
    -----
    With P the projection on what the columns leave, y'Py is convex, so that its maximum over a box is at a corner.
    Values that P does not join are tried by themselves. Beyond twelve together, y = m + d with |d| at most h gives
    y'Py at most m'Pm + 2 |Pm|'h + min(h'|P|h, h'h). The least: one value after the other is put where it leaves least,
    until nothing moves (a convex square in a box has no other resting place). Own algebra.

    Checked against: every corner, values drawn between the ends, a general bounded minimiser,
    tests/unit/numeric/test_square_ends.py.
    """
    x, lower, upper = (np.asarray(item, dtype=float) for item in (columns, low, high))
    faults = []
    if x.ndim != 2 or lower.shape != (len(x),) or upper.shape != lower.shape:
        shapes = f"shapes {x.shape}, {lower.shape} and {upper.shape}"
        raise ModelError(f"{shapes}: expected (n, p), (n,) and (n,).")
    if not (np.isfinite(x).all() and np.isfinite(lower).all() and np.isfinite(upper).all()):
        faults.append(Fault("columns and ends", "a number that is not finite", "finite numbers"))
    elif (lower > upper).any():
        at = int(np.argmax(lower > upper))
        faults.append(Fault(f"value {at + 1}", f"from {lower[at]:g} to {upper[at]:g}", "the lower end first"))
    raise_all(ModelError, "Ends that bound no values.", faults)
    middle = 0.5 * (lower + upper)
    # A constant in the model takes the level away; without it the level is kept.
    middle = middle - (middle[0] if contrasts.rank(x) == contrasts.rank(np.column_stack([x, np.ones(len(x))])) else 0.0)
    half = 0.5 * (upper - lower)
    basis = contrasts.spanned(x)
    left = np.eye(len(x)) - basis @ basis.T
    slope = left @ middle
    start = float(middle @ slope)
    more = sum(_greatest(left, slope, half, part) for part in _joined(left, np.flatnonzero(half > 0.0)))
    least, most = _least(left, slope, half, start), start + more
    # What the last digits leave of nought is nought.
    return SquareEnds(least if least > _NOUGHT * most else 0.0, most)


def _joined(left: Floats, open_: np.ndarray) -> list[np.ndarray]:
    """The open values in groups that the projection does not join."""
    rest, made = [int(at) for at in open_], []
    while rest:
        group = [rest.pop(0)]
        for at in group:
            near = [other for other in rest if abs(left[at, other]) > _NIL]
            rest = [other for other in rest if other not in near]
            group += near
        made.append(np.array(sorted(group)))
    return made


def _greatest(left: Floats, slope: Floats, half: Floats, part: np.ndarray) -> float:
    """How much the values of one group can add to the sum of squares at most."""
    own, reach, along = left[np.ix_(part, part)], half[part], slope[part]
    if len(part) > _MOST_TRIED:
        return 2.0 * float(np.abs(along) @ reach) + min(float(reach @ np.abs(own) @ reach), float(reach @ reach))
    corners = np.array(list(product((-1.0, 1.0), repeat=len(part)))) * reach
    return float((2.0 * corners @ along + np.einsum("ci,ij,cj->c", corners, own, corners)).max())


def _least(left: Floats, slope: Floats, half: Floats, start: float) -> float:
    """The least sum of squares: one value after the other put where it leaves least."""
    moved, along = np.zeros(len(half)), slope.copy()
    open_ = [int(at) for at in np.flatnonzero((half > 0.0) & (np.diag(left) > _NIL))]
    size = float(half.max(initial=0.0))
    for _ in range(_SWEEPS if open_ else 0):
        most = 0.0
        for at in open_:
            step = float(np.clip(moved[at] - along[at] / left[at, at], -half[at], half[at])) - moved[at]
            moved[at] += step
            along += step * left[:, at]
            most = max(most, abs(step))
        if most <= _NIL * size:
            break
    return max(start + 2.0 * float(moved @ slope) + float(moved @ left @ moved), 0.0)
