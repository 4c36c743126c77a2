"""Rows folded into cells, cells into blocks, and blocks turned so that few numbers carry their scatter.

Rows that share all their groups make one cell: only the sum of a cell meets the scatter between groups. Cells that
share any group, directly or over others, make one block. Where the terms of every block can be brought to diagonal
form together (balanced nested or crossed layouts, one term alone), each coordinate stands alone.

May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
# Shares below these count as rounding: directions in which a block does not scatter, and what is left beside the
# diagonal.
_NO_DIRECTION = 1e-10
_DIAGONAL = 1e-11


@dataclass(frozen=True, eq=False)
class Folding:
    """How rows become cells, cells places in blocks, and blocks turned coordinates.

    Attributes
    ----------
    cell : ndarray of int, shape (rows,)
    root : ndarray, shape (cells,)
        Square root of the rows in a cell.
    block, slot : ndarray of int, shape (cells,)
    turn : ndarray, shape (blocks, most cells of a block, most coordinates of a block)
        Orthonormal columns.
    used : ndarray of bool, shape (blocks, most coordinates of a block)
        False where a smaller block is filled up.
    """

    cell: Codes
    root: Floats
    block: Codes
    slot: Codes
    turn: Floats
    used: NDArray[np.bool_]

    def fold(self, values: Floats) -> Floats:
        """Coordinates of row values, shape (sets, rows) to (sets, blocks, coordinates)."""
        order, starts = self._order
        placed = np.zeros((len(values), *self.turn.shape[:2]))
        placed[:, self.block, self.slot] = np.add.reduceat(values[:, order], starts, axis=1) / self.root
        return np.matmul(placed.transpose(1, 0, 2), self.turn).transpose(1, 0, 2)

    @cached_property
    def _order(self) -> tuple[Codes, Codes]:
        """Rows sorted by cell, and where each cell starts."""
        order = np.argsort(self.cell, kind="stable")
        return order, np.flatnonzero(np.diff(self.cell[order], prepend=-1))

    def unfold(self, coordinates: Floats) -> Floats:
        """The row values that coordinates stand for, shape (sets, blocks, coordinates) to (sets, rows)."""
        back = np.matmul(coordinates.transpose(1, 0, 2), self.turn.transpose(0, 2, 1)).transpose(1, 0, 2)
        return (back[:, self.block, self.slot] / self.root)[:, self.cell]


def fold(codes: Codes) -> tuple[Folding, Floats, bool]:
    """The folding of rows whose groups are ``codes``, shape (terms, rows).

    Returns
    -------
    folding : Folding
    spread : ndarray, shape (terms, blocks, coordinates, coordinates)
        Z Z' of each term in the turned coordinates of each block.
    alone : bool
        True when ``spread`` is diagonal for every term and block.
    """
    key = codes[0]
    for further in codes[1:]:
        # Numbers stay below rows squared, however many terms there are.
        key = np.unique(key * (int(further.max()) + 1) + further, return_inverse=True)[1]
    _, first, cell, counts = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    kinds = codes[:, first]
    root = np.sqrt(counts.astype(float))
    block = _joined(kinds)
    sizes = np.bincount(block)
    order = np.argsort(block, kind="stable")
    slot = np.empty(len(block), dtype=np.intp)
    slot[order] = np.arange(len(block)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    width = int(sizes.max())
    group = np.full((len(codes), len(sizes), width), -1, dtype=np.intp)
    group[:, block, slot] = kinds
    weight = np.zeros((len(sizes), width))
    weight[block, slot] = root
    spread = (group[:, :, :, None] == group[:, :, None, :]) * (weight[:, :, None] * weight[:, None, :])
    turn, used, turned, alone = _turned(spread, np.arange(width) < sizes[:, None])
    return Folding(cell, root, block, slot, turn, used), turned, alone


def _joined(kinds: Codes) -> Codes:
    """The block of each cell, shape (terms, cells) to (cells,)."""
    label = np.arange(kinds.shape[1])
    while True:
        before = label
        for groups in kinds:
            lowest = np.full(groups.max() + 1, kinds.shape[1])
            np.minimum.at(lowest, groups, label)
            label = lowest[groups]
        if np.array_equal(before, label):
            return np.unique(label, return_inverse=True)[1].reshape(-1)


def _turned(spread: Floats, real: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_], Floats, bool]:
    """Directions in which the blocks scatter, which of them are in use, Z Z' in them, and whether it is diagonal."""
    width = spread.shape[-1]
    # Any sum with positive weights that are no simple ratios: terms that can be diagonal together are so in its
    # eigenvectors.
    scale = 1.0 / np.maximum(spread.max(axis=(1, 2, 3)), 1e-300)
    mixed = np.einsum("i,ibrs->brs", scale * np.sqrt(np.array(_PRIMES[: len(spread)], dtype=float)), spread)
    sizes, directions = np.linalg.eigh(mixed)
    used = sizes > _NO_DIRECTION * sizes.max()
    turned = np.matmul(directions.transpose(0, 2, 1), np.matmul(spread, directions))
    beside = np.abs(turned * (1.0 - np.eye(width))).max(initial=0.0, axis=(1, 2, 3)) * scale
    alone = bool((beside <= _DIAGONAL).all())
    most = int(used.sum(axis=1).max())
    if not alone and most == width:
        return np.broadcast_to(np.eye(width), (len(real), width, width)), real, spread, False
    # The largest eigenvalues come last.
    directions, used, turned = (
        directions[:, :, width - most :],
        used[:, width - most :],
        turned[:, :, width - most :, width - most :],
    )
    turned = turned * (used[:, :, None] & used[:, None, :])
    if alone:
        floor = _NO_DIRECTION * turned.max(axis=(1, 2, 3), keepdims=True)
        turned = np.where(turned > floor, turned, 0.0) * np.eye(most)
    return directions * used[:, None, :], used, turned, alone


_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37)
