"""Columns that leave something of the runs, as an orthonormal basis. May import numpy and the error classes."""

from __future__ import annotations

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric._bases import Floats, basis_of


def basis_beside(columns: Floats, headline: str) -> Floats:
    """An orthonormal basis of columns that leave one degree of freedom or more.

    Raises
    ------
    ModelError
        Under this headline, when they leave none.
    """
    basis = basis_of(columns).left
    taken = basis.shape[1]
    if taken >= len(columns):
        found = f"{taken} of {len(columns)} degrees of freedom taken out"
        raise_all(ModelError, headline, [Fault("columns", found, "one or more left")])
    return basis
