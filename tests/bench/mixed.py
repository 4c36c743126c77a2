"""Prints how long mixed models take beside statsmodels' MixedLM, on the same data in the same run.

    python -m tests.bench.mixed

Times are processor seconds, median of several, so that another job on the machine counts less; set
OPENBLAS_NUM_THREADS=1, or idle threads of the linear algebra are counted too.
"""

from __future__ import annotations

import statistics
import time
import warnings
from collections.abc import Callable

import numpy as np

from toolkit.numeric import component_limits, component_profile, kenward_roger, mixed_layout, reml, satterthwaite


def spent(work: Callable[[], object], times: int) -> float:
    """The median processor time of some work [s]."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def quietly(*timings: Callable[[np.random.Generator], None]) -> None:
    """Timings in turn, on draws from one seed."""
    with warnings.catch_warnings():
        # MixedLM warns on many of these fits; its time is what is asked for.
        warnings.simplefilter("ignore")
        rng = np.random.default_rng(1)
        for timing in timings:
            timing(rng)


def line(what: str, taken: float, beside: str, other: float) -> None:
    """One line: time, what it is compared with, how many times faster."""
    print(f"{what:52s} {1e3 * taken:9.2f} ms  {beside:32s} {1e3 * other:9.2f} ms  {other / taken:7.1f} times faster")


def judged(columns: np.ndarray, groups: dict[str, list], y: np.ndarray, terms: list[np.ndarray]) -> None:
    """Layout, fit and Kenward-Roger F of every term, from nothing."""
    laid = mixed_layout.layout_of(columns, groups)
    made = reml.fit(laid, y)
    known = kenward_roger.adjusted(laid, made.variances)
    for rows in terms:
        kenward_roger.f_test(known, made.beta, rows)


def whole_plots(rng: np.random.Generator) -> None:
    """24 runs in eight builds of three oils, two coatings: one layout alone, and 10,000 responses of it."""
    import pandas as pd
    from statsmodels.formula.api import mixedlm
    from statsmodels.regression.mixed_linear_model import MixedLM

    build, oil = np.repeat(np.arange(8), 3), np.tile(np.arange(3), 8)
    coating = build % 2
    columns = np.column_stack([np.ones(24), coating, oil == 1, oil == 2, coating * (oil == 1), coating * (oil == 2)])
    columns = columns.astype(float)
    y = rng.normal(size=8)[build] + rng.normal(size=24)
    groups = {"build": build.tolist()}
    terms = [np.eye(6)[1:2], np.eye(6)[2:4], np.eye(6)[4:]]
    laid = mixed_layout.layout_of(columns, groups)
    theirs = spent(lambda: MixedLM(y, columns, build).fit(), 9)
    table = pd.DataFrame({"y": y, "coating": coating.astype(str), "oil": oil.astype(str), "build": build})
    by_formula = spent(lambda: mixedlm("y ~ coating * oil", table, groups="build").fit(), 9)
    ours = spent(lambda: judged(columns, groups, y, terms), 25)
    line("24 runs: layout, fit, Kenward-Roger table", ours, "MixedLM by formula, no df", by_formula)
    line("  the same", ours, "MixedLM, no df", theirs)
    line("  the fit alone", spent(lambda: reml.fit(laid, y), 25), "MixedLM, no df", theirs)
    many = rng.normal(size=(10_000, 8))[:, build] + rng.normal(size=(10_000, 24))
    each = spent(lambda: reml.fit_many(laid, many), 3) / len(many)
    line("  one of 10,000 of one layout", each, "MixedLM, no df", theirs)
    made = reml.fit_many(laid, many)

    def by_kenward_roger() -> None:
        """All F tests of all responses."""
        known = kenward_roger.adjusted(laid, made.variances)
        for rows in terms:
            kenward_roger.f_test(known, made.beta, rows)

    line("  Kenward-Roger table of one of them", spent(by_kenward_roger, 3) / len(many), "MixedLM, no df", theirs)
    by_satterthwaite = spent(lambda: satterthwaite.f_test(satterthwaite.approximate(made), made.beta, terms[0]), 3)
    line("  Satterthwaite F of one term of one of them", by_satterthwaite / len(many), "MixedLM, no df", theirs)
    lost = np.setdiff1d(np.arange(24), [2, 7, 11, 15, 22])
    laid = mixed_layout.layout_of(columns[lost], {"build": build[lost].tolist()})
    each = spent(lambda: reml.fit_many(laid, many[:, lost]), 3) / len(many)
    line("  one of 10,000, five runs lost", each, "MixedLM, no df", theirs)


def nested(rng: np.random.Generator) -> None:
    """480 rows: 40 builds of three oils with four stations each; then with 30 stations lost."""
    import pandas as pd
    from statsmodels.formula.api import mixedlm

    build, oil = np.repeat(np.arange(40), 12), np.tile(np.repeat(np.arange(3), 4), 40)
    run = 3 * build + oil
    columns = np.column_stack([np.ones(480), oil == 1, oil == 2]).astype(float)
    y = rng.normal(size=40)[build] + 0.7 * rng.normal(size=120)[run] + rng.normal(size=480)
    table = pd.DataFrame({"y": y, "oil": oil.astype(str), "build": build, "run": run.astype(str)})
    for what, kept in (("480", np.arange(480)), ("450", np.sort(rng.permutation(480)[:450]))):
        part = table.iloc[kept]

        def by_formula(part: pd.DataFrame = part) -> None:
            """The same model by formula."""
            mixedlm("y ~ oil", part, groups="build", vc_formula={"run": "0 + C(run)"}, re_formula="1").fit()

        theirs = spent(by_formula, 3)
        groups = {"build": build[kept].tolist(), "run": run[kept].tolist()}
        taken = spent(lambda groups=groups, kept=kept: judged(columns[kept], groups, y[kept], [np.eye(3)[1:]]), 15)
        line(f"{what} rows, builds and runs: layout, fit, F and df", taken, "MixedLM by formula, no df", theirs)
        laid = mixed_layout.layout_of(columns[kept], groups)
        line("  the fit alone", spent(lambda laid=laid, kept=kept: reml.fit(laid, y[kept]), 15), "MixedLM", theirs)
        profile = spent(lambda laid=laid, kept=kept: component_profile.profile(laid, y[kept]), 3)
        line("  likelihood limits of three variances", profile, "MixedLM, fit alone", theirs)
        limits = spent(lambda laid=laid, kept=kept: component_limits.limits(laid, y[kept]), 3)
        line("  limits as advised", limits, "MixedLM, fit alone", theirs)


def crossed(rng: np.random.Generator) -> None:
    """30 parts by 8 operators, 20 of the 240 rows lost."""
    kept = np.sort(rng.permutation(240)[:220])
    part, operator = np.repeat(np.arange(30), 8)[kept], np.tile(np.arange(8), 30)[kept]
    y = rng.normal(size=30)[part] + rng.normal(size=8)[operator] + rng.normal(size=220)
    laid = mixed_layout.layout_of(np.ones((220, 1)), {"part": part.tolist(), "operator": operator.tolist()})
    line("220 rows, parts and operators crossed: the fit", spent(lambda: reml.fit(laid, y), 9), "aim", 0.1)


def main() -> None:
    """Every timing in turn."""
    quietly(whole_plots, nested, crossed)


if __name__ == "__main__":
    main()
