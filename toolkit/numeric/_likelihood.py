"""The restricted likelihood of a linear mixed model and its derivatives, from the moments of the data.

May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

import numpy as np

from toolkit.numeric._bases import Floats, outside
from toolkit.numeric._moments import Fitted, Moments, Values
from toolkit.numeric.mixed_layout import Layout


def centred(layout: Layout, responses: Floats) -> tuple[Values, Floats]:
    """What ordinary least squares leaves of responses (sets, rows), and the coefficients of the basis it took off."""
    # The first value goes first where there is a constant to take it up: a large mean then costs no digits.
    shift = responses[:, :1] * layout.has_constant
    lowered = responses - shift
    left = outside(layout.basis, lowered.T).T
    coefs = (lowered - left) @ layout.basis + shift * layout.basis.sum(axis=0)
    return Values(*layout.coordinates(left)), coefs


def projected(made: Moments, fitted: Fitted, restricted: bool) -> tuple[Floats, Floats, Floats, Floats]:
    """tr(P S_i), tr(P S_i P S_j), e'P S_i P e and e'P S_i P S_j P e, where P is W cleared of the fixed columns.

    For the unrestricted likelihood the two traces are those of W instead.
    """
    across = np.matmul(fitted.cross, made.inverse)
    double = fitted.double - np.matmul(across, fitted.cross.transpose(0, 2, 1))
    if not restricted:
        return made.trace, made.traces, fitted.single, double
    return *cleared(made), fitted.single, double


def cleared(made: Moments) -> tuple[Floats, Floats]:
    """tr(P S_i) and tr(P S_i P S_j)."""
    once = np.matmul(made.inverse[:, None], made.once)
    sets, count, p = once.shape[:3]
    trace = made.trace - np.trace(once, axis1=2, axis2=3)
    flat = once.reshape(sets, count, -1)
    turned = once.transpose(0, 1, 3, 2).reshape(sets, count, -1)
    twice = np.matmul(made.twice.reshape(sets, count * count, -1), made.inverse.reshape(sets, p * p, 1))
    both = np.matmul(flat, turned.transpose(0, 2, 1))
    return trace, made.traces - 2.0 * twice.reshape(sets, count, count) + both


def in_variances(made: Moments, fitted: Fitted, last: Floats, restricted: bool) -> tuple[Floats, Floats]:
    """Slope and Hessian of -2 log likelihood in the variances, at the residual variance ``last``, shape (sets,)."""
    trace, traces, single, double = projected(made, fitted, restricted)
    one, two = last[:, None], last[:, None, None]
    return (trace - single / one) / one, (2.0 * double / two - traces) / two**2
