"""Positions of one engine that hold parts of their own, such as its cylinders (rank 2).

A factor undone with the position has the position in a run as its unit: every run holds all its levels at once.
"""

from __future__ import annotations

from dataclasses import dataclass

POSITION = "position"
# Between the name of a factor and that of a position in the columns of a run table: ring@cyl 1.
AT = "@"


@dataclass(frozen=True)
class Positions:
    """The positions of one engine, by name; the stations of a response lie in them, dealt out in order.

    Attributes
    ----------
    names : tuple of str
        Such as cyl 1, cyl 2, cyl 3, cyl 4. Of 8 stations of a response the first two lie in the first position.
    """

    names: tuple[str, ...]


def column(factor: str, position: str) -> str:
    """The column of a run table that says which level of a factor a position held: 'ring@cyl 1'."""
    return f"{factor}{AT}{position}"
