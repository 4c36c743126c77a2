"""The run values taken apart by stratum: for each one its values, its columns and its sums of squares.

In a balanced layout the strata are orthogonal, so that each is an ordinary least-squares problem of its own:
the build means, brought to the scale of one run, and the deviations of the runs from their build (textbook
split-plot algebra). Without whole plots there is one stratum, with the builds taken out first where they are
blocks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.design.strata import WHOLE_PLOTS, Strata
from toolkit.design.terms import Term


@dataclass(frozen=True, eq=False)
class Layer:
    """One stratum with an error of its own.

    Attributes
    ----------
    stratum : str
        build or run.
    y : ndarray, shape (units,)
        Centred values; of builds: their means times the square root of the runs in a build.
    base : ndarray, shape (units, columns)
        What is taken out before any term: the mean and fixed blocks.
    terms : tuple of Term
        The terms judged here.
    columns : dict
        Term to ndarray, shape (units, columns of the term).
    error_df : int
        As the strata say.
    """

    stratum: str
    y: np.ndarray
    base: np.ndarray
    terms: tuple[Term, ...]
    columns: dict[Term, np.ndarray]
    error_df: int

    def of(self, terms: Iterable[Term]) -> np.ndarray:
        """The base and the columns of these terms side by side, shape (units, columns)."""
        return np.hstack([self.base, *(self.columns[term] for term in terms)])

    @property
    def full(self) -> np.ndarray:
        """The base and every term judged here, shape (units, columns)."""
        return self.of(self.terms)

    def adjusted_for(self, term: Term, ss_type: int) -> tuple[Term, ...]:
        """What a term is adjusted for: the terms before it (1), all that do not contain it (2), all others (3)."""
        if ss_type == 1:
            return self.terms[: self.terms.index(term)]
        others = tuple(item for item in self.terms if item != term)
        return others if ss_type == 3 else tuple(item for item in others if not set(term) < set(item))


def layers_of(strata: Strata, y: np.ndarray) -> tuple[Layer, ...]:
    """The strata with an error, the coarsest first, for centred values ``y``.

    Parameters
    ----------
    strata : Strata
    y : ndarray, shape (runs,)
        Values on the analysis scale, already centred.

    Returns
    -------
    tuple of Layer

    Notes
    -----
    Checked against: corrosion of coated bars, four positions in each of six furnace heats (Box, Quality
    Engineering 8 (1996) 515-520), tests/reference/test_anova_cases.py.
    """
    every = {term: strata.columns[:, span] for term, span in strata.spans.items() if term != ()}
    run = strata.stratum("run")
    if strata.layout != WHOLE_PLOTS:
        base = np.hstack([np.ones((len(y), 1)), strata.block_columns])
        return (Layer("run", y, base, strata.terms, every, int(run.error_df or 0)),)
    build = strata.stratum("build")
    codes, names = pd.factorize(strata.runs["build_id"].astype(str))
    scale = np.sqrt(len(y) / len(names))
    upper = Layer(
        "build",
        scale * means_of(y, codes),
        np.full((len(names), 1), scale),
        build.terms,
        {term: scale * means_of(every[term], codes) for term in build.terms},
        int(build.error_df or 0),
    )
    lower = Layer(
        "run",
        y - means_of(y, codes)[codes],
        np.zeros((len(y), 0)),
        run.terms,
        {term: every[term] - means_of(every[term], codes)[codes] for term in run.terms},
        int(run.error_df or 0),
    )
    return upper, lower


def means_of(values: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Means of rows by group, shape (groups,) or (groups, columns)."""
    count = np.bincount(codes).astype(float)
    total = np.zeros((len(count), *values.shape[1:]))
    np.add.at(total, codes, values)
    return (total.T / count).T


def even_within_builds(strata: Strata) -> bool:
    """True when the run-level columns add to nought in every build, so that build means compare levels
    fairly."""
    if strata.layout != WHOLE_PLOTS:
        return True
    codes, _ = pd.factorize(strata.runs["build_id"].astype(str))
    spans = [strata.spans[term] for term in strata.stratum("run").terms]
    return all(bool(np.all(np.abs(means_of(strata.columns[:, span], codes)) < 1e-9)) for span in spans)


def error_of(layer: Layer, residual_ss: float, level: float) -> tuple[float | None, int]:
    """The error mean square of a stratum and its df; None without df, exactly 0 where all repeats agree.

    Parameters
    ----------
    layer : Layer
    residual_ss : float
        What the terms of the stratum leave.
    level : float
        The largest absolute value before centring: what is left below its rounding counts as nought.

    Returns
    -------
    mean_square : float or None
    df : int
    """
    if layer.error_df < 1:
        return None, 0
    noise = len(layer.y) * (8.0 * np.finfo(float).eps * level) ** 2
    return (0.0 if residual_ss <= noise else residual_ss / layer.error_df), layer.error_df
