"""The columns and groups of a model with random units, and what stops it (strata that are not balanced)."""

from __future__ import annotations

import numpy as np

from toolkit.design import in_builds, units
from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.numeric import contrasts, mixed_layout
from toolkit.numeric.mixed_layout import Layout


def members(laid: Strata, recover: bool = False) -> dict[str, np.ndarray]:
    """Unit to the unit of each run, the coarsest first; builds among them where blocks are taken as random."""
    blocks = {"build": units.codes(laid.brief, laid.runs, "build")} if recover and laid.blocked else {}
    return {**blocks, **laid.members}


def columns_of(laid: Strata, recover: bool = False) -> np.ndarray:
    """The fixed columns: terms, then blocks (unless they are random) and covariates."""
    if not (recover and laid.blocked):
        return laid.full_columns
    return np.hstack([laid.columns, laid.block_columns[:, laid.build_columns.shape[1] :]])


def layout_of(laid: Strata, columns: np.ndarray, recover: bool = False) -> Layout:
    """The layout of these columns with every unit of several runs as a random term."""
    held = members(laid, recover)
    coarser = {unit: codes.tolist() for unit, codes in held.items() if unit != laid.finest}
    return mixed_layout.layout_of(columns, coarser)


def refuse(laid: Strata, recover: bool = False) -> None:
    """Stop where the scatter between units of one kind cannot be told from that of the next, or not at all."""
    rows, held, columns = len(laid.runs), members(laid, recover), columns_of(laid, recover)
    ranks, headline = contrasts.rank(columns), f"{laid.unbalanced or in_builds.layout(laid.brief)}, and"
    names = list(held)
    for unit, finer in zip(names, names[1:], strict=False):
        count = int(held[unit].max()) + 1
        name, many, within = units.NAMES[unit], units.PLURALS[unit], units.PLURALS[finer]
        if count == int(held[finer].max()) + 1:
            # Each holds one: with it new in every run, the run is the unit of what changes with it.
            anew = f" Or put '{unit}' into new_each_run: the run is then the unit." if finer == units.RUN else ""
            raise ModelError(
                f"{headline} no {name} holds two {within}, so the scatter between {many} cannot be told from that of "
                f"the {within}. Repeat {within} in at least one {name}.{anew}"
            )
        marks = np.eye(count)[held[unit]]
        full = contrasts.rank(np.hstack([columns, marks]))
        if full - ranks < 1:
            raise ModelError(
                f"{headline} the terms tell the {count} {many} apart completely, so nothing is left to judge what "
                f"changes with the {name}. Add a {name} of a level that has one, or declare an interaction nil."
            )
        ranks = full
    if rows - ranks < 1:
        raise ModelError(
            f"{headline} {rows} runs leave nothing to judge differences within {units.PLURALS[names[-2]]} by. "
            f"Repeat runs, or declare an interaction nil."
        )


def independent(columns: np.ndarray) -> np.ndarray:
    """Numbers of the columns that each say something the earlier ones do not."""
    if contrasts.rank(columns) == columns.shape[1]:
        return np.arange(columns.shape[1])
    kept: list[int] = []
    for at in range(columns.shape[1]):
        if contrasts.rank(columns[:, [*kept, at]]) > len(kept):
            kept.append(at)
    return np.array(kept)


def turned(into: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Contrasts of the terms as contrasts of the columns kept, fixed blocks among them left at nought."""
    padded = np.hstack([rows, np.zeros((len(rows), into.shape[1] - rows.shape[1]))])
    return np.linalg.lstsq(into.T, padded.T, rcond=None)[0].T
