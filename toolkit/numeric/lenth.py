"""Effects judged by each other where nothing was repeated: pseudo standard error, margins, half-normal places.

May import numpy, scipy.special and the error classes. What is drawn at random comes from the seed given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards

Floats = NDArray[np.float64]

# Campaigns drawn where nothing has an effect: the 95 % critical value of one effect is then good to about 0.5 %, that
# of the largest effect to about 1 %.
DRAWN = 100_000
FEWEST = 3
_CHUNK = 10_000


@dataclass(frozen=True, eq=False)
class Null:
    """What effects look like, in pseudo standard errors, when none of them is there.

    Attributes
    ----------
    margin : float
        The size that one effect stays within with the confidence asked.
    simultaneous : float
        The size that all effects stay within with the confidence asked.
    low, middle, high : ndarray, shape (effects,)
        For the smallest to the largest size: the band that holds each with the confidence asked, and its median.
    drawn : int
    """

    margin: float
    simultaneous: float
    low: Floats
    middle: Floats
    high: Floats
    drawn: int


def pseudo_error(effects: ArrayLike) -> tuple[float, float]:
    """Give back the pseudo standard error of several effects of the same precision, most of them inert.

    Parameters
    ----------
    effects : array_like, shape (effects,)
        Three or more, in any unit.

    Returns
    -------
    pse : float
        In the unit of the effects; 0 where half of them or more are exactly 0.
    start : float
        1.5 times the median size, the first guess.

    Raises
    ------
    ModelError
        With fewer than three effects or a missing one.

    Notes
    -----
    1.5 times the median of the sizes below 2.5 times the first guess (R. V. Lenth, Technometrics 31 (1989) 469-473).

    Checked against: k05-lenth-filtration-2x4, k05-reactor-2x5.
    """
    given = np.asarray(effects, dtype=float).ravel()
    faults = guards.finite("effects", given)
    if len(given) < FEWEST:
        faults.append(Fault("effects", f"{len(given)} were given", f"{FEWEST} or more"))
    raise_all(ModelError, "The pseudo standard error cannot be worked out.", faults)
    pse, start = _pseudo(np.abs(given)[None, :])
    return float(pse[0]), float(start[0])


def margins(count: int, *, conf_level: float = 0.95) -> tuple[float, float]:
    """Give back Lenth's own critical values, in pseudo standard errors: of one effect, and of all together.

    Parameters
    ----------
    count : int
        Number of effects, three or more.
    conf_level : float

    Returns
    -------
    margin, simultaneous : float

    Raises
    ------
    ModelError
        When an argument is out of range.

    Notes
    -----
    t on count / 3 degrees of freedom; for all together at the level (1 + conf_level^(1/count)) / 2 (R. V. Lenth,
    Technometrics 31 (1989) 469-473). An approximation that is on the safe side by about a fifth for one effect:
    ``null`` draws the values.

    Checked against: k05-lenth-filtration-2x4, k05-reactor-2x5.
    """
    faults = guards.probability("conf_level", conf_level)
    if count < FEWEST:
        faults.append(Fault("effects", f"{count} were given", f"{FEWEST} or more"))
    raise_all(ModelError, "The margins cannot be worked out.", faults)
    return (
        float(special.stdtrit(count / 3.0, 0.5 * (1.0 + conf_level))),
        float(special.stdtrit(count / 3.0, 0.5 * (1.0 + conf_level ** (1.0 / count)))),
    )


def places(count: int) -> Floats:
    """Give back the half-normal places of several sizes, the smallest first.

    Parameters
    ----------
    count : int
        1 or more.

    Returns
    -------
    ndarray, shape (count,)

    Notes
    -----
    Quantiles of the half-normal distribution at (i - 0.5) / count (C. Daniel, Technometrics 1 (1959) 311-341).

    Checked against: k05-lenth-filtration-2x4.
    """
    return special.ndtri(0.5 + 0.5 * (np.arange(1, count + 1) - 0.5) / count)


def null(count: int, *, seed: int, conf_level: float = 0.95, drawn: int = DRAWN) -> Null:
    """Give back, by drawing, what effects in pseudo standard errors look like when none of them is there.

    Parameters
    ----------
    count : int
        Number of effects, three or more.
    seed : int
    conf_level : float
    drawn : int
        Campaigns drawn.

    Returns
    -------
    Null

    Raises
    ------
    ModelError
        When an argument is out of range.

    Notes
    -----
    Independent normal effects of one precision, each set over its own pseudo standard error (K. Q. Ye and M. Hamada,
    Technometrics 42 (2000) 104-107, table such values). The band holds each place by itself; that all points lie
    within it is less certain.

    Checked against: Ye and Hamada's table for 7, 15 and 31 effects (from memory, to the width of the drawing),
    tests/unit/numeric/test_lenth.py.
    """
    faults = guards.probability("conf_level", conf_level)
    if count < FEWEST:
        faults.append(Fault("effects", f"{count} were given", f"{FEWEST} or more"))
    if drawn < 1000:
        faults.append(Fault("drawn", f"{drawn} were asked for", "1000 or more"))
    raise_all(ModelError, "The sizes cannot be drawn.", faults)
    generator = np.random.default_rng(seed)
    sizes = []
    for start in range(0, drawn, _CHUNK):
        one = np.abs(generator.standard_normal((min(_CHUNK, drawn - start), count)))
        sizes.append(np.sort(one, axis=1) / _pseudo(one)[0][:, None])
    every = np.concatenate(sizes)
    tail = 0.5 * (1.0 - conf_level)
    low, middle, high = np.quantile(every, [tail, 0.5, 1.0 - tail], axis=0)
    return Null(
        float(np.quantile(every, conf_level)), float(np.quantile(every[:, -1], conf_level)), low, middle, high, drawn
    )


def _pseudo(sizes: Floats) -> tuple[Floats, Floats]:
    """Pseudo standard errors and first guesses of sets of sizes, each shape (sets,)."""
    start = 1.5 * np.median(sizes, axis=1)
    kept = np.where(sizes < 2.5 * start[:, None], sizes, np.nan)
    # Half of them or more exactly nought: nothing is below 2.5 times nought.
    empty = start == 0.0
    kept[empty] = 0.0
    return np.where(empty, 0.0, 1.5 * np.nanmedian(kept, axis=1)), start
