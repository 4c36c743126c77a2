"""Means of levels and of combinations, equally weighted over what is not named, and free contrasts of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
import pandas as pd

from toolkit.design import terms as model_terms
from toolkit.errors import Fault, ModelError, raise_all
from toolkit.model._estimates import of_row, schema_row, table_of
from toolkit.model._levels import checked, faults_of, mean_line, words_of
from toolkit.model.fit import Fit


def of(fit: Fit, factors: Sequence[str], *, at: Mapping[str, str] | None = None) -> pd.DataFrame:
    """The mean of every combination of some factors' levels; on the log scale the median (geometric mean).

    Parameters
    ----------
    fit : Fit
    factors : sequence of str
        One factor: its marginal means. Several: the means of their combinations.
    at : mapping of str to str, optional
        Levels at which other factors are held; factors in neither are averaged over, each level with the same
        weight however many runs it has.

    Returns
    -------
    DataFrame
        In the schema of estimates, in the unit of the response (std_error is that of ln on the log scale), with the
        columns levels (factor to level) and runs (how many have them). What cannot be estimated keeps its row and
        names the run that would make it so.

    Raises
    ------
    ModelError
        When a factor or level does not exist; all faults are told at once.

    Notes
    -----
    Builds that are blocks count equally, and the interval speaks of the builds that were run. (Population marginal
    means: S. R. Searle, F. M. Speed and G. A. Milliken, The American Statistician 34 (1980) 216-221.)

    Checked against: k04-warpbreaks-unequal-n, k04-toothgrowth-empty-cell (R 4.2.2 emmeans), k02-toothgrowth.
    """
    held = checked(fit, factors, at)
    names = [factor.name for factor in fit.brief.factors if factor.name in factors]
    choices = product(*(fit.brief.factor(name).names for name in names))
    rows = [mean_line(fit, {**dict(zip(names, chosen, strict=True)), **held}, names) for chosen in choices]
    return table_of(rows, ("levels", "runs"))


def contrast(fit: Fit, weights: Sequence[tuple[Mapping[str, str], float]], *, name: str) -> pd.DataFrame:
    """Any weighted sum of means that adds to nought, such as one combination against the mean of two others.

    Parameters
    ----------
    fit : Fit
    weights : sequence of (levels, weight)
        Levels as in ``{"pin": "P1", "oil": "O1"}`` (factors left out are averaged over, equally weighted) with
        their weights, which add to nought.
    name : str
        What the contrast is called.

    Returns
    -------
    DataFrame
        One row in the schema of estimates, not planned; judged alone.

    Raises
    ------
    ModelError
        When a factor or level does not exist, or the weights do not add to nought.

    Notes
    -----
    Use it to ask what a missing combination leaves: the row says whether the runs can answer.

    Checked against: k02-warpbreaks, k04-2x2-missing-cell, a comparison of the brief written as weights.
    """
    faults = [] if len(weights) else [Fault(name, "no levels were given", "two sets of levels or more")]
    for levels, _ in weights:
        faults += faults_of(fit, tuple(levels), levels)
    total, size = sum(weight for _, weight in weights), sum(abs(weight) for _, weight in weights)
    if not np.isfinite(size) or abs(total) > 1e-9 * max(size, 1e-300) or (len(weights) and size == 0.0):
        faults.append(
            Fault(
                name,
                f"the weights {', '.join(f'{weight:g}' for _, weight in weights)} add to {total:g}",
                "weights, not all of them nought, that add to nought",
            )
        )
    raise_all(ModelError, "The contrast cannot be made.", faults)
    row = sum(weight * model_terms.row(fit.brief, fit.strata.terms, levels) for levels, weight in weights)
    words = " ".join(f"{weight:+g} × ({words_of(levels)})" for levels, weight in weights)
    one = of_row(fit, np.asarray(row))
    if one.value is not None and fit.response.scale == "log" and abs(size - 2.0) > 1e-9:
        one = one.noted(f"the positive weights add to {size / 2:g}: a ratio of products, not of two medians")
    return table_of([schema_row(fit, one, words, comparison=name)])
