"""Levels as a caller names them: looked up, put into words, and their mean as one row of a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from toolkit.brief.model import CENTRE
from toolkit.design import terms as model_terms
from toolkit.errors import Fault, ModelError, listing, nearest, raise_all
from toolkit.model._estimates import of_row, schema_row
from toolkit.model.fit import Fit


def checked(fit: Fit, factors: Sequence[str], at: Mapping[str, str] | None) -> dict[str, str]:
    """The levels held, after factors and levels were looked up.

    Parameters
    ----------
    fit : Fit
    factors : sequence of str
    at : mapping or None

    Returns
    -------
    dict
        Factor name to level name.

    Raises
    ------
    ModelError
        When one does not exist, stands twice, or no factor is given.
    """
    held = dict(at or {})
    faults = [] if len(factors) else [Fault("factors", "none was given", listing(fit.brief.factor_names))]
    faults += faults_of(fit, tuple(factors), held)
    twice = [name for name in dict.fromkeys(factors) if list(factors).count(name) > 1 or name in held]
    faults += [Fault(f"factor '{name}'", "it is named twice", "each factor once") for name in twice]
    raise_all(ModelError, "The means cannot be worked out.", faults)
    return held


def mean_line(fit: Fit, levels: Mapping[str, str], factors: Sequence[str] | None = None) -> dict[str, object]:
    """One mean as a row of a table of means.

    Parameters
    ----------
    fit : Fit
    levels : mapping
        Factor name to level name; a centre point where every factor is named.
    factors : sequence of str, optional
        The term it stands under; None: the factors of ``levels``, or curvature for a centre point.

    Returns
    -------
    dict
        The schema of estimates with levels and runs.
    """
    if len(levels) == len(fit.brief.factors):
        frame = {name: [levels[name]] for name in fit.brief.factor_names}
        row = model_terms.columns(fit.brief, frame, fit.strata.terms)[0][0]
    else:
        row = model_terms.row(fit.brief, fit.strata.terms, levels)
    laid = fit.strata.runs
    with_them = np.all([laid[name] == level for name, level in levels.items()], axis=0)
    what = "median (geometric mean)" if fit.response.scale == "log" else "mean"
    one = of_row(fit, row)
    one = one.noted(what) if one.value is not None else one
    centre = CENTRE in levels.values()
    term = model_terms.CURVATURE if centre else tuple(levels if factors is None else factors)
    return {
        **schema_row(fit, one, words_of(levels), term=model_terms.name_of(term), of_mean=True),
        "levels": dict(levels),
        "runs": int(with_them.sum()),
    }


def words_of(levels: Mapping[str, str]) -> str:
    """Levels as text: 'pin P1, oil O1'.

    Parameters
    ----------
    levels : mapping

    Returns
    -------
    str
    """
    return ", ".join(f"{name} {level}" for name, level in levels.items())


def faults_of(fit: Fit, factors: Sequence[str], levels: Mapping[str, str]) -> list[Fault]:
    """Factors and levels that do not exist."""
    known, faults = fit.brief.factor_names, []
    for name in dict.fromkeys([*factors, *levels]):
        if name not in known:
            faults.append(Fault(f"factor '{name}'", "there is no such factor", listing(known), nearest(name, known)))
        elif name in levels and levels[name] not in fit.brief.factor(name).names:
            names = fit.brief.factor(name).names
            found = f"'{levels[name]}' is not one of its levels"
            faults.append(Fault(f"factor '{name}'", found, listing(names), nearest(str(levels[name]), names)))
    return faults
