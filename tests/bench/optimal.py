"""Optimal designs beside pyDOE3 and beside plain exchange: worth and processor time, python -m tests.bench.optimal."""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from contextlib import redirect_stdout

import numpy as np

from toolkit.numeric import exchange, exchange_model
from toolkit.numeric.exchange import Plots
from toolkit.numeric.exchange_model import Space

_METHODS = ("sequential", "simple_exchange", "fedorov", "modified_fedorov", "detmax")
_ALPHA = 0.1
_RANDOM_STARTS = 200


def timed(made: Callable[[], object]) -> tuple[object, float]:
    """What a call gives, and the processor time it takes [s]."""
    start = time.process_time()
    found = made()
    return found, time.process_time() - start


def line(what: str, worth: float, taken: float, beside: str = "") -> None:
    """One line: D-efficiency, processor time, what it is compared with."""
    print(f"{what:52s} {worth:8.3f} %   {taken:9.3f} s   {beside}", flush=True)


def worth_of(rows: np.ndarray) -> float:
    """100 |X'X|^(1/p) / n; 0 where the runs cannot tell every parameter."""
    sign, logarithm = np.linalg.slogdet(rows.T @ rows)
    return float(100.0 * np.exp(logarithm / rows.shape[1]) / len(rows)) if sign > 0 else 0.0


def linear() -> None:
    """Six factors, 24 runs, main effects: every method of pyDOE3 on the same 729 candidates, then the search."""
    from pyDOE3.doe_optimal import generate_candidate_set, optimal_design

    space = Space((exchange_model.numbers([-1, 0, 1]),) * 6, exchange_model.main_effects(6))
    candidates = generate_candidate_set(6, n_levels=3)
    best = (0.0, 0.0)
    for method in _METHODS:
        with redirect_stdout(io.StringIO()):
            made, taken = timed(
                lambda method=method: optimal_design(candidates, 24, degree=1, method=method, alpha=_ALPHA)
            )
        points = np.asarray(made[0], dtype=float)
        worth = worth_of(np.column_stack([np.ones(len(points)), points]))
        line(f"six factors, 24 runs, linear: pyDOE3 {method}", worth, taken)
        best = max(best, (worth, -taken))
    times = []
    for seed in range(10):
        found, taken = timed(lambda seed=seed: exchange.search(space, 24, seed=seed))
        times.append(taken)
        line(f"  the search, seed {seed}", found.d_efficiency, taken)
    ratio = -best[1] / float(np.median(times))
    line("  best of pyDOE3 over the search's median time", best[0], -best[1], f"ratio {ratio:.1f}, asked 20")


def quadratic() -> None:
    """Six factors at -1, 0, 1, quadratic, 40 runs: 51.0 per cent in under 5 s from each of ten seeds."""
    axes = (exchange_model.numbers([-1, 0, 1]),) * 6
    space = Space(axes, exchange_model.quadratic(axes))
    for seed in range(10):
        found, taken = timed(lambda seed=seed: exchange.search(space, 40, seed=seed))
        line(f"six factors, 40 runs, quadratic, seed {seed}", found.d_efficiency, taken, "asked 51.0 % and 5 s")


def plain_exchange(space: Space, weight: np.ndarray, plots: Plots, seed: int) -> float:
    """The best |X'WX|^(1/p) / n of plain exchanges from random starts, written without the search.

    One level of one run, or of one whole plot, is changed at a time; every determinant is worked out afresh.
    """
    draw = np.random.default_rng(seed)
    codes, count = np.asarray(plots.codes), len(plots.codes)
    runs_of = {at: [np.flatnonzero(codes == code) for code in np.unique(codes)] for at in plots.axes}
    each = [np.array([run]) for run in range(count)]
    best = -np.inf
    for _ in range(_RANDOM_STARTS):
        levels = draw.integers(0, 3, size=(count, len(space.axes)))
        for at in plots.axes:
            levels[:, at] = draw.integers(0, 3, size=codes.max() + 1)[codes]
        value, gained = -np.inf, True
        while gained:
            gained = False
            for at in range(len(space.axes)):
                for runs in runs_of.get(at, each):
                    tried = np.repeat(levels[None], 3, axis=0)
                    tried[:, runs, at] = np.arange(3)[:, None]
                    rows = space.rows(tried.reshape(-1, len(space.axes))).reshape(3, count, -1)
                    sign, logarithm = np.linalg.slogdet(rows.transpose(0, 2, 1) @ weight @ rows)
                    worth = np.where(sign > 0, logarithm, -np.inf)
                    if worth.max() > value + 1e-9:
                        value, levels, gained = float(worth.max()), tried[int(worth.argmax())].copy(), True
        best = max(best, value)
    return float(100.0 * np.exp(best / space.parameters) / count)


def split_plot() -> None:
    """Four factors, two of them hard to change, quadratic, 24 runs in 8 whole plots, variance ratio 1."""
    axes = (exchange_model.numbers([-1, 0, 1]),) * 4
    space = Space(axes, exchange_model.quadratic(axes))
    plots = Plots(tuple(int(code) for code in np.repeat(range(8), 3)), (0, 1), 1.0)
    weight = exchange.weights(24, None, [plots])
    for seed in range(5):
        found, taken = timed(lambda seed=seed: exchange.search(space, 24, seed=seed, plots=[plots]))
        line(f"split-plot, 24 runs in 8 whole plots, seed {seed}", found.d_efficiency, taken, "asked under 10 s")
    other, taken = timed(lambda: plain_exchange(space, weight, plots, 1))
    line(f"  best of {_RANDOM_STARTS} starts of a plain exchange", other, taken, "asked: no better than the search")


def main() -> None:
    """Every comparison in turn."""
    linear()
    quadratic()
    split_plot()


if __name__ == "__main__":
    main()
