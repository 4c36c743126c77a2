"""What is wrong with the numbers handed to a formula, told in one go and before anything is worked out.

Each function gives back a list of faults (empty when all is well); the caller gathers the lists and raises
once. May import numpy and the error classes; must not compute anything.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault


def _bad(name: str, values: ArrayLike, good: np.ndarray, expected: str) -> list[Fault]:
    """One fault that shows the first offending value and how many there are; none when all are good."""
    if bool(np.all(good)):
        return []
    offending = np.asarray(values, dtype=float)[~good]
    shown = "a missing value" if np.isnan(offending.flat[0]) else f"{float(offending.flat[0]):.6g}"
    more = f" (and {offending.size - 1} more)" if offending.size > 1 else ""
    return [Fault(name, f"{shown}{more} was given", expected)]


def probability(name: str, value: ArrayLike) -> list[Fault]:
    """Give back a fault unless every value lies strictly between 0 and 1.

    Parameters
    ----------
    name : str
        What the value is called in the message.
    value : array_like
        The value or values to look at.

    Returns
    -------
    list of Fault
        Empty, or one fault.
    """
    given = np.asarray(value, dtype=float)
    return _bad(name, given, (given > 0.0) & (given < 1.0), "a share between 0 and 1, both excluded")


def positive(name: str, values: ArrayLike, *, infinite: bool = False) -> list[Fault]:
    """Give back a fault unless every value is above zero.

    Parameters
    ----------
    name : str
        What the values are called in the message.
    values : array_like
        The value or values to look at.
    infinite : bool
        True when infinity is a legal value (degrees of freedom of a known scatter).

    Returns
    -------
    list of Fault
        Empty, or one fault.
    """
    given = np.asarray(values, dtype=float)
    good = (given > 0.0) & (np.isfinite(given) | (infinite & (given == np.inf)))
    return _bad(name, given, good, "a number above 0")


def not_negative(name: str, values: ArrayLike, *, infinite: bool = False) -> list[Fault]:
    """Give back a fault unless every value is zero or above.

    Parameters
    ----------
    name : str
        What the values are called in the message.
    values : array_like
        The value or values to look at.
    infinite : bool
        True when infinity is a legal value.

    Returns
    -------
    list of Fault
        Empty, or one fault.
    """
    given = np.asarray(values, dtype=float)
    good = (given >= 0.0) & (np.isfinite(given) | (infinite & (given == np.inf)))
    return _bad(name, given, good, "0 or a number above 0")


def finite(name: str, values: ArrayLike) -> list[Fault]:
    """Give back a fault unless every value is a finite number.

    Parameters
    ----------
    name : str
        What the values are called in the message.
    values : array_like
        The value or values to look at.

    Returns
    -------
    list of Fault
        Empty, or one fault.
    """
    given = np.asarray(values, dtype=float)
    return _bad(name, given, np.isfinite(given), "a finite number")


def between(name: str, values: ArrayLike, low: float, high: float) -> list[Fault]:
    """Give back a fault unless every value lies from ``low`` to ``high``, both included.

    Parameters
    ----------
    name : str
        What the values are called in the message.
    values : array_like
        The value or values to look at.
    low, high : float
        The ends.

    Returns
    -------
    list of Fault
        Empty, or one fault.
    """
    given = np.asarray(values, dtype=float)
    return _bad(name, given, (given >= low) & (given <= high), f"a number from {low:g} to {high:g}")
