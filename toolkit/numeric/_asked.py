"""The arguments of a promise, checked and opened to one line per plan.

May import numpy and the error classes; must not compute anything but what the arguments say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, SizingError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._quadrature import Floats, Pair

HEADLINE = "What the plan promises cannot be worked out."


@dataclass(frozen=True, eq=False)
class Asked:
    """The arguments after checking, one line per plan; ``testable`` tells where an interval can be stated."""

    shape: tuple[int, ...]
    delta: Floats
    margin: Floats
    parts: Floats
    df: Floats
    link: Floats
    testable: NDArray[np.bool_]
    widening: Floats


def _argument_faults(
    delta: ArrayLike, margin: ArrayLike, parts: Sequence[Pair], pilot: Sequence[Pair], alpha: float
) -> list[Fault]:
    """All that is wrong with the numbers, in their order."""
    faults = [*guards.finite("true gain", delta), *guards.positive("worthwhile change", margin)]
    for name, pairs in (("mean squares of the plan", parts), ("mean squares of the pilot", pilot)):
        if not 1 <= len(pairs) <= 3:
            faults.append(Fault(name, f"{len(pairs)} were given", "one to three"))
    for variance, df in parts:
        faults += guards.not_negative("unit variance", variance)
        faults += guards.not_negative("df of the plan", df, infinite=True)
    for square, df in pilot:
        faults += guards.positive("mean square of the pilot", square)
        faults += guards.positive("df of the pilot", df, infinite=True)
    return faults + guards.probability("alpha", alpha)


def _link(link: ArrayLike | None, parts: int, pilot: int) -> Floats:
    """The checked table that turns mean squares of the pilot into those of the plan."""
    if link is None:
        if parts == pilot:
            return np.eye(parts)
        found = "none was given"
    else:
        table = np.asarray(link, dtype=float)
        if table.ndim in (2, 3) and table.shape[-2:] == (parts, pilot):
            # No mean square of the pilot is below the next one, so these sums decide the sign.
            sums = np.cumsum(table, axis=-1)
            faults = guards.positive("link, sum of a row", sums[..., -1])
            if pilot > 1:
                faults = [*guards.not_negative("link, first column", sums[..., 0]), *faults]
            if pilot > 2:
                faults = [*guards.not_negative("link, first two columns together", sums[..., 1]), *faults]
            raise_all(SizingError, HEADLINE, faults)
            return table
        found = f"an array of shape {table.shape} was given"
    expected = f"a table of {parts} by {pilot} that turns mean squares of the pilot into those of the plan"
    raise SizingError(f"{HEADLINE}\n  {Fault('link', found, expected)}")


def asked_of(
    delta: ArrayLike,
    margin: ArrayLike,
    parts: Sequence[Pair],
    pilot: Sequence[Pair],
    alpha: float,
    link: ArrayLike | None,
    widening: ArrayLike = 1.0,
) -> Asked:
    """The arguments, checked and opened to one line per plan."""
    faults = [*_argument_faults(delta, margin, parts, pilot, alpha), *guards.positive("widening", widening)]
    raise_all(SizingError, HEADLINE, faults)
    table = _link(link, len(parts), len(pilot))
    given = [delta, margin, widening, *(number for pair in parts for number in pair)]
    opened = np.broadcast_arrays(*(np.asarray(number, dtype=float) for number in given))
    shape = opened[0].shape
    gain, edge, wider, *rest = (number.ravel() for number in opened)
    variance, df = np.stack(rest[0::2], axis=1), np.stack(rest[1::2], axis=1)
    raise_all(SizingError, HEADLINE, guards.positive("sum of the unit variances", variance.sum(axis=1)))
    if table.ndim == 3:
        table = np.broadcast_to(table, (*shape, *table.shape[-2:])).reshape(-1, *table.shape[-2:])
    else:
        table = table[None]
    testable = ((df >= 1.0) | (variance == 0.0)).all(axis=1)
    # A mean square without weight says nothing about the df; a plan without a test is settled by the mask.
    df = np.where((variance == 0.0) | (df < 1.0), np.inf, df)
    return Asked(shape, gain, edge, variance, df, table, testable, wider)
