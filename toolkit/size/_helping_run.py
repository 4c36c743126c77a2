"""Which run would let a question be answered that the runs cannot answer (rank 5)."""

from __future__ import annotations

import numpy as np

from toolkit.design import base
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.numeric import one_more

NOT_ESTIMABLE = "not estimable in this design"


def not_estimable(laid: Strata, row: np.ndarray) -> str:
    """That a contrast cannot be told from these runs, and the run that would help most."""
    brief, width = laid.brief, laid.block_columns.shape[1]
    names = brief.factor_names
    combinations = [dict(zip(names, levels, strict=True)) for levels in base.lines(brief)]
    cells = np.array([model_terms.row(brief, laid.terms, levels) for levels in combinations])
    builds = list(dict.fromkeys(laid.runs["build_id"].astype(str))) if laid.blocked else [""]
    beside = np.array([_block(laid, build) for build in builds]).reshape(len(builds), width)
    candidates = np.hstack([np.tile(cells, (len(builds), 1)), np.repeat(beside, len(cells), axis=0)])
    full = np.concatenate([row, np.zeros(width)])
    found = one_more.one_more(laid.full_columns, full[None, :], candidates).variance[:, 0]
    if not np.isfinite(found).any():
        return f"{NOT_ESTIMABLE}, and no single run more would tell it"
    best = int(np.argmin(np.round(found, 9)))
    levels = ", ".join(f"{name} {level}" for name, level in combinations[best % len(cells)].items())
    where = f" in build {builds[best // len(cells)]}" if laid.blocked else ""
    return f"{NOT_ESTIMABLE}; a run of {levels}{where} would tell it"


def _block(laid: Strata, build: str) -> np.ndarray:
    """The block columns of a further run in a build, covariates at their reference values."""
    made = np.zeros(laid.block_columns.shape[1])
    if build:
        at = int(np.flatnonzero(laid.runs["build_id"].astype(str).to_numpy() == build)[0])
        blocks = len(made) - len(laid.covariates)
        made[:blocks] = laid.block_columns[at, :blocks]
    return made
