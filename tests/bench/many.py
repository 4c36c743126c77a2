"""Prints how long thousands of simulated campaigns take beside statsmodels' MixedLM per fit, in the same run.

    python -m tests.bench.many

Times are processor seconds, median of several; set OPENBLAS_NUM_THREADS=1.
"""

from __future__ import annotations

import time

import numpy as np

from tests.bench.mixed import quietly, spent
from tests.unit.size.test_simulate import designs
from toolkit.numeric import many_mixed
from toolkit.size import simulate
from toolkit.size.conditions import Conditions

CAMPAIGNS = 10_000


def line(what: str, taken: float, each: float, beside: str, other: float) -> None:
    """One line: time of all, time of each, and how many times faster than one fit of the other."""
    ratio = other / each
    print(f"{what:58s} {taken:7.3f} s  {1e6 * each:8.1f} us each   {beside} {1e3 * other:7.1f} ms  {ratio:8.0f} times")


def whole_plots(rng: np.random.Generator) -> None:
    """24 runs in eight builds of three oils, two coatings: drawn, fitted, every contrast with its interval."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    build, oil = np.repeat(np.arange(8), 3), np.tile(np.arange(3), 8)
    coating = build % 2
    columns = np.column_stack([np.ones(24), coating, oil == 1, oil == 2, coating * (oil == 1), coating * (oil == 2)])
    columns = columns.astype(float)
    for what, lost in (
        ("no hole", []),
        ("five runs lost", [3, 7, 11, 12, 20]),
        ("eight lost", [0, 4, 8, 9, 13, 16, 17, 21]),
    ):
        kept = np.setdiff1d(np.arange(24), lost)
        y = rng.normal(size=8)[build[kept]] + rng.normal(size=len(kept))
        theirs = spent(lambda y=y, kept=kept: MixedLM(y, columns[kept], build[kept]).fit(), 9)

        def campaigns(kept: np.ndarray = kept) -> None:
            """Layout, campaigns, analysis, intervals, from nothing."""
            known = many_mixed.one_term(columns[kept], build[kept].tolist(), np.eye(6)[1:])
            values = rng.normal(size=(CAMPAIGNS, 8))[:, build[kept]] + rng.normal(size=(CAMPAIGNS, len(kept)))
            known.judged(values).half_width()

        taken = spent(campaigns, 5)
        line(f"split plot of 24 runs, {what}: {CAMPAIGNS:,} campaigns", taken, taken / CAMPAIGNS, "MixedLM", theirs)


def nested(rng: np.random.Generator) -> None:
    """Builds, runs of three oils in them, two stations each; a tenth of the rows lost."""
    import pandas as pd
    from statsmodels.formula.api import mixedlm

    build, oil = np.repeat(np.arange(12), 6), np.tile(np.repeat(np.arange(3), 2), 12)
    run = 3 * build + oil
    kept = np.sort(rng.permutation(72)[:65])
    build, oil, run = build[kept], oil[kept], run[kept]
    columns = np.column_stack([np.ones(65), oil == 1, oil == 2]).astype(float)
    values = rng.normal(size=(CAMPAIGNS, 12))[:, build] + 0.7 * rng.normal(size=(CAMPAIGNS, 36))[:, run]
    values = values + rng.normal(size=(CAMPAIGNS, 65))
    table = pd.DataFrame({"y": values[0], "oil": oil.astype(str), "build": build, "run": run.astype(str)})
    formula = {"run": "0 + C(run)"}
    theirs = spent(lambda: mixedlm("y ~ oil", table, groups="build", vc_formula=formula, re_formula="1").fit(), 5)
    known = many_mixed.several_terms(columns, {"build": build.tolist(), "run": run.tolist()}, np.eye(3)[1:])
    taken = spent(lambda: known.judged(values).half_width(), 1)
    line(f"two nested terms, unbalanced: {CAMPAIGNS:,} data sets", taken, taken / CAMPAIGNS, "MixedLM", theirs)


def lost_at_random() -> None:
    """Another layout in nearly every campaign."""
    for name in ("three finishes, four runs each", "2x2 in four blocks", "eight builds of two oils"):
        brief, laid, known, _ = designs()[name]
        asked = Conditions("lost", lost_share=0.1)
        start = time.process_time()
        made = simulate.simulated(brief, laid, known, plan=name, campaigns=2_000, conditions=asked, engine="serial")
        taken = time.process_time() - start
        each = 1e3 * taken / (2 * made.layouts)
        print(
            f"{name}, a tenth lost: 4,000 campaigns {taken:.2f} s, {2 * made.layouts:,} layouts, {each:.2f} ms each"
        )


def main() -> None:
    """Every timing in turn."""
    quietly(whole_plots, nested)
    lost_at_random()


if __name__ == "__main__":
    main()
