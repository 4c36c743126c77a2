"""Units of several runs that do not hold the same runs: one model with scatter between units and between runs.

Where the strata are balanced they have mean squares of their own and nothing here is needed. Elsewhere every contrast
mixes them in a share of its own; the model is fitted by restricted maximum likelihood with the units as random terms,
and judged by Kenward and Roger's method. Which factors belong to which units still comes from the strata.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from toolkit.design import units
from toolkit.design.strata import Strata
from toolkit.design.terms import Term
from toolkit.errors import ModelError
from toolkit.model import _random_units as laying
from toolkit.numeric import component_limits, kenward_roger, reml
from toolkit.numeric.component_profile import ComponentLimits
from toolkit.numeric.contrast_tests import FTest
from toolkit.numeric.kenward_roger import Adjusted
from toolkit.numeric.mixed_layout import Layout
from toolkit.numeric.reml import MixedFit


@dataclass(frozen=True, eq=False)
class Mixed:
    """A response fitted with its units as random.

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
    into : ndarray, shape (kept columns, parameters + block columns)
        What the kept columns make of the coefficients of all columns.
    kept : ndarray of int, shape (kept columns,)
        Which of the columns of the strata they are, fixed blocks behind the terms.
    residuals : ndarray, shape (runs,)
        What the terms and the units leave of each run.
    units : tuple of str
        Whose scatter the variances are, the run last.
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
    units: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class MixedEstimate:
    """A contrast with its standard error and the df of that."""

    value: float
    std_error: float
    df: float


def of_strata(laid: Strata, y: np.ndarray, *, recover_blocks: bool = False) -> Mixed:
    """The fit of values to strata that are not balanced (or are: then the answers are those of the strata).

    Parameters
    ----------
    laid : Strata
        With units of several runs.
    y : ndarray, shape (runs,)
        Values on the analysis scale, none missing.
    recover_blocks : bool
        True to take builds that are blocks as random too, so that differences between builds add to the answers.

    Returns
    -------
    Mixed

    Raises
    ------
    ModelError
        When no factor belongs to a unit of several runs, when no such unit holds two runs or the terms explain every
        unit (scatter between units cannot then be told), or when the likelihood has no highest place.

    Notes
    -----
    Where a combination is missing, columns are kept in the order of the terms as far as each says something of its own.

    Checked against: the strata themselves where the units are balanced, Kenward and Roger's formulas on the
    covariance matrix of all runs, tests/unit/model/test_mixed.py; k07-oats-unbalanced (lme4, pbkrtest).
    """
    recover = recover_blocks and laid.blocked
    if not laid.plots and not recover:
        raise ModelError(
            f"No factor belongs to a unit of several runs ({laid.layout}): only runs are random. Take exact mean "
            f"squares."
        )
    laying.refuse(laid, recover)
    columns = laying.columns_of(laid, recover)
    kept = laying.independent(columns)
    layout, held = laying.layout_of(laid, columns[:, kept], recover), laying.members(laid, recover)
    values = np.asarray(y, dtype=float)
    made = reml.fit(layout, values)
    into = np.linalg.lstsq(columns[:, kept], columns, rcond=None)[0]
    left = _of_runs(held, values - columns[:, kept] @ made.beta, made.variances)
    adjusted = kenward_roger.adjusted(layout, made.variances)
    names = tuple(held)
    return Mixed(laid, values, layout, made, adjusted, into, kept, left, names, _notes(laid, names, made, recover))


