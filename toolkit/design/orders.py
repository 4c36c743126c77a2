"""Run orders: randomised within what the shop can do, from a stated seed, with what drift could do to them (rank 3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import PHASES
from toolkit.design import questions, strata, units
from toolkit.design.design import Design

_PREFIX = {"pilot": "P", "main": "R", "extension": "E"}


@dataclass(frozen=True, eq=False)
class Order:
    """A design put in order.

    Attributes
    ----------
    design : Design
    seed : int
        The seed of the brief the draw followed from.
    drawn : str
        What was randomised, in words.
    """

    design: Design
    seed: int
    drawn: str
    _runs: pd.DataFrame
    _drift: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """One row a run in planned order: run_id, phase, build_id, the kept part and fill, planned_order, replicate,
        factor levels."""
        return self._runs.copy()

    @property
    def drift(self) -> pd.DataFrame:
        """One row a comparison: comparison, correlation with run order over the campaign, and within builds.

        The correlation is that of the weights the comparison puts on the runs with their position; 0 means that a
        steady drift does not touch it, 1 or -1 that it cannot be told from drift.
        """
        return self._drift.copy()


def randomise(design: Design, *, seed: int) -> Order:
    """Run order drawn at random within the restrictions of the design.

    Parameters
    ----------
    design : Design
    seed : int
        No default: the same seed gives the same order, another phase of the same campaign gets its own draw.

    Returns
    -------
    Order

    Notes
    -----
    Completely randomised: all runs are permuted. Complete blocks: the runs of each build are permuted, builds stay
    in the order they are built. Whole plots: the build-level combinations are allotted to builds at random, then
    the runs of each build are permuted. Parts and fills that are kept over several runs are permuted within what holds
    them, their runs within them. (Textbook restricted randomisation.)
    """
    draw = np.random.default_rng([seed, PHASES.index(design.phase)])
    runs = design.table
    layout, kept = design.strata.of_builds, units.kept(design.brief)
    if layout == strata.WHOLE_PLOTS:
        names = list(dict.fromkeys(runs["build_id"]))
        shuffled = [names[at] for at in draw.permutation(len(names))]
        runs["build_id"] = runs["build_id"].map(dict(zip(shuffled, names, strict=True)))
        runs = runs.sort_values("build_id", key=lambda ids: ids.map(names.index), kind="stable")
        drawn = "build-level combinations allotted to builds at random, then the runs within each build at random"
    elif layout == strata.BLOCKS or runs["build_id"].nunique() > 1:
        drawn = "the runs within each build at random"
    else:
        drawn = "all runs at random"
    if kept:
        levels = [*(units.PLURALS[unit] for unit in kept), "runs"]
        inside = f"in each build {levels[0]}" if runs["build_id"].nunique() > 1 else levels[0]
        within = [f"{finer} at random within {coarser}" for coarser, finer in zip(levels, levels[1:], strict=False)]
        first = "build-level combinations allotted to builds at random, then " if layout == strata.WHOLE_PLOTS else ""
        drawn = f"{first}{inside} at random, {', '.join(within)}"
    pieces = []
    for _, part in runs.groupby("build_id", sort=False):
        pieces.append(_permuted(part, [units.COLUMNS[unit] for unit in kept], draw))
    ordered = pd.concat(pieces, ignore_index=True)
    for name in (units.COLUMNS[unit] for unit in kept):
        ordered[name] = _renumbered(ordered, name)
    width = max(2, len(str(len(ordered))))
    ordered.insert(0, "run_id", [f"{_PREFIX[design.phase]}{at + 1:0{width}d}" for at in range(len(ordered))])
    ordered.insert(1, "phase", design.phase)
    ordered.insert(3 + len(kept), "planned_order", np.arange(1, len(ordered) + 1))
    return Order(design, seed, drawn, ordered, correlations(design, ordered))


def _permuted(part: pd.DataFrame, kept: Sequence[str], draw: np.random.Generator) -> pd.DataFrame:
    """Runs in random order, those of one unit together: its units at random, and so on within each."""
    if not kept:
        return part.iloc[draw.permutation(len(part))]
    inside = [_permuted(one, kept[1:], draw) for _, one in part.groupby(kept[0], sort=False)]
    return pd.concat([inside[at] for at in draw.permutation(len(inside))])


def _renumbered(ordered: pd.DataFrame, name: str) -> list[str]:
    """The numbers of kept units within builds in the order in which they are set up."""
    held: dict[str, dict[str, int]] = {}
    found = []
    for build, label in zip(ordered["build_id"], ordered[name], strict=True):
        inside = held.setdefault(str(build), {})
        found.append(str(inside.setdefault(str(label), len(inside) + 1)))
    return found


def as_listed(design: Design, runs: pd.DataFrame, *, seed: int, drawn: str) -> Order:
    """An order that was drawn before, from its run list.

    Parameters
    ----------
    design : Design
    runs : DataFrame
        run_id, phase, build_id, planned_order, replicate and factor levels, in planned order. It may hold runs beside
        those of the design, such as lost ones; the correlations are those of the design's own.
    seed : int
    drawn : str
        What was drawn, in words.
    """
    own = runs[runs["run_id"].isin(design.table["run_id"])].reset_index(drop=True)
    return Order(design, seed, drawn, runs.reset_index(drop=True), correlations(design, own))


def correlations(design: Design, ordered: pd.DataFrame) -> pd.DataFrame:
    """How far each comparison follows the calendar: its correlation with run order, in the campaign and in builds.

    Parameters
    ----------
    design : Design
    ordered : DataFrame
        Runs with planned_order, build_id and factor levels, in order.

    Returns
    -------
    DataFrame
        comparison, with_run_order, within_builds (null where a comparison is not estimable or constant in builds).
    """
    laid = strata.of_runs(design.brief, ordered)
    full = laid.full_columns
    inverse = np.linalg.pinv(full.T @ full, rcond=1e-10, hermitian=True)
    position = ordered["planned_order"].to_numpy(dtype=float)
    builds = ordered["build_id"].to_numpy()
    rows = []
    for comparison in design.brief.comparisons:
        asked = questions.of_comparison(design.brief, comparison, laid.terms)
        row: dict[str, object] = {"comparison": comparison.name, "with_run_order": None, "within_builds": None}
        if laid.estimable(asked.row):
            weights = full @ inverse @ np.concatenate([asked.row, np.zeros(full.shape[1] - len(asked.row))])
            row["with_run_order"] = _correlation(weights, position)
            row["within_builds"] = _correlation(_within(weights, builds), _within(position, builds))
        rows.append(row)
    return pd.DataFrame(rows, columns=["comparison", "with_run_order", "within_builds"])


def _within(values: np.ndarray, builds: np.ndarray) -> np.ndarray:
    """Values less the mean of their build."""
    return values - pd.Series(values).groupby(builds).transform("mean").to_numpy()


def _correlation(one: np.ndarray, other: np.ndarray) -> float | None:
    """The correlation of two columns; None when one of them is constant."""
    one, other = one - one.mean(), other - other.mean()
    size = float(np.sqrt((one @ one) * (other @ other)))
    found = float(one @ other / size) if size > 1e-9 else None
    # Rounding leaves 1e-17 where the two have nothing in common.
    return 0.0 if found is not None and abs(found) < 1e-12 else found
