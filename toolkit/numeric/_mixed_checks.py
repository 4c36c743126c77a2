"""What is wrong with the columns and groups handed to a linear mixed model, told before anything is fitted.

Each function gives back a list of faults, empty when all is well. May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import numpy as np

from toolkit.errors import Fault
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats, basis_of
from toolkit.numeric._folding import Codes

RESIDUAL = "residual"
# As alike as this, two sources of scatter cannot be told apart; as little as this left, the fixed columns explain one.
_NOT_APART = 1e-8


def of_columns(given: Floats) -> list[Fault]:
    """What is wrong with the fixed columns."""
    where = "fixed columns"
    if given.ndim != 2:
        return [Fault(where, f"an array of {given.ndim} dimensions was given", "two dimensions, rows by columns")]
    rows, count = given.shape
    faults = guards.finite(where, given)
    if faults or count == 0:
        return faults or [Fault(where, "none was given", "at least the constant")]
    if rows < count + 2:
        remedy = "Leave out terms, or add runs."
        return [Fault(where, f"{rows} rows for {count} columns", f"at least {count + 2} rows", remedy)]
    known, repeated = 0, []
    if len(basis_of(given).sizes) < count:
        for number in range(1, count + 1):
            rank = len(basis_of(given[:, :number]).sizes)
            if rank == known:
                repeated.append(str(number))
            known = rank
    if not repeated:
        return []
    one = len(repeated) == 1
    found = f"column{'' if one else 's'} {', '.join(repeated)} {'is a sum' if one else 'are sums'} of those before"
    return [Fault(where, found, "columns that each say something of their own", "Leave out what is aliased.")]


def of_response(given: Floats, rows: int) -> list[Fault]:
    """What is wrong with one response."""
    if given.shape != (rows,):
        return [Fault("response", f"an array of shape {given.shape} was given", f"{rows} values, one a row")]
    return guards.finite("response", given)


def of_variances(given: Floats, sources: int) -> list[Fault]:
    """What is wrong with stated variances, the residual last."""
    if given.ndim == 0 or given.shape[-1] != sources:
        found = f"an array of shape {given.shape} was given"
        return [Fault("variances", found, f"{sources} in the last axis, one a source of scatter")]
    return guards.not_negative("variances", given) or guards.positive("residual variance", given[..., -1])


def of_groups(name: str, values: Sequence[Hashable], rows: int, coded: Mapping[str, Codes]) -> list[Fault]:
    """What is wrong with the groups of one term."""
    where = f"random term '{name}'"
    if name == RESIDUAL:
        return [Fault(where, "the name is taken by what is left of each row", "another name")]
    if len(values) != rows:
        return [Fault(where, f"{len(values)} rows were given", f"{rows}, as in the fixed columns")]
    missing = [at for at, value in enumerate(values, 1) if value is None or value != value]
    if missing:
        more = f" (and {len(missing) - 1} more)" if len(missing) > 1 else ""
        return [Fault(where, f"row {missing[0]}{more} has no group", "a group in every row")]
    count = len(set(coded[name].tolist()))
    if count == 1:
        return [Fault(where, "all rows are in one group", "two groups or more", "Leave the term out.")]
    if count == rows:
        remedy = "Leave the term out: its scatter is in the residual."
        return [Fault(where, "every row is a group of its own", "groups of several rows", remedy)]
    for other in list(coded)[: list(coded).index(name)]:
        if np.array_equal(coded[other], coded[name]):
            return [Fault(where, f"its groups are those of '{other}'", "groups of its own", "Leave one of them out.")]
    return []


def not_apart(names: Sequence[str], spread: Floats, design: Floats, rest_df: int) -> list[Fault]:
    """Sources of scatter that these rows cannot tell apart, from the fixed columns or from each other."""
    count, p = len(spread), design.shape[2]
    every = spread.reshape(count, -1)
    on_design = np.matmul(spread, design).reshape(count, -1, p)
    projected = np.matmul(design.reshape(-1, p).T, on_design).reshape(count, -1)
    on_design = on_design.reshape(count, -1)
    products = every @ every.T
    products[-1, -1] += rest_df
    # tr(M V M V) of each pair, M the projection beside the fixed columns.
    alike = products - 2.0 * on_design @ on_design.T + projected @ projected.T
    own = np.diagonal(alike)
    where = "random term '{}'".format
    faults = []
    for name, value, full in zip(names, own, np.diagonal(products), strict=True):
        if value <= _NOT_APART * full:
            remedy = "Leave out the term, or the fixed columns that name its groups."
            faults.append(Fault(where(name), "the fixed columns explain all of it", "scatter that is left", remedy))
    if faults:
        return faults
    root = np.sqrt(own)
    sizes, mixtures = np.linalg.eigh(alike / root[:, None] / root[None, :])
    if sizes[0] > _NOT_APART:
        return []
    told = [name for name, share in zip(names, mixtures[:, 0], strict=True) if abs(share) > 0.01]
    found = f"the scatter of {' and '.join(repr(name) for name in told)} cannot be told apart in these rows"
    return [Fault("random terms", found, "repeats that tell them apart", "Leave one of them out.")]