def foreseen(laid: Strata, variances: np.ndarray, rows: np.ndarray) -> list[tuple[float, float] | None]:
    """The variance of contrasts and its df, were these the runs and these the variances; None where not estimable.

    Parameters
    ----------
    laid : Strata
        With units of several runs, balanced or not.
    variances : ndarray, shape (units,)
        Of each unit, in the order of ``laid.units``.
    rows : ndarray, shape (contrasts, parameters)

    Returns
    -------
    list of (float, float) or None

    Raises
    ------
    ModelError
        As ``of_strata``.

    Notes
    -----
    Kenward and Roger's covariance and df at given variances.

    Checked against: the strata where the units are balanced, tests/unit/model/test_mixed.py.
    """
    laying.refuse(laid)
    columns = laid.full_columns
    kept = laying.independent(columns)
    into = np.linalg.lstsq(columns[:, kept], columns, rcond=None)[0]
    made = kenward_roger.adjusted(laying.layout_of(laid, columns[:, kept]), variances)
    found: list[tuple[float, float] | None] = []
    for row in np.atleast_2d(rows):
        if not laid.estimable(row):
            found.append(None)
            continue
        one = kenward_roger.contrasts(made, np.zeros(len(kept)), laying.turned(into, row[None, :]))
        found.append((float(one.std_error[0]) ** 2, float(one.df[0])))
    return found


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


def joint_test(made: Mixed, rows: np.ndarray) -> FTest:
    """The F test that several contrasts are nought.

    Parameters
    ----------
    made : Mixed
    rows : ndarray, shape (contrasts, parameters)
        Estimable, and none a sum of others.

    Returns
    -------
    FTest

    Notes
    -----
    Checked against: ``term_test`` of the interaction, tests/unit/model/test_mixed.py.
    """
    return kenward_roger.f_test(made.adjusted, made.fit.beta, _kept_rows(made, rows))


def term_test(made: Mixed, term: Term, ss_type: int = 2) -> FTest | None:
    """The F test of a term; None when the runs tell nothing of it.

    Parameters
    ----------
    made : Mixed
    term : Term
    ss_type : int
        1: adjusted for the terms before it. 2: for all that do not contain it. 3: for all others.

    Returns
    -------
    FTest or None

    Notes
    -----
    With 1 the columns of terms that it is adjusted for, 2 its own, 3 the rest, and S the information left after 1, the
    hypothesis is that b2 + S22^-1 S23 b3 is nought (textbook).

    Checked against: the analysis of variance of the strata where the builds are balanced,
    tests/unit/model/test_mixed.py.
    """
    owner = {at: item for item, span in made.strata.spans.items() for at in range(span.start, span.stop)}
    terms = [owner.get(int(at)) for at in made.kept]
    order = {item: at for at, item in enumerate(made.strata.terms)}
    own = np.array([item == term for item in terms])
    if ss_type == 1:
        above = np.array([order.get(item, -1) > order[term] for item in terms])
    else:
        above = np.array([ss_type == 2 and item is not None and set(term) < set(item) for item in terms])
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
    """The SDs between the units of each kind and between runs with their limits, the coarsest first.

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


def _kept_rows(made: Mixed, rows: np.ndarray) -> np.ndarray:
    """Contrasts of all columns as contrasts of the kept ones, shape (contrasts, kept columns)."""
    return laying.turned(made.into, rows)


def _of_runs(held: Mapping[str, np.ndarray], left: np.ndarray, variances: np.ndarray) -> np.ndarray:
    """What the terms leave of each run, less the share that is foretold of its units (textbook): s2 V^-1 left."""
    spread = variances[-1] * np.eye(len(left))
    for variance, codes in zip(variances[:-1], held.values(), strict=False):
        spread += variance * (codes[:, None] == codes[None, :])
    return variances[-1] * np.linalg.solve(spread, left)


def _notes(laid: Strata, names: Sequence[str], made: MixedFit, recover: bool) -> tuple[str, ...]:
    """What the reader of the tables must know about how they were made."""
    between = " and ".join(f"between {units.PLURALS[unit]}" for unit in names)
    told = [
        f"{laid.unbalanced or 'as the strata'}: scatter {between} by restricted maximum likelihood, standard errors "
        f"and df by Kenward and Roger in place of exact mean squares"
    ]
    if recover:
        told.append("builds are taken as random: differences between builds add to the answers (inter-block recovery)")
    told += [
        f"the scatter between {units.PLURALS[unit]} comes out at 0; it is kept in the model, so that what changes with "
        f"the {units.NAMES[unit]} is still judged by the df of the {units.PLURALS[unit]}"
        for unit, zero in zip(names, made.at_zero, strict=False)
        if zero
    ]
    return tuple(told)
