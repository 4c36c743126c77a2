"""Which unit each run belongs to, and how often a level is changed in a random order of the runs (rank 5)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import units


def units_of(brief: Brief, runs: pd.DataFrame, unit: str) -> pd.Series:
    """The build, part or fill of each run as a label.

    What is new in every run is a unit of its own in every run; what is kept and carries a factor is told by the
    table; the rest goes with the build.
    """
    if unit in brief.new_each_run:
        return pd.Series([f"run {at}" for at in range(len(runs))], index=runs.index)
    if unit in units.kept(brief):
        if units.COLUMNS[unit] in runs.columns:
            return units.labels(brief, runs, unit)
        return pd.Series([f"run {at}" for at in range(len(runs))], index=runs.index)
    return runs["build_id"].astype(str)


def expected(brief: Brief, runs: pd.DataFrame, factor: str) -> float:
    """How often the level of a factor is changed from one run to the next, on average over the orders of a plan.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        build_id and one column per factor.
    factor : str

    Notes
    -----
    Builds follow each other at random, and what carries the factor (runs, or the units it is kept over) is in random
    order within each build. Of n places with counts c of each level, (n - 1) (1 - sum c (c - 1) / n (n - 1))
    neighbours differ on average; the ends of two builds differ with 1 - sum of the products of their shares (counting,
    textbook). The first setting is no change.
    """
    unit = units.unit_of(brief, brief.factor(factor))
    carriers = runs.index.to_series().astype(str) if unit == units.RUN else units_of(brief, runs, unit)
    table = pd.DataFrame({"build": runs["build_id"].astype(str), "level": runs[factor]}).assign(unit=carriers)
    table = table.drop_duplicates("unit")
    if unit == "build":
        table["build"] = ""
    counts = pd.crosstab(table["build"], table["level"]).to_numpy(dtype=float)
    size = counts.sum(axis=1)
    alike = (counts * (counts - 1.0)).sum(axis=1)
    within = float((size - 1.0 - alike / size).sum())
    if len(size) < 2:
        return within
    shares = counts / size[:, None]
    met = shares @ shares.T
    pairs = (met.sum() - np.trace(met)) / (len(size) * (len(size) - 1))
    return within + (len(size) - 1) * float(1.0 - pairs)
