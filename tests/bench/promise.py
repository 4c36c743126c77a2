"""How long it takes to tell what plans promise: one comparison over all sizes, and whole plans."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

SIZES = np.arange(2.0, 61.0)


def median_ms(work: Callable[[], object], times: int = 15) -> float:
    """The median processor time of a call [ms], after one that is not counted."""
    work()
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return 1e3 * statistics.median(taken)


def main() -> None:
    """Every timing in turn."""
    from tests.unit import briefs
    from tests.unit.size.test_promise import scatter
    from toolkit.design import factorial
    from toolkit.numeric import forecast, promise
    from toolkit.size import losing_runs
    from toolkit.size import promise as size_promise

    parts, pilot = [(2 / SIZES, 2 * SIZES - 2)], [(0.0169, 3.0)]
    print(f"assurance, sizes 2 to 60             {median_ms(lambda: promise.assurance(0.25, parts, pilot)):8.1f} ms")
    taken = median_ms(lambda: promise.outcome_shares(0.25, 0.22, parts, pilot))
    print(f"six outcomes, sizes 2 to 60          {taken:8.1f} ms")
    taken = median_ms(lambda: forecast.forecast(0.25, 0.22, parts, pilot))
    print(f"all of it in one pass                {taken:8.1f} ms   limit 30 ms   ratio {taken / 30:5.2f}")
    brief = briefs.blocked()
    designs, known = [factorial.full(brief, builds=builds) for builds in range(2, 16)], scatter(brief, df=3.0)
    taken = median_ms(lambda: size_promise.claims(designs, known), 5)
    print(f"claims of 14 plans, 6 questions      {taken:8.1f} ms")
    found = size_promise.claims(designs, known)
    taken = median_ms(lambda: losing_runs.after_losses(designs, known, found), 3)
    print(f"after lost runs, 14 plans            {taken:8.1f} ms")


if __name__ == "__main__":
    main()
