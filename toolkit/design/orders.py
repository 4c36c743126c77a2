"""Run orders: randomised within what the shop can do, from a stated seed, with what drift could do to them (rank 3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import PHASES
from toolkit.design import in_builds, latin, order_sets, positions, strata, units
from toolkit.design.design import Design
from toolkit.design.followed import weights_of
from toolkit.design.order_sets import OrderSet
from toolkit.numeric import drift

# Columns of ``correlations``, in the order of ``numeric.drift.TRENDS``.
CORRELATIONS = ("with_run_order", "within_builds", "with_square", "square_within_builds")
# A comparison that goes with the order of the runs by less than this hardly moves with a drift.
ALONG = 0.2
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
    limited : OrderSet or None
        The orders that it was drawn from, where the brief limits how closely comparisons may follow the run order.
    """

    design: Design
    seed: int
    drawn: str
    _runs: pd.DataFrame
    _drift: pd.DataFrame
    limited: OrderSet | None = None

    @property
    def table(self) -> pd.DataFrame:
        """One row a run in planned order: run_id, phase, build_id, the kept part and fill, planned_order, replicate,
        factor levels."""
        return self._runs.copy()

    @property
    def drift(self) -> pd.DataFrame:
        """One row a comparison: comparison, correlation with run order over the campaign and within builds, then with
        its square.

        The correlation is that of the weights the comparison puts on the runs with their position; 0 means that a
        steady drift (or one that bends, once what is straight in it is taken out) does not touch it, 1 or -1 that it
        cannot be told from drift.
        """
        return self._drift.copy()

    def __repr__(self) -> str:
        """What was drawn, and the runs in planned order."""
        return f"{self.design.name}; {self.drawn}, seed {self.seed}\n{self.table.to_string(index=False)}"


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
    them, their runs within them. (Textbook restricted randomisation.) Where the brief has limits ([order]) every order
    within them has the same chance, and no other has any.

    Raises
    ------
    DesignError
        As ``order_sets.of_design``.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.design import factorial
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> order = randomise(factorial.full(brief, builds=2), seed=brief.seed)
    >>> order.table[["run_id", "build_id", "factor_a", "factor_b"]].head(2).values.tolist()
    [['R01', 'B1', 'A1', 'B0'], ['R02', 'B1', 'A0', 'B0']]
    """
    limited = order_sets.of_design(design)
    if limited is not None:
        return _within_limits(design, seed, limited)
    draw = np.random.default_rng([seed, PHASES.index(design.phase)])
    runs = design.table
    layout, kept = design.strata.of_builds, units.kept(design.brief)
    if layout == strata.WHOLE_PLOTS:
        names = list(dict.fromkeys(runs["build_id"]))
        shuffled = [names[at] for at in draw.permutation(len(names))]
        runs["build_id"] = runs["build_id"].map(dict(zip(shuffled, names, strict=True)))
        runs = runs.sort_values("build_id", key=lambda ids: ids.map(names.index), kind="stable")
    drawn = _drawn(design)
    pieces = []
    # The order within builds of a Latin square was drawn with it.
    placed = latin.used(design.brief) and design.phase != "pilot"
    for _, part in runs.groupby("build_id", sort=False):
        pieces.append(part if placed else _permuted(part, [units.COLUMNS[unit] for unit in kept], draw))
    ordered = pd.concat(pieces, ignore_index=True)
    for name in (units.COLUMNS[unit] for unit in kept):
        ordered[name] = _renumbered(ordered, name)
    numbered, followed = _numbered(design, ordered, seed)
    if by_position.divided(design.brief):
        # The layout was one of those that could be drawn: its strata are those of the draw from here on.
        design = replace(design, strata=strata.of_runs(design.brief, numbered))
    return Order(design, seed, drawn, numbered, followed)


def _within_limits(design: Design, seed: int, limited: OrderSet) -> Order:
    """An order drawn from those within the limits of the brief."""
    kept = units.kept(design.brief)
    runs = design.table
    names = list(dict.fromkeys(runs["build_id"]))
    ordered = runs.iloc[limited.draw(seed)].reset_index(drop=True)
    # Builds are named in the order in which they are built.
    came = dict.fromkeys(ordered["build_id"])
    ordered["build_id"] = ordered["build_id"].map(dict(zip(came, names, strict=True)))
    for name in (units.COLUMNS[unit] for unit in kept):
        ordered[name] = _renumbered(ordered, name)
    drawn = f"{_drawn(design)}, one of the {limited.told} such orders that keep the limits of [order]"
    return Order(design, seed, drawn, *_numbered(design, ordered, seed), limited)


def _numbered(design: Design, ordered: pd.DataFrame, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The run list with run_id, phase and planned_order, and how its comparisons follow it."""
    width = max(2, len(str(len(ordered))))
    ordered.insert(0, "run_id", [f"{_PREFIX[design.phase]}{at + 1:0{width}d}" for at in range(len(ordered))])
    ordered.insert(1, "phase", design.phase)
    ordered.insert(3 + len(units.kept(design.brief)), "planned_order", np.arange(1, len(ordered) + 1))
    if by_position.divided(design.brief):
        ordered = positions.drawn(design.brief, ordered, seed=seed)
    return ordered, correlations(design, ordered)


def _drawn(design: Design) -> str:
    """What is drawn at random, in words."""
    beside = f"; {positions.DRAWN}" if by_position.divided(design.brief) else ""
    return f"{_of_runs(design)}{beside}"


def _of_runs(design: Design) -> str:
    """What is drawn of the runs, in words."""
    own = in_builds.drawn(design.brief)
    if own and design.phase != "pilot":
        return own
    several = design.builds > 1
    layout, kept = design.strata.of_builds, units.kept(design.brief)
    first = "build-level combinations allotted to builds at random, then " if layout == strata.WHOLE_PLOTS else ""
    if kept:
        levels = [*(units.PLURALS[unit] for unit in kept), "runs"]
        inside = f"in each build {levels[0]}" if several else levels[0]
        within = [f"{finer} at random within {coarser}" for coarser, finer in zip(levels, levels[1:], strict=False)]
        return f"{first}{inside} at random, {', '.join(within)}"
    if first:
        return f"{first}the runs within each build at random"
    return "the runs within each build at random" if several or layout == strata.BLOCKS else "all runs at random"


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
        comparison, with_run_order, within_builds, with_square, square_within_builds (null where a comparison is not
        estimable, or constant in builds, or where there are too few places for a bend).
    """
    laid = strata.of_runs(design.brief, ordered)
    weights = weights_of(laid)
    builds = np.unique(laid.runs["build_id"].astype(str), return_inverse=True)[1]
    shapes = drift.trends(laid.runs["planned_order"].to_numpy(dtype=float), builds)
    found = drift.correlations(np.nan_to_num(weights), shapes, builds)
    rows = [
        {"comparison": comparison.name, **dict(zip(CORRELATIONS, _told(found[:, at], weights[:, at]), strict=True))}
        for at, comparison in enumerate(design.brief.comparisons)
    ]
    return pd.DataFrame(rows, columns=["comparison", *CORRELATIONS])


def _told(found: np.ndarray, weights: np.ndarray) -> list[float | None]:
    """The correlations of one comparison; None where there is none."""
    return [None if np.isnan(value) or np.isnan(weights).any() else float(value) for value in found]
