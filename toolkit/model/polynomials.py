"""The shape of a numeric factor's effect: straight line, bend and higher, level spacing as it is."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from toolkit.design import terms as model_terms
from toolkit.errors import ModelError
from toolkit.model._estimates import of_row, schema_row, table_of
from toolkit.model._levels import checked, words_of
from toolkit.model.fit import Fit

_NAMES = ("linear", "quadratic", "cubic", "quartic")


def polynomials(fit: Fit, factor: str, *, at: Mapping[str, str] | None = None) -> pd.DataFrame:
    """How the response follows a numeric factor of three levels or more: one row a degree, the straight line first.

    Parameters
    ----------
    fit : Fit
    factor : str
        A numeric factor.
    at : mapping of str to str, optional
        Levels at which other factors are held; the rest is averaged over, equally weighted.

    Returns
    -------
    DataFrame
        In the schema of estimates with the columns degree, weights (level to weight), sum_sq (on the analysis
        scale) and at. Linear: the change from the lowest to the highest level along the straight line fitted to the
        level means. Quadratic and higher: weighted mean of the levels with positive weights less that of those with
        negative ones, the highest level positive; of three evenly spaced levels: the mean of the ends less the
        middle. Ratios on the log scale. Judged one by one.

    Raises
    ------
    ModelError
        When the factor does not exist, is not numeric, or has two levels.

    Notes
    -----
    Orthogonal polynomials on the levels as they are spaced, each level with the same weight (R. A. Fisher and F.
    Yates, Statistical Tables, for even spacing). t and p do not depend on how the weights are scaled.

    Checked against: Fisher and Yates' coefficients, nitrogen on oats (Yates 1935; sums of squares of linear and rest
    by Venables and Ripley), tooth growth at doses 0.5, 1, 2 (regression line), tests/reference/test_means_cases.py.
    """
    held = checked(fit, [factor], at)
    asked = fit.brief.factor(factor)
    if not asked.numeric:
        raise ModelError(
            f"factor '{factor}': its levels are names, not numbers, so it has no straight line. Compare its levels "
            f"instead, or give them a value in the brief."
        )
    if len(asked.levels) < 3:
        raise ModelError(
            f"factor '{factor}': {len(asked.levels)} levels; expected three or more. Between two levels the straight "
            f"line is their comparison."
        )
    levels = sorted(asked.levels, key=lambda level: float(level.value or 0.0))
    names = [level.name for level in levels]
    means = np.array([model_terms.row(fit.brief, fit.strata.terms, {**held, factor: name}) for name in names])
    made = []
    for degree, weights in enumerate(weights_of([float(level.value or 0.0) for level in levels]), start=1):
        name = _NAMES[degree - 1] if degree <= len(_NAMES) else f"degree {degree}"
        row = weights @ means
        one = of_row(fit, row)
        parts = fit.strata.parts(row)
        sum_sq = one.value**2 / parts[0].unit_variance if one.value is not None and len(parts) == 1 else None
        made.append(
            {
                **schema_row(fit, one, _words(fit, factor, name, names, weights, held), term=factor),
                "degree": degree,
                "weights": dict(zip(names, map(float, weights), strict=True)),
                "sum_sq": sum_sq,
                "at": held,
            }
        )
    return table_of(made, ("degree", "weights", "sum_sq", "at"))


def weights_of(values: list[float]) -> np.ndarray:
    """The weights of the polynomial contrasts of levels with these values.

    Parameters
    ----------
    values : list of float
        Different from each other, in rising order; three or more.

    Returns
    -------
    ndarray, shape (levels - 1, levels)
        One row a degree. Linear: times the level means, the change from the first to the last along the straight
        line. Higher: positive weights add to 1, negative ones to -1, the last is positive.

    Notes
    -----
    Checked against: R. A. Fisher and F. Yates' coefficients for 3, 4 and 5 even levels; weights by hand for 0.5, 1,
    2; tests/unit/model/test_polynomials.py.
    """
    given = np.asarray(values, dtype=float)
    place = (given - given.mean()) / (given[-1] - given[0])
    kept = [np.ones(len(place))]
    for _ in range(1, len(place)):
        # The next power, cleared twice of the ones before it.
        power = place * kept[-1]
        for _ in range(2):
            for one in kept:
                power = power - one * (power @ one) / (one @ one)
        kept.append(power)
    made = []
    for degree, one in enumerate(kept[1:], start=1):
        rising = one * np.sign(one[-1])
        made.append(rising / (rising @ rising) if degree == 1 else 2.0 * rising / np.abs(rising).sum())
    return np.array(made)


def _words(
    fit: Fit, factor: str, name: str, levels: list[str], weights: np.ndarray, held: Mapping[str, str]
) -> str:
    """A polynomial contrast in words."""
    rest = [item for item in fit.brief.factor_names if item != factor and item not in held]
    tail = (f" at {words_of(held)}" if held else "") + (f", mean over {' and '.join(rest)}" if rest else "")
    if name == "linear":
        return f"{factor} linear: from {levels[0]} to {levels[-1]} along the straight line{tail}"
    told = ", ".join(f"{weight:+.3g} × {level}" for level, weight in zip(levels, weights, strict=True))
    return f"{factor} {name}: {told}{tail}"
