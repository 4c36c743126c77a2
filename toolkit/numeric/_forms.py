"""Quadratic forms and sums of products of many rows, in pieces.

May import numpy. A product of the whole table would be spread over the cores, which for tables of this size costs more
than it brings, and far more where other processes want the cores too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# Multiplications in one piece: below what OpenBLAS gives to several threads.
_AT_ONCE = 100_000


def quadratic(rows: Floats, inner: Floats) -> Floats:
    """r' A r for each row, shape (rows,)."""
    size = max(1, _AT_ONCE // max(inner.size, 1))
    pieces = [rows[at : at + size] for at in range(0, len(rows), size)]
    return np.concatenate([np.zeros(0), *(((piece @ inner) * piece).sum(axis=1) for piece in pieces)])


def products(rows: Floats, share: Floats) -> Floats:
    """The sum of share r r' over the rows, shape (columns, columns)."""
    size = max(1, _AT_ONCE // max(rows.shape[1] ** 2, 1))
    found = np.zeros((rows.shape[1], rows.shape[1]))
    for at in range(0, len(rows), size):
        piece = rows[at : at + size]
        found += piece.T @ (piece * share[at : at + size, None])
    return found
