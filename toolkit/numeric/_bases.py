"""Orthonormal bases of the columns of a model, by rank and independent of units.

May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Directions shorter than this share of the longest one (columns at equal length) count as aliased: far above
# rounding (1e-15), far below the cube of a setting held within 1 % of its mean (1e-6).
_ALIASED = 1e-10
# A comparison is estimable when less than this share of its length lies outside what the design can tell.
OUTSIDE = 1e-7


@dataclass(frozen=True, eq=False)
class Basis:
    """Columns at equal length taken apart: X = left @ diag(sizes) @ right / scale, by rank."""

    left: Floats
    sizes: Floats
    right: Floats
    scale: Floats


def basis_of(matrix: Floats) -> Basis:
    """The orthonormal bases of a matrix; columns of zeros are kept and count for nothing."""
    length = np.sqrt((matrix**2).sum(axis=0))
    scale = np.where(length > 0.0, 1.0 / np.where(length > 0.0, length, 1.0), 1.0)
    left, sizes, right = np.linalg.svd(matrix * scale, full_matrices=False)
    kept = sizes > _ALIASED * sizes.max(initial=0.0)
    return Basis(left[:, kept], sizes[kept], right[kept], scale)


def outside(basis: Floats, values: Floats) -> Floats:
    """What is left of the values beside a basis; a second pass takes out what rounding left in."""
    for _ in range(2):
        values = values - basis @ (basis.T @ values)
    return values


def shift_of(response: Floats, left: Floats) -> float:
    """What to take off the response before summing: its first value when a constant is in the model."""
    ones = np.ones(len(response))
    constant = np.linalg.norm(outside(left, ones)) <= OUTSIDE * np.sqrt(len(response))
    return float(response[0]) if constant and len(response) else 0.0
