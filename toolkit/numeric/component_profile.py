"""Limits of variance components from how fast the likelihood falls away from its highest place.

May import numpy, scipy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, listing, nearest, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric import _mixed_checks as checks
from toolkit.numeric import reml
from toolkit.numeric._bases import Floats
from toolkit.numeric._likelihood import centred, in_variances
from toolkit.numeric._moments import Values, moments
from toolkit.numeric._newton import lowest
from toolkit.numeric.mixed_layout import Layout
from toolkit.numeric.reml import MixedFit

PROFILE = "likelihood profile"
# The residual is looked for from this share of its estimate upwards, every variance over this many powers of e.
_FLOOR = 1e-4
_CEILING = 27.6


@dataclass(frozen=True, eq=False)
class ComponentLimits:
    """Variance components with limits of their SD, in the order of the layout, the residual last.

    Attributes
    ----------
    names : tuple of str
    variances : ndarray
        From mean squares with their sign; by likelihood 0 where the data show none.
    sd : ndarray
        Their square roots, 0 for a negative variance.
    sd_low, sd_high : ndarray
    conf_level : float
    how : tuple of str
        'mean squares' or 'likelihood profile', for each.
    """

    names: tuple[str, ...]
    variances: Floats
    sd: Floats
    sd_low: Floats
    sd_high: Floats
    conf_level: float
    how: tuple[str, ...]


def profile(
    layout: Layout, response: ArrayLike, *, conf_level: float = 0.95, restricted: bool = True
) -> ComponentLimits:
    """Give back every variance component with the limits at which the likelihood has fallen too far.

    Parameters
    ----------
    layout : Layout
    response : array_like, shape (rows,)
    conf_level : float
        Between 0 and 1.
    restricted : bool
        False for the profile of the unrestricted likelihood, which other programs print.

    Returns
    -------
    ComponentLimits
        A lower limit is 0 where no scatter of that source at all is not excluded.

    Raises
    ------
    ModelError
        When a value is missing or the model cannot be fitted (see ``reml.fit``).

    Notes
    -----
    One component is held, all others are fitted anew; -2 log likelihood may rise by the chi-square quantile of 1 df.

    Checked against: k08-dyestuff (lme4 1.1-31, confint of the unrestricted fit), tests/reference/test_mixed_cases.py;
    coverage of the restricted one by simulation, tests/unit/numeric/test_component_limits.py.
    """
    given = np.asarray(response, dtype=float)
    faults = [*guards.probability("conf_level", conf_level), *checks.of_response(given, layout.rows)]
    raise_all(ModelError, "The limits cannot be worked out.", faults)
    made = reml.fit_many(layout, given[None, :], restricted=restricted)
    values, _ = centred(layout, given[None, :])
    allowed = float(special.chdtri(1.0, 1.0 - conf_level))
    variances = made.variances[0]
    ends = [_ends(made, values, source, allowed) for source in range(len(variances))]
    sd, (low, high) = np.sqrt(variances), np.sqrt(np.array(ends)).T
    return ComponentLimits(layout.names, variances, sd, low, high, conf_level, (PROFILE,) * len(sd))


def rise(made: MixedFit, responses: ArrayLike, source: str, variance: float) -> Floats:
    """Give back how far -2 log likelihood rises when one variance is held at a stated value.

    Parameters
    ----------
    made : MixedFit
        From ``reml.fit_many``.
    responses : array_like, shape (responses, rows)
        Those it was fitted to.
    source : str
        A random term of the layout, or 'residual'.
    variance : float
        0 or above; of the residual above 0.

    Returns
    -------
    ndarray, shape (responses,)
        0 or above. Compared with chi-square of 1 df: above its quantile the stated variance is excluded.

    Raises
    ------
    ModelError
        When the source is unknown, the variance out of range, or the responses are not those of the fit.

    Notes
    -----
    Checked against: the likelihood of all rows, lowered over the other variances by scipy; coverage by simulation,
    tests/unit/numeric/test_component_limits.py.
    """
    given, names = np.asarray(responses, dtype=float), made.layout.names
    faults = guards.finite("responses", given) + guards.not_negative("variance", variance)
    if given.shape != (*made.variances.shape[:-1], made.layout.rows) or given.ndim != 2:
        expected = f"shape ({len(np.atleast_2d(made.variances))}, {made.layout.rows}), as fitted by fit_many"
        faults = [Fault("responses", f"an array of shape {given.shape} was given", expected)]
    if source not in names:
        faults.append(Fault("source", f"'{source}' was given", listing(names), nearest(source, names)))
    elif source == names[-1] and variance == 0.0:
        faults += guards.positive("variance", variance)
    raise_all(ModelError, "The likelihood cannot be followed.", faults)
    values, _ = centred(made.layout, given)
    return np.maximum(_held(made, values, names.index(source), float(variance)) - _constants(made), 0.0)


def _constants(made: MixedFit) -> Floats:
    """The lowest -2 log likelihood without the constants that ``_held`` leaves out."""
    layout = made.layout
    count = layout.rows - layout.parameters * made.restricted
    return made.criterion - count * np.log(2.0 * np.pi) - layout.log_volume * made.restricted


def _ends(made: MixedFit, values: Values, source: int, allowed: float) -> tuple[float, float]:
    """Variances of one source at which -2 log likelihood has risen by ``allowed``, all others fitted anew."""
    # Heavy to import, and needed here alone.
    from scipy.optimize import brentq

    lowest_place = float(_constants(made)[0]) + allowed

    def above(log_variance: float) -> float:
        """How far -2 log likelihood stands above what is allowed."""
        return float(_held(made, values, source, float(np.exp(log_variance)))[0]) - lowest_place

    found, residual = float(made.variances[0, source]), float(made.variances[0, -1])
    middle = float(np.log(found if found > 0.0 else _FLOOR * residual))
    step, high = 0.7, middle + 0.7
    while above(high) < 0.0:
        step *= 1.5
        high += step
    high = brentq(above, middle, high, xtol=1e-9) if above(middle) < 0.0 else middle
    last = source == made.layout.terms
    if not last and (found <= 0.0 or float(_held(made, values, source, 0.0)[0]) <= lowest_place):
        return 0.0, float(np.exp(high))
    step, low = 0.7, middle - 0.7
    while above(low) < 0.0:
        step *= 1.5
        low -= step
    return float(np.exp(brentq(above, low, middle, xtol=1e-9))), float(np.exp(high))


def _held(made: MixedFit, values: Values, source: int, held: float) -> Floats:
    """-2 log likelihood without its constants, one variance held and the others at their best; shape (sets,)."""
    layout, restricted = made.layout, made.restricted
    unit = made.variances[:, -1:]
    # The others run over ln(1 + size x variance / unit), the residual over ln(variance / floor).
    sizes = np.column_stack([layout.typical_sizes / unit, 1.0 / (_FLOOR * unit)])
    offset = np.append(np.ones(layout.terms), 0.0)
    free = np.arange(layout.terms + 1) != source
    count = layout.rows - layout.parameters * restricted

    def objective(points: Floats, sets: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Value, gradient and Hessian in the free coordinates."""
        size = sizes[sets][:, free]
        growth = np.exp(points) / size
        variances = np.full((len(points), len(free)), held)
        variances[:, free] = growth - offset[free] / size
        last = variances[:, -1]
        part, fitted = moments(layout, variances[:, :-1] / last[:, None], values.of(sets), residual=True)
        slope, bend = in_variances(part, fitted, last, restricted)
        value = count * np.log(last) + part.log_det + fitted.rss / last
        if restricted:
            value = value + part.log_information
        slope = slope[:, free] * growth
        bend = bend[:, free][:, :, free] * growth[:, :, None] * growth[:, None, :]
        return value, slope, bend + slope[:, :, None] * np.eye(int(free.sum()))

    start = np.log(offset + made.variances * sizes)[:, free]
    return lowest(objective, start, _CEILING).values
