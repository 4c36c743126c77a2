"""How long the plans of four factors take, with all that stands beside them, and the tables of picking the best."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd

from tests.unit.size.test_best_of import coatings, picked, scatter_of
from tests.unit.size.test_candidates import FOUR
from toolkit.brief.model import Cost, CostItem
from toolkit.design import factorial
from toolkit.numeric import best_of
from toolkit.size import advice, options


def main() -> None:
    """Every timing in turn."""
    # A budget that admits 60 runs, in money that is the number of runs.
    brief = replace(FOUR, cost=Cost(currency="EUR", budget=60.0, items=(CostItem("run", "cell", amount=1.0),)))
    table = pd.DataFrame([{"response": "elongation_pct", "source": "pilot", "stratum": "run", "sd": 0.13}])
    scatter = replace(scatter_of(brief), _table=table)
    start = time.perf_counter()
    found = options.options(brief, [scatter])
    plans = time.perf_counter() - start
    advice.of_options(found)
    whole = time.perf_counter() - start
    print(f"{f'options, four factors, {found.judged} plans of up to 60 runs':52s} {plans:9.3f} s   limit 5 s")
    print(f"{'  with the advice beside them':52s} {whole:9.3f} s   limit 5 s")
    asked = coatings()
    design = factorial.full(asked, replicates=3)
    picked(design, scatter_of(asked))
    start = time.perf_counter()
    picked(design, scatter_of(asked))
    print(f"{'picking the best, one plan':52s} {time.perf_counter() - start:9.3f} s   limit 0.05 s")
    best_of.chance_in_doubt(1.5, 4, [2.0 / np.arange(2, 61)], [(1.0, 4.0)])
    start = time.perf_counter()
    best_of.chance_in_doubt(1.5, 4, [2.0 / np.arange(2, 61)], [(1.0, 4.0)])
    print(f"{'picking the best, 2 to 60 runs a level':52s} {time.perf_counter() - start:9.3f} s   limit 0.05 s")


if __name__ == "__main__":
    main()
