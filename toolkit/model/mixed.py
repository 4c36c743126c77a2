"""Whole plots whose builds do not hold the same runs: one model with scatter between builds and between runs.

Where the builds are balanced the strata have mean squares of their own and nothing here is needed. Elsewhere every
contrast mixes the two in a share of its own; the model is fitted by restricted maximum likelihood with the build as
random term, and judged by Kenward and Roger's method. Which factors belong to builds still comes from the strata.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.design.strata import WHOLE_PLOTS, Strata
from toolkit.design.terms import Term
from toolkit.errors import ModelError
from toolkit.numeric import component_limits, contrasts, kenward_roger, mixed_layout, reml
from toolkit.numeric.component_profile import ComponentLimits
from toolkit.numeric.contrast_tests import FTest
from toolkit.numeric.kenward_roger import Adjusted
from toolkit.numeric.mixed_layout import Layout
from toolkit.numeric.reml import MixedFit

BUILD = "build"


@dataclass(frozen=True, eq=False)
class Mixed:
    """A response fitted with builds as random.

    Attributes
    ----------
    strata : Strata
        As run.
    y : ndarray, shape (runs,)
        Values on the analysis scale.
    layout : Layout
        Of the columns that say something of their own.
    fit : MixedFit
    adjusted : Adjusted
        Covariance of its coefficients, the doubt of the variances taken in.
    into : ndarray, shape (kept columns, parameters)
        What the kept columns make of the coefficients of all columns.
    kept : ndarray of int, shape (kept columns,)
        Which of the columns of the strata they are.
    residuals : ndarray, shape (runs,)
        What the terms and the builds leave of each run.
    notes : tuple of str
    """

    strata: Strata
    y: np.ndarray
    layout: Layout
    fit: MixedFit
    adjusted: Adjusted
    into: np.ndarray
    kept: np.ndarray
    residuals: np.ndarray
    notes: tuple[str, ...]


@dataclass(frozen=True)
class MixedEstimate:
    """A contrast with its standard error and the df of that."""

    value: float
    std_error: float
    df: float


def of_strata(laid: Strata, y: np.ndarray) -> Mixed:
    """The fit of values to whole plots that are not balanced (or are: then the answers are those of the strata).

    Parameters
    ----------
    laid : Strata
        Of the layout whole plots.
    y : ndarray, shape (runs,)
        Values on the analysis scale, none missing.

    Returns
    -------
    Mixed

    Raises
    ------
    ModelError
        When builds are not the units, when no build holds two runs or the terms explain every build (scatter between
        builds cannot then be told), or when the likelihood has no highest place.

    Notes
    -----
    Where a combination is missing, columns are kept in the order of the terms as far as each says something of its own.

    Checked against: the strata themselves where the builds are balanced, and Kenward and Roger's formulas on the
    covariance matrix of all runs, tests/unit/model/test_mixed.py.
    """
    if laid.layout != WHOLE_PLOTS:
        raise ModelError(f"Builds are the units of no factor here ({laid.layout}): nothing is random between builds.")
    builds = laid.runs["build_id"].astype(str).tolist()
    _refuse(laid, builds)
    kept = _independent(laid.columns)
    columns = laid.columns[:, kept]
    layout = mixed_layout.layout_of(columns, {BUILD: builds})
    made = reml.fit(layout, y)
    into = np.linalg.lstsq(columns, laid.columns, rcond=None)[0]
    fixed = np.asarray(y, dtype=float) - columns @ made.beta
    residuals = fixed - _of_builds(fixed, builds, made.variances)
    adjusted = kenward_roger.adjusted(layout, made.variances)
    return Mixed(laid, np.asarray(y, dtype=float), layout, made, adjusted, into, kept, residuals, _notes(made))


def estimate(made: Mixed, row: np.ndarray) -> MixedEstimate | None:
    """A contrast with its standard error and df by Kenward and Roger; None when it is not estimable.

    Parameters
    ----------
    made : Mixed
    row : ndarray, shape (parameters,)
        Coefficients on all columns of the strata.

    Returns
    -------
    MixedEstimate or None

    Notes
    -----
    Checked against: the strata where the builds are balanced, tests/unit/model/test_mixed.py.
    """
    if not made.strata.estimable(row):
        return None
    found = kenward_roger.contrasts(made.adjusted, made.fit.beta, _kept_rows(made, row[None, :]))
    return MixedEstimate(float(found.estimate[0]), float(found.std_error[0]), float(found.df[0]))


def covariance(made: Mixed, rows: np.ndarray) -> np.ndarray:
    """The covariances of several contrasts that are estimable, the doubt of the variances taken in.

    Parameters
    ----------
    made : Mixed
    rows : ndarray, shape (contrasts, parameters)

    Returns
    -------
    ndarray, shape (contrasts, contrasts)

    Notes
    -----
    Checked against: the standard errors of the contrasts and of their sums, tests/unit/model/test_mixed.py.
    """
    kept = _kept_rows(made, np.atleast_2d(rows))
    return kept @ made.adjusted.covariance @ kept.T


def term_test(made: Mixed, term: Term) -> FTest | None:
    """The F test of a term adjusted for all terms that do not contain it; None when the runs tell nothing of it.

    Parameters
    ----------
    made : Mixed
    term : Term

    Returns
    -------
    FTest or None

    Notes
    -----
    Type II: with 1 the columns of terms that neither are nor contain the term, 2 its own, 3 those of the terms that
    contain it, and S the information left after 1, the hypothesis is that b2 + S22^-1 S23 b3 is nought (textbook).

    Checked against: the analysis of variance of the strata where the builds are balanced,
    tests/unit/model/test_mixed.py.
    """
    owner = {at: item for item, span in made.strata.spans.items() for at in range(span.start, span.stop)}
    terms = [owner[int(at)] for at in made.kept]
    own = np.array([item == term for item in terms])
    above = np.array([set(term) < set(item) for item in terms])
    if not own.any():
        return None
    information = np.linalg.inv(made.fit.covariance)
    base = ~own & ~above
    left = information - information[:, base] @ np.linalg.solve(information[np.ix_(base, base)], information[base])
    rows = np.zeros((int(own.sum()), len(terms)))
    rows[:, own] = np.eye(len(rows))
    rows[:, above] = np.linalg.solve(left[np.ix_(own, own)], left[np.ix_(own, above)])
    return kenward_roger.f_test(made.adjusted, made.fit.beta, rows)


def scatter(made: Mixed, conf_level: float) -> ComponentLimits:
    """The SDs between builds and between runs with their limits, in this order.

    Parameters
    ----------
    made : Mixed
    conf_level : float

    Returns
    -------
    ComponentLimits

    Notes
    -----
    Checked against: Williams and Tukey's limits where the builds are balanced, tests/unit/model/test_mixed.py.
    """
    return component_limits.limits(made.layout, made.y, conf_level=conf_level)


def _refuse(laid: Strata, builds: list[str]) -> None:
    """Stop where the scatter between builds cannot be told from that of the runs, or not at all."""
    count, name = len(set(builds)), "Builds that do not hold the same runs"
    if len(builds) == count:
        raise ModelError(
            f"{name}: no build holds two runs, so the scatter between builds cannot be told from that of the runs. "
            f"Repeat runs in at least one build."
        )
    marks = np.array([[float(build == one) for one in dict.fromkeys(builds)] for build in builds])
    full = contrasts.rank(np.hstack([laid.columns, marks]))
    spare = full - contrasts.rank(laid.columns)
    if spare < 1:
        raise ModelError(
            f"{name}: the terms tell the {count} builds apart completely, so nothing is left to judge what changes "
            f"with the build. Add a build of a level that has one, or declare an interaction nil."
        )
    if len(builds) - full < 1:
        raise ModelError(
            f"{name}: {len(builds)} runs leave nothing to judge differences within builds by. Repeat runs, or "
            f"declare an interaction nil."
        )


def _independent(columns: np.ndarray) -> np.ndarray:
    """Numbers of the columns that each say something the earlier ones do not."""
    kept: list[int] = []
    for at in range(columns.shape[1]):
        if contrasts.rank(columns[:, [*kept, at]]) > len(kept):
            kept.append(at)
    return np.array(kept)


def _kept_rows(made: Mixed, rows: np.ndarray) -> np.ndarray:
    """Contrasts of all columns as contrasts of the kept ones, shape (contrasts, kept columns)."""
    return np.linalg.lstsq(made.into.T, rows.T, rcond=None)[0].T


def _of_builds(left: np.ndarray, builds: list[str], variances: np.ndarray) -> np.ndarray:
    """The share of each build in what the terms leave: its mean, drawn towards nought by its doubt (textbook)."""
    names = list(dict.fromkeys(builds))
    codes = np.array([names.index(build) for build in builds])
    number = np.bincount(codes)
    means = np.bincount(codes, weights=left) / number
    return (means * variances[0] * number / (variances[1] + variances[0] * number))[codes]


def _notes(made: MixedFit) -> tuple[str, ...]:
    """What the reader of the tables must know about how they were made."""
    told = [
        "the builds do not hold the same runs: scatter between builds and between runs by restricted maximum "
        "likelihood, standard errors and df by Kenward and Roger"
    ]
    if made.at_zero[0]:
        told.append(
            "the scatter between builds comes out at 0; it is kept in the model, so that what changes with the build "
            "is still judged by the df of the builds"
        )
    return tuple(told)
