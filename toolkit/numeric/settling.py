"""What further runs would bring, given those at hand: the chance of each verdict once they are in.

May import numpy, scipy.special and the error classes. Nothing is drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._quantiles import chi_square_below
from toolkit.numeric.noncentral import critical_t
from toolkit.numeric.promise import OUTCOMES

Floats = NDArray[np.float64]

_NODES = 48


@dataclass(frozen=True)
class Known:
    """What the runs at hand say of one comparison.

    Attributes
    ----------
    gain : float
        The estimate on the analysis scale, positive for the better.
    mean_square : float
        Of the error it is judged by, above 0.
    df : float
        Of that error.
    unit_variance : float
        Times the mean square: the variance of the estimate.
    """

    gain: float
    mean_square: float
    df: float
    unit_variance: float


def shares_then(
    known: Known, unit_variance: float, df: float, margin: float | None, *, alpha: float = 0.05
) -> Floats:
    """Give back how likely each of the six verdicts is once further runs are in and all runs are judged together.

    Parameters
    ----------
    known : Known
        The runs at hand.
    unit_variance : float
        Of the same comparison with the further runs; not above that of the runs at hand.
    df : float
        Of its error then; above that of the runs at hand, by 1 or more.
    margin : float or None
        Worthwhile change on the analysis scale, above 0; None: verdicts that need one have no share.
    alpha : float
        1 minus the level of the interval.

    Returns
    -------
    ndarray, shape (6,)
        In the order of ``numeric.promise.OUTCOMES``; their sum is 1.

    Raises
    ------
    ModelError
        When an argument is out of range; all faults are told at once.

    Notes
    -----
    Given the runs at hand and nothing else (flat prior): the true variance is df mean_square / chi2_df, the estimate
    moves by D ~ N(0, variance (v - v')), and the residual sum of squares grows by D^2 / (v - v') + variance
    chi2_(df' - df - 1) (own algebra from least squares; for one step of a group-sequential trial it is the predictive
    power of D. J. Spiegelhalter, L. S. Freedman and P. R. Blackburn, Controlled Clinical Trials 7 (1986) 8-17). The
    limits are then quadratic in D, so that D is taken exactly, and 48 x 48 nodes for the two chi-squares.

    Checked against: drawn continuations of campaigns run by run, tests/unit/numeric/test_settling.py.
    """
    faults = [
        *guards.finite("gain", known.gain),
        *guards.positive("mean square", known.mean_square),
        *guards.positive("df", known.df),
        *guards.positive("unit variance", known.unit_variance),
        *guards.positive("unit variance then", unit_variance),
        *guards.probability("alpha", alpha),
    ]
    if margin is not None:
        faults += guards.positive("worthwhile change", margin)
    if not faults and unit_variance > known.unit_variance * (1.0 + 1e-9):
        faults.append(Fault("unit variance then", f"{unit_variance:g}", f"{known.unit_variance:g} or less"))
    if not faults and df < known.df + 1.0:
        faults.append(Fault("df then", f"{df:g}", f"{known.df + 1:g} or more"))
    raise_all(ModelError, "What further runs would bring cannot be worked out.", faults)
    moved = max(known.unit_variance - unit_variance, 0.0)
    place, weight = _rule()
    doubt, more = np.maximum(chi_square_below(known.df, place), 1e-100)[:, None], df - known.df - 1.0
    luck = np.zeros((1, 1)) if more <= 0.0 else chi_square_below(more, place)[None, :]
    weights = weight[:, None] * (np.ones((1, 1)) if more <= 0.0 else weight[None, :])
    # In units of the true SD: the estimate, and the residual sum of squares without the part that D adds.
    sd = np.sqrt(known.df * known.mean_square / doubt)
    rest = doubt + luck
    reach = float(critical_t(df, alpha=alpha)) * np.sqrt(unit_variance / df)

    def above(edge: float, sign: float) -> tuple[Floats, Floats]:
        """The span of D (in its SDs) for which the interval lies above the edge; with sign -1, below it."""
        distance = sign * (known.gain - edge) / sd
        low, high = _span(np.broadcast_to(distance, rest.shape), np.sqrt(moved), reach, rest)
        return (low, high) if sign > 0 else (-high, -low)

    def share(*spans: tuple[Floats, Floats]) -> float:
        """The chance that D lies in all the spans."""
        low = np.maximum.reduce([span[0] for span in spans])
        high = np.minimum.reduce([span[1] for span in spans])
        inside = np.where(high > low, special.ndtr(high) - special.ndtr(np.minimum(low, high)), 0.0)
        return float((weights * inside).sum())

    gain, loss = above(0.0, 1.0), above(0.0, -1.0)
    if margin is None:
        found = [0.0, share(gain), 0.0, 0.0, 0.0, share(loss)]
    else:
        far, near = above(margin, 1.0), above(-margin, 1.0)
        far_loss, near_loss = above(-margin, -1.0), above(margin, -1.0)
        won, lost, small = share(far), share(far_loss), share(near, near_loss)
        found = [
            won,
            share(gain) - won - share(gain, near_loss),
            small,
            0.0,
            lost,
            share(loss) - lost - share(loss, near),
        ]
    made = np.maximum(np.array(found), 0.0)
    made[OUTCOMES.index("not known yet")] = max(0.0, 1.0 - made.sum())
    return made / made.sum()


@lru_cache(maxsize=1)
def _rule() -> tuple[Floats, Floats]:
    """Places and weights of the Gauss-Legendre rule on (0, 1)."""
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    return 0.5 * (place + 1.0), 0.5 * weight


def _span(distance: Floats, moved: float, reach: float, rest: Floats) -> tuple[Floats, Floats]:
    """The z for which distance + moved z > reach sqrt(rest + z^2): one span, empty where low is above high.

    The left side less the right one is concave in z, so that what is above nought is one span.
    """
    empty = (np.full_like(rest, np.inf), np.full_like(rest, -np.inf))
    # Exactly nought it would leave a line: a trace off it the larger root is that of the line.
    lead = moved**2 - reach**2 or 1e-15
    inner = distance**2 + lead * rest
    root = reach * np.sqrt(np.maximum(inner, 0.0))
    # lead z^2 + 2 moved distance z + (distance^2 - reach^2 rest) = 0, solved without taking equal numbers apart.
    half, last = moved * distance, distance**2 - reach**2 * rest
    big = -(half + np.where(half >= 0.0, 1.0, -1.0) * root)
    with np.errstate(divide="ignore", invalid="ignore"):
        one = big / lead
        other = last / big
    if lead > 0.0:
        # Beyond the larger root the left side wins for good.
        return np.fmax(one, other), np.full_like(rest, np.inf)
    usable = (inner > 0.0) & (distance > 0.0)
    low, high = np.fmin(one, other), np.fmax(one, other)
    return np.where(usable, low, empty[0]), np.where(usable, high, empty[1])
