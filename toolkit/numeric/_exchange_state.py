"""One design of a search while it is changed: exchanges of single runs and of whole plots, with rank-two updates.

A change of one run by the row delta changes the information M = X'WX by g delta' + delta g' + w delta delta', where
g = X'W s and w = s'W s for the mask s of the run (of all runs that are tied to it); that is u u' - v v' with
v = g / sqrt(w) and u = v + sqrt(w) delta. The gain of every choice then follows from quadratic forms in the inverse of
M (V. V. Fedorov, Theory of Optimal Experiments, 1972; R. K. Meyer and C. J. Nachtsheim, Technometrics 37 (1995) 60-69;
B. Jones and P. Goos, Applied Statistics 56 (2007) 347-364 for whole plots; all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from toolkit.numeric import _forms as forms
from toolkit.numeric.exchange_model import Floats, Levels, Space

# Gains below this are rounding; of choices nearer to each other the first is taken, so that the last digits of a
# machine do not decide.
GAIN = 1e-7
# After so many exchanges the inverse is worked out afresh.
_FRESH = 50
_RIDGE = 1e-5
_LOST = 1e-6
# A determinant so many powers of e below the largest is nought but for rounding.
_FAR = 60.0
_SIGNS = np.diag([1.0, -1.0])


class State:
    """Levels of every run, the information on them and its inverse.

    Parameters
    ----------
    space : Space
    weight : ndarray, shape (runs, runs)
        The inverse of the runs' variance, blocks taken out.
    points : sequence of ndarray of int
        Runs that are exchanged together because they repeat each other; of most only one.
    plots : sequence of (ndarray of int, tuple of int)
        Runs of a whole plot and the axes that are set for all of them.
    moments : ndarray, shape (parameters, parameters), or None
        None: the determinant is to be largest; otherwise the trace of the inverse times this is to be smallest.
    mean : bool
        False where blocks take the mean's place.
    """

    def __init__(
        self,
        space: Space,
        weight: Floats,
        points: Sequence[Levels],
        plots: Sequence[tuple[Levels, tuple[int, ...]]],
        moments: Floats | None,
        *,
        mean: bool,
    ) -> None:
        self.space, self.weight, self.points, self.plots, self.moments = space, weight, points, plots, moments
        self.first = 0 if mean else 1
        held = {run: set() for run in range(len(weight))}
        for runs, axes in plots:
            for run in runs:
                held[int(run)] |= set(axes)
        self.free = [tuple(at for at in range(len(space.axes)) if at not in held[run]) for run in range(len(weight))]
        self.listed = space.listed()
        self.table = None if self.listed is None else self.rows(self.listed)
        self.plain = bool(np.array_equal(weight, np.eye(len(weight))))
        pulls = [(int(runs[0]), weight[:, runs].sum(axis=1), runs) for runs in points]
        self._pulls = {run: (pulled, float(pulled[runs].sum())) for run, pulled, runs in pulls}
        self._inside: dict[tuple[tuple[int, ...], bytes], Levels] = {}
        self.largest_slip = 0.0
        self.singular = True

    @property
    def parameters(self) -> int:
        """Columns of the model that the criterion is told for."""
        return self.space.parameters - self.first

    def rows(self, levels: Levels) -> Floats:
        """The model's rows, without the mean where blocks take its place."""
        return self.space.rows(levels)[:, self.first :]

    def begin(self, levels: Levels) -> None:
        """Start from these levels."""
        self.levels = levels.copy()
        self.x = self.rows(self.levels)
        self._renewed = 0
        self.refresh()

    def refresh(self) -> None:
        """Work out the inverse afresh; a little is added to the diagonal where the runs cannot tell every term."""
        before = self.singular
        information = self.x.T @ self.weight @ self.x
        values = np.linalg.eigvalsh(information)
        self.singular = bool(values[0] <= 1e-9 * max(values[-1], 1.0))
        if self.singular:
            self._value = -np.inf
        elif self.moments is None:
            self._value = float(np.log(values).sum())
        if self.singular:
            information = information + _RIDGE * np.eye(len(information))
        fresh = np.linalg.inv(information)
        if self._renewed and not self.singular and not before:
            self.largest_slip = max(self.largest_slip, float(np.abs(self.inverse - fresh).max() / np.abs(fresh).max()))
        self.inverse = fresh
        self._renewed = 0
        self._quadratics()
        if self.moments is not None and not self.singular:
            self._value = -self.trace

    def value(self) -> float:
        """The criterion when last worked out afresh: the larger, the better; -inf where a term cannot be told."""
        return self._value

    def _values(self, rows: Floats) -> Floats:
        """The criterion of several designs, rows of shape (designs, runs, parameters), by fresh factors of each."""
        information = rows.transpose(0, 2, 1) @ (self.weight @ rows)
        if self.singular:
            information = information + _RIDGE * np.eye(self.parameters)
        sign, logarithm = np.linalg.slogdet(information)
        good = (sign > 0.0) & (logarithm > logarithm.max() - _FAR)
        found = np.where(good, logarithm, -np.inf)
        if self.moments is not None and good.any():
            found[good] = -(np.linalg.inv(information[good]) * self.moments).sum(axis=(1, 2))
        return found

    def improve(self, order: np.random.Generator, *, passes: int = 40) -> None:
        """Exchange until nothing is gained by any exchange of one run, or of one whole plot's setting."""
        count, idle = len(self.plots) + len(self.points), 0
        for _ in range(passes):
            for at in [*order.permutation(len(self.plots)), *(len(self.plots) + order.permutation(len(self.points)))]:
                plot = at < len(self.plots)
                gained = (
                    self._exchange_plot(*self.plots[at]) if plot else self._exchange(self.points[at - len(self.plots)])
                )
                idle = 0 if gained else idle + 1
                if idle >= count:
                    break
            ridge, done = self.singular, idle >= count
            if ridge or done:
                self.refresh()
            if done and not ridge:
                return
        self.refresh()

    def _exchange(self, runs: Levels) -> bool:
        """The best change of one run; False where there is none."""
        run = int(runs[0])
        choices, rows, variance, spread = self._choices(run)
        if not len(choices):
            return False
        pulled, size = self._pulls[run]
        root = np.sqrt(size)
        gone = root * self.x[run] if self.plain else (pulled @ self.x) / root
        rest = None if self.plain else gone - root * self.x[run]
        ahead = self.inverse @ gone
        across = rows @ (root * ahead)
        own = variance if size == 1.0 else size * variance
        if rest is not None:
            beside = self.inverse @ rest
            own = own + 2.0 * root * (rows @ beside) + rest @ beside
            across += rest @ ahead
        out = float(gone @ ahead)
        # The ratio of determinants less 1: (1 + own) (1 - out) + across^2 - 1.
        gain = across * across
        gain += (1.0 - out) * own
        gain -= out
        if self.moments is not None:
            ratio = gain + 1.0
            behind = self.squared @ gone
            across_trace, own_trace = root * (rows @ behind), size * spread
            if rest is not None:
                beside = self.squared @ rest
                own_trace += 2.0 * root * (rows @ beside) + rest @ beside
                across_trace += rest @ behind
            less = (1.0 - out) * own_trace + 2.0 * across * across_trace - (1.0 + own) * (gone @ behind)
            gain = np.where(ratio > 1e-9, less / np.maximum(ratio, 1e-9), -np.inf) / self.trace
        best = gain[gain.argmax()]
        if best <= GAIN:
            return False
        chosen = int((gain >= best - GAIN).argmax())
        self.levels[runs] = choices[chosen]
        self.x[runs] = rows[chosen]
        self._update(root * rows[chosen] + (0.0 if rest is None else rest), gone)
        return True

    def _update(self, added: Floats, gone: Floats) -> None:
        """The inverse after u u' - v v' was added to the information."""
        pair = np.column_stack([added, gone])
        ahead = self.inverse @ pair
        inner = pair.T @ ahead + _SIGNS
        determinant = inner[0, 0] * inner[1, 1] - inner[0, 1] ** 2
        # A determinant near nought would lose the digits that the next exchange needs.
        if abs(determinant) < _LOST:
            self._renewed = 0
            self.refresh()
            return
        turned = np.array([[inner[1, 1], -inner[0, 1]], [-inner[0, 1], inner[0, 0]]]) / determinant
        less = ahead @ turned
        self.inverse -= less @ ahead.T
        self._renewed += 1
        if self._renewed >= _FRESH:
            self.refresh()
        elif self.table is not None and self.moments is None:
            through = self.table @ ahead
            self.variance -= np.einsum("ra,ra->r", through @ turned, through)
        else:
            self._quadratics()

    def _quadratics(self) -> None:
        """The quadratic forms of the listed combinations in the inverse, and in what the trace follows from."""
        if self.moments is not None:
            self.squared = self.inverse @ self.moments @ self.inverse
            self.trace = float((self.inverse * self.moments).sum())
        if self.table is not None:
            self.variance = forms.quadratic(self.table, self.inverse)
            if self.moments is not None:
                self.spread = forms.quadratic(self.table, self.squared)

    def _choices(self, run: int) -> tuple[Levels, Floats, Floats, Floats]:
        """What a run may be changed to: levels, rows, and their quadratic forms in the inverse and the trace's."""
        free = self.free[run]
        if self.table is None:
            choices = self.space.neighbours(self.levels[run], free)
            rows = self.rows(choices) if len(choices) else np.zeros((0, self.x.shape[1]))
            variance = forms.quadratic(rows, self.inverse)
            spread = variance if self.moments is None else forms.quadratic(rows, self.squared)
            return choices, rows, variance, spread
        spread = self.variance if self.moments is None else self.spread
        if len(free) == len(self.space.axes):
            return self.listed, self.table, self.variance, spread
        fixed = [at for at in range(len(self.space.axes)) if at not in free]
        key = (tuple(fixed), self.levels[run, fixed].tobytes())
        if key not in self._inside:
            self._inside[key] = np.flatnonzero((self.listed[:, fixed] == self.levels[run, fixed]).all(axis=1))
        own = self._inside[key]
        return self.listed[own], self.table[own], self.variance[own], spread[own]

    def _exchange_plot(self, runs: Levels, axes: tuple[int, ...]) -> bool:
        """The best setting of a whole plot, what changes within it left as it is; False where none is better."""
        settings = self.space.settings(axes)
        choices = np.repeat(self.levels[runs][None], len(settings), axis=0)
        choices[:, :, list(axes)] = settings[:, None, :]
        good = self.space.may(choices.reshape(-1, choices.shape[2])).reshape(len(settings), -1).all(axis=1)
        choices = choices[good]
        if not len(choices):
            return False
        # The setting that stands comes first, so that the others are set against it.
        every = np.repeat(self.x[None], len(choices) + 1, axis=0)
        every[1:, runs] = self.rows(choices.reshape(-1, choices.shape[2])).reshape(len(choices), len(runs), -1)
        now, *others = self._values(every)
        found = np.array(others)
        best, scale = float(found.max()), 1.0 if self.moments is None else max(abs(now), 1e-300)
        if not best > -np.inf or best - now <= GAIN * scale:
            return False
        chosen = int(np.argmax(found >= best - GAIN * scale))
        self.levels[runs] = choices[chosen]
        self.x = every[chosen + 1]
        self._renewed = 0
        self.refresh()
        return True
