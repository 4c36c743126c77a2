"""What tests of contrasts in a linear mixed model give back, whichever way their df are found.

Holds no arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.numeric._bases import Floats


@dataclass(frozen=True, eq=False)
class ContrastTests:
    """Contrasts, each tested on its own; arrays of shape (..., contrasts).

    Attributes
    ----------
    estimate, std_error : ndarray
        In the unit of the response.
    df : ndarray
        Degrees of freedom of the standard error.
    t : ndarray
    p_value : ndarray
        Two-sided.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    t: Floats
    p_value: Floats


@dataclass(frozen=True, eq=False)
class FTest:
    """Several contrasts tested together; arrays of shape (...).

    Attributes
    ----------
    f : ndarray
        The statistic, ``scale`` taken in.
    num_df : int
        Contrasts tested.
    den_df : ndarray
    scale : ndarray
        What the plain statistic was multiplied by so that it follows F more closely; 1 for a single contrast.
    p_value : ndarray
    """

    f: Floats
    num_df: int
    den_df: Floats
    scale: Floats
    p_value: Floats
