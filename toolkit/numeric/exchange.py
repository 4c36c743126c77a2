"""Optimal designs by exchange: many starts, then the best one kicked and repaired.

May import numpy and the error classes. The same seed gives the same design.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import optimality
from toolkit.numeric._exchange_state import GAIN, State
from toolkit.numeric.exchange_model import Floats, Levels, Space

CRITERIA = ("D", "A", "I")
# The moments of the region are taken over so many combinations where all of them are too many to list.
_SAMPLED = 4000
# Whole plots are drawn so often before a start is given up where much is forbidden.
_TRIES = 200
# Of more runs kicked at a time the repair mostly falls back to the same design.
_MOST_KICKED = 5
# Where so many starts, and no other one, ended at designs of the same worth, no better one is looked for.
_AGREED = 5
_KICKS, _KICKS_OF_PLOTS, _PLOTS_KICKED = 20, 30, 0.8
_REACHED = 100.0 - 1e-6


@dataclass(frozen=True, eq=False)
class Plots:
    """Whole plots of one kind: units that keep the levels of hard-to-change axes over several runs.

    Attributes
    ----------
    codes : tuple of int
        The plot of each run.
    axes : tuple of int
        The axes that can change from plot to plot only.
    ratio : float
        Variance between such plots over that between runs within them; 0 or more.
    """

    codes: tuple[int, ...]
    axes: tuple[int, ...]
    ratio: float = 1.0


@dataclass(frozen=True, eq=False)
class Found:
    """The best design of a search.

    Attributes
    ----------
    levels : ndarray of int, shape (runs, axes)
        Runs held fixed first, as they were given.
    criterion : str
        D, A or I.
    efficiency : float
        Per cent of the design measure that no design of any number of runs can beat (``optimality.bound``), runs taken
        as independent and without blocks; 100 cannot be exceeded.
    d_efficiency : float
        100 |X'WX|^(1/p) / runs, W the inverse of the runs' variance in units of that within plots; with numbers from -1
        to 1 and contrasts of mean square 1, 100 is an orthogonal design at the ends.
    slip : float
        The largest relative error of an updated inverse against a fresh one.
    starts, kicks : int
        How many were made.
    """

    levels: Levels
    criterion: str
    efficiency: float
    d_efficiency: float
    slip: float
    starts: int
    kicks: int


def search(
    space: Space,
    runs: int,
    *,
    seed: int | Sequence[int],
    criterion: str = "D",
    blocks: Sequence[int] | None = None,
    plots: Sequence[Plots] = (),
    fixed: ArrayLike | None = None,
    tied: Sequence[Sequence[int]] = (),
    starts: int = 10,
    kicks: int | None = None,
    progress: Callable[[int, int, float], None] | None = None,
) -> Found:
    """Give back the best design found for a model, a number of runs and a criterion.

    Parameters
    ----------
    space : Space
        Axes, terms, and what is allowed.
    runs : int
        Runs in all, those held fixed among them.
    seed : int or sequence of int
        No default.
    criterion : str
        D: the determinant of the information largest. A: the mean variance of the coefficients smallest. I: the mean
        variance of prediction over the allowed combinations smallest.
    blocks : sequence of int, optional
        The block of each run; effects are told within blocks (fixed).
    plots : sequence of Plots
        Whole plots, the coarser first; runs are judged by generalised least squares at the stated ratio.
    fixed : array_like of int, shape (fixed runs, axes), optional
        Runs made already: the first ones, left as they are. They need not be allowed.
    tied : sequence of sequence of int
        Numbers of runs that repeat each other (same block, same plots): repeat points, for an error of their own.
    starts : int
        Random starts, each improved by exchange and then kicked.
    kicks : int, optional
        Kicks without a gain, after which a start is left (20; with whole plots 30): a few runs of its best design are
        drawn anew, the design is repaired by exchange, and kept if it is no worse.
    progress : callable, optional
        Called after each start with how many are done, of how many, and the efficiency so far, in per cent.

    Returns
    -------
    Found

    Raises
    ------
    ModelError
        When the runs cannot tell the terms, nothing is allowed, or the arrays do not fit each other; all at once.

    Notes
    -----
    Exchange of a run against every allowed combination, or, where these are too many to list, against those that
    differ on one axis (coordinate exchange: R. K. Meyer and C. J. Nachtsheim, Technometrics 37 (1995) 60-69, from
    memory). It ends early where the bound is reached, or
    where the first five starts ended at designs of the same worth.

    Checked against: maximal determinants of matrices of -1 and 1 (OEIS A003433), full factorials, every design of
    small cases gone through, tests/unit/numeric/test_exchange.py.
    """
    held = np.zeros((0, len(space.axes)), dtype=np.int64) if fixed is None else np.asarray(fixed, dtype=np.int64)
    _refuse(space, runs, criterion, blocks, plots, held, tied)
    draw = np.random.default_rng(seed)
    weight = weights(runs, blocks, plots)
    region = _region(space, draw)
    mean = blocks is None
    moments = optimality.moments(criterion, space.rows(region), mean=mean)
    limit = optimality.bound(space.rows(region), criterion, mean=mean)
    state = State(space, weight, _points(runs, len(held), tied), _whole(plots, len(held)), moments, mean=mean)
    best, best_value, kicked, agreed = None, -np.inf, 0, 0
    kicks = (_KICKS_OF_PLOTS if state.plots else _KICKS) if kicks is None else kicks

    def told(value: float) -> float:
        """Per cent of the bound."""
        return optimality.of_bound(value, criterion, limit, runs, state.parameters)

    for at in range(starts):
        levels, value, made = _chain(state, held, runs, draw, kicks, lambda value: told(value) >= _REACHED)
        kicked += made
        least = GAIN * _scale(best_value, criterion)
        if levels is not None and (best is None or value > best_value + least):
            best, best_value, agreed = levels, value, 0
        agreed += int(value > -np.inf and value >= best_value - least)
        if progress is not None:
            progress(at + 1, starts, min(told(best_value), 100.0))
        if told(best_value) >= _REACHED or agreed == at + 1 >= _AGREED:
            break
    if best is None or best_value == -np.inf:
        words = f"no {runs} runs that tell all {space.parameters} parameters were found in {starts} starts"
        fault = Fault("runs", words, "more runs, fewer terms, or fewer restrictions")
        raise_all(ModelError, "There is no such design.", [fault])
    state.begin(best)
    determinant = np.linalg.slogdet(state.x.T @ weight @ state.x)[1]
    return Found(
        best,
        criterion,
        min(told(best_value), 100.0),
        float(100.0 * np.exp(determinant / state.parameters) / runs),
        state.largest_slip,
        at + 1,
        kicked,
    )


def weights(runs: int, blocks: Sequence[int] | None, plots: Sequence[Plots]) -> Floats:
    """Give back the inverse of the runs' variance, fixed blocks taken out.

    Parameters
    ----------
    runs : int
    blocks : sequence of int or None
    plots : sequence of Plots

    Returns
    -------
    ndarray, shape (runs, runs)
        X' times this times X is the information on the columns of X in units of the variance within plots.

    Notes
    -----
    V = I + sum of ratio Z Z'; with blocks B: V^-1 - V^-1 B (B' V^-1 B)^-1 B' V^-1 (textbook).

    Checked against: least squares with blocks in the model, tests/unit/numeric/test_exchange.py.
    """
    variance = np.eye(runs)
    for kind in plots:
        codes = np.asarray(kind.codes)
        variance += kind.ratio * (codes[:, None] == codes[None, :])
    inverse = np.linalg.inv(variance)
    if blocks is None:
        return inverse
    codes = np.asarray(blocks)
    inside = (codes[:, None] == np.unique(codes)[None, :]).astype(float)
    ahead = inverse @ inside
    return inverse - ahead @ np.linalg.solve(inside.T @ ahead, ahead.T)


def _chain(
    state: State,
    held: Levels,
    runs: int,
    draw: np.random.Generator,
    kicks: int,
    reached: Callable[[float], bool],
) -> tuple[Levels | None, float, int]:
    """One start, improved, then kicked and repaired until so many kicks in a row gained nothing."""
    best = _start(state, held, runs, draw)
    if best is None:
        return None, -np.inf, 0
    state.begin(best)
    state.improve(draw)
    best, best_value, idle, made = state.levels.copy(), state.value(), 0, 0
    while idle < kicks and state.points and not reached(best_value):
        idle, made = idle + 1, made + 1
        kicked = _kick(state, best, draw)
        if kicked is None:
            continue
        state.begin(kicked)
        state.improve(draw)
        value = state.value()
        if value == -np.inf:
            continue
        least = GAIN * (1.0 if state.moments is None else abs(value))
        if value > best_value + least:
            best, best_value, idle = state.levels.copy(), value, 0
        elif value >= best_value - least:
            best = state.levels.copy()
    return best, best_value, made


def _refuse(
    space: Space,
    runs: int,
    criterion: str,
    blocks: Sequence[int] | None,
    plots: Sequence[Plots],
    held: Levels,
    tied: Sequence[Sequence[int]],
) -> None:
    """Refuse what cannot be, all at once."""
    faults = []
    if criterion not in CRITERIA:
        faults.append(Fault("criterion", f"'{criterion}' was given", "D, A or I"))
    if held.ndim != 2 or held.shape[1] != len(space.axes):
        faults.append(Fault("fixed", f"an array of shape {held.shape} was given", f"{len(space.axes)} axes a run"))
    elif len(held) > runs:
        faults.append(Fault("fixed", f"{len(held)} runs of {runs}", f"{runs} at most"))
    elif any((held[:, at] < 0).any() or (held[:, at] >= axis.count).any() for at, axis in enumerate(space.axes)):
        faults.append(Fault("fixed", "a level that its axis does not have", "level numbers from 0 up"))
    places = [("blocks", blocks)] if blocks is not None else []
    places += [(f"plots no. {at + 1}", kind.codes) for at, kind in enumerate(plots)]
    faults += [
        Fault(name, f"{len(codes)} for {runs} runs", "one for each run") for name, codes in places if len(codes) != runs
    ]
    faults += [
        Fault("plots", f"a ratio of {kind.ratio} was given", "0 or more")
        for kind in plots
        if not (np.isfinite(kind.ratio) and kind.ratio >= 0.0)
    ]
    repeats = sum(len(group) - 1 for group in tied)
    spoken = [run for group in tied for run in group]
    if len(set(spoken)) < len(spoken) or any(not len(held) <= run < runs for run in spoken):
        faults.append(Fault("tied", "a run that is named twice, held fixed or not there", "each run once"))
    needed = space.parameters + (0 if blocks is None else len(set(blocks)) - 1)
    if runs - repeats < needed:
        words = f"{runs} runs{f', {repeats} of them repeats,' if repeats else ''} for {needed} parameters"
        faults.append(Fault("runs", words, f"{needed + repeats} runs at least"))
    listed = space.listed()
    if listed is not None and not len(listed):
        faults.append(Fault("allowed", "not one combination is left", "one at least"))
    elif listed is not None and not len(held):
        rank = int(np.linalg.matrix_rank(space.rows(listed)))
        if rank < space.parameters:
            words = f"what is allowed tells {rank} of {space.parameters} parameters"
            faults.append(Fault("allowed", words, "fewer terms or fewer restrictions"))
    raise_all(ModelError, "There is no such design.", faults)


def _region(space: Space, draw: np.random.Generator) -> Levels:
    """The combinations that predictions and the bound are taken over: all, or a sample where they are too many."""
    listed = space.listed()
    return space.drawn(_SAMPLED, draw) if listed is None else listed


def _points(runs: int, held: int, tied: Sequence[Sequence[int]]) -> list[Levels]:
    """Runs that are exchanged together."""
    grouped = {run for group in tied for run in group}
    single = [[run] for run in range(held, runs) if run not in grouped]
    return [np.array(group, dtype=np.int64) for group in (*tied, *single)]


def _whole(plots: Sequence[Plots], held: int) -> list[tuple[Levels, tuple[int, ...]]]:
    """The runs of each whole plot that is not held fixed, with the axes that are set for it."""
    made = []
    for kind in plots:
        codes = np.asarray(kind.codes)
        for code in np.unique(codes):
            own = np.flatnonzero(codes == code)
            if own[0] >= held and kind.axes:
                made.append((own, kind.axes))
    return made


def _start(state: State, held: Levels, runs: int, draw: np.random.Generator) -> Levels | None:
    """A random design that keeps to plots, ties and what is allowed; None where none is found."""
    levels = np.zeros((runs, len(state.space.axes)), dtype=np.int64)
    levels[: len(held)] = held
    return levels if _redraw(state, levels, list(range(len(held), runs)), draw, plots=True) else None


def _kick(state: State, best: Levels, draw: np.random.Generator) -> Levels | None:
    """A few points of a design drawn anew, or one whole plot or two with all in them; None where nothing can be."""
    levels = best.copy()
    if state.plots and draw.random() < _PLOTS_KICKED:
        named = draw.choice(len(state.plots), size=min(int(draw.integers(1, 3)), len(state.plots)), replace=False)
        chosen, plots = list(dict.fromkeys(int(run) for at in named for run in state.plots[at][0])), True
    else:
        count = int(draw.integers(1, min(len(state.points), _MOST_KICKED) + 1))
        named = draw.choice(len(state.points), size=count, replace=False)
        chosen, plots = [int(run) for at in named for run in state.points[at]], False
    return levels if _redraw(state, levels, chosen, draw, plots=plots) else None


def _redraw(state: State, levels: Levels, runs: list[int], draw: np.random.Generator, *, plots: bool) -> bool:
    """Draw runs anew in place: whole plots first, then what is free within them, then ties; False where it fails."""
    inside = set(runs)
    groups = [(own, axes) for own, axes in state.plots if plots and set(own.tolist()) <= inside]
    for _ in range(_TRIES):
        made = levels.copy()
        for own, axes in groups:
            settings = state.space.settings(axes)
            made[np.ix_(own, list(axes))] = settings[int(draw.integers(len(settings)))]
        if all(_fill(state, made, run, draw) for run in runs):
            for tie in state.points:
                if len(tie) > 1 and int(tie[0]) in inside:
                    made[tie] = made[tie[0]]
            levels[:] = made
            return True
        if not groups:
            return False
    return False


def _fill(state: State, levels: Levels, run: int, draw: np.random.Generator) -> bool:
    """A random allowed setting of what is free in a run; False where there is none."""
    free, space = state.free[run], state.space
    if state.listed is not None:
        fixed = [at for at in range(len(space.axes)) if at not in free]
        fits = np.flatnonzero((state.listed[:, fixed] == levels[run, fixed]).all(axis=1))
        if not len(fits):
            return False
        levels[run] = state.listed[fits[int(draw.integers(len(fits)))]]
        return True
    for _ in range(_TRIES):
        made = levels[run].copy()
        for at in free:
            made[at] = int(draw.integers(space.axes[at].count))
        if space.may(made[None])[0]:
            levels[run] = made
            return True
    return False


def _scale(value: float, criterion: str) -> float:
    """What a gain is counted in: the determinant's logarithm as it is, a trace by its size."""
    return 1.0 if criterion == "D" or not np.isfinite(value) else abs(value)
