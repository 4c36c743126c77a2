"""The fewest runs of a new block that tell again what lost or missing runs left untold (rank 3)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.design import base, strata
from toolkit.design.strata import Strata
from toolkit.errors import DesignError
from toolkit.numeric import contrasts

_NEW = "make-up runs"


def lines(laid: Strata) -> tuple[dict[str, str], ...]:
    """The combinations to run in a new block, the one that ties it to the runs made first; none where nothing lacks.

    Parameters
    ----------
    laid : Strata
        Of the runs that count, as run; no factor kept over several runs.

    Returns
    -------
    tuple of dict
        One combination that was run already, then those that were not, as many as the model lacks in rank: the first
        run of a new block tells nothing but the block. Fewer where the missing combinations do not tell it all.

    Notes
    -----
    The tying run is the one that leaves the variances of the model's terms, summed, smallest.

    Checked against: ranks by numpy alone, tests/unit/design/test_make_up.py.
    """
    brief = laid.brief
    if laid.plots or "build_id" not in laid.runs:
        return ()
    full = laid.full_columns
    if contrasts.rank(full) == full.shape[1]:
        return ()
    names = list(brief.factor_names)
    had = set(laid.runs[names].itertuples(index=False, name=None))
    missing = [line for line in base.lines(brief) if line not in had]
    best: tuple[float, list[tuple[str, ...]]] | None = None
    for tie in sorted(had):
        chosen, rank = [tie], _rank(laid, [tie])
        for line in missing:
            more = _rank(laid, [*chosen, line])
            if more > rank:
                chosen, rank = [*chosen, line], more
        loss = _loss(laid, chosen)
        if len(chosen) > 1 and (best is None or loss < best[0] - 1e-9):
            best = (loss, chosen)
    return () if best is None else tuple(dict(zip(names, line, strict=True)) for line in best[1])


def _with(laid: Strata, chosen: list[tuple[str, ...]]) -> np.ndarray:
    """The columns of the runs made and those chosen, in a block of their own."""
    names = list(laid.brief.factor_names)
    added = pd.DataFrame(chosen, columns=names).assign(build_id=_NEW)
    runs = pd.concat([laid.runs[["build_id", *names]], added], ignore_index=True)
    brief = laid.brief
    if not laid.blocked:
        brief = replace(brief, block_by="build")
        runs["build_id"] = [*["made"] * len(laid.runs), *[_NEW] * len(added)]
    try:
        return strata.of_runs(brief, runs).full_columns
    except DesignError:
        return laid.full_columns


def _rank(laid: Strata, chosen: list[tuple[str, ...]]) -> int:
    """The rank of the model over them."""
    return contrasts.rank(_with(laid, chosen))


def _loss(laid: Strata, chosen: list[tuple[str, ...]]) -> float:
    """What is not told counts most, then the variances of what is."""
    columns = _with(laid, chosen)
    lacking = columns.shape[1] - contrasts.rank(columns)
    inverse = np.linalg.pinv(columns.T @ columns, rcond=1e-10, hermitian=True)
    return 1e6 * lacking + float(np.trace(inverse[: laid.columns.shape[1], : laid.columns.shape[1]]))
