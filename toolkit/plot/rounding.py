"""How many decimals a number deserves, told by its standard error; used for display only (rank 8)."""

from __future__ import annotations

import math
import re
from numbers import Real

MINUS = "−"
# A hyphen before a number that nothing else stands in front of.
_HYPHEN = re.compile(r"(?<![\w.-])-(?=\d)")
_MOST = 12


def known(value: object) -> bool:
    """True for a finite number; False for None, NaN and infinities."""
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)


def decimals(std_error: float | None) -> int | None:
    """Decimals to show of an estimate whose standard error is ``std_error``; negative for tens, hundreds ...

    None when there is no error, or it is nought. The rule of the Particle Data Group (Review of Particle
    Physics, Introduction, section on rounding): with the first three digits of the error between 100 and 354
    two digits of it are kept, between 355 and 949 one, above that it is rounded up to 1000 and two are kept.
    """
    if not known(std_error) or std_error <= 0:
        return None
    power = math.floor(math.log10(std_error))
    lead = round(std_error / 10.0**power * 100)
    return 1 - power if lead <= 354 else -power


def fixed(value: float, places: int, *, sign: bool = False) -> str:
    """A number with so many decimals and a true minus sign; ``sign`` puts a plus before positive ones."""
    rounded = round(float(value), places)
    text = f"{abs(rounded):.{min(max(places, 0), _MOST)}f}"
    if rounded < 0:
        return MINUS + text
    return ("+" if sign and rounded > 0 else "") + text


def significant(value: float, digits: int = 3, *, sign: bool = False) -> str:
    """A number to so many significant digits, a true minus sign, powers of ten only for extremes."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    size = math.floor(math.log10(abs(rounded)))
    if size < -4 or size > 6:
        text = f"{abs(rounded):.{digits - 1}e}".replace("-", MINUS)
        return (MINUS if value < 0 else "+" if sign else "") + text
    return fixed(rounded, max(digits - 1 - size, 0), sign=sign)


def estimate(value: float, std_error: float | None, *, sign: bool = False) -> str:
    """A number as far as its standard error allows; three significant digits when there is no error."""
    places = decimals(std_error)
    return significant(value, sign=sign) if places is None else fixed(value, places, sign=sign)


def minus(text: str) -> str:
    """A text whose numbers have a true minus sign; hyphens in names and dates stay.

    Examples
    --------
    >>> minus("-21.8 % in run B-3 (2026-03-31)")
    '−21.8 % in run B-3 (2026-03-31)'
    """
    return _HYPHEN.sub(MINUS, text)


def p_value(value: float) -> str:
    """A p value for a table: three decimals, two digits below a hundredth, '< 0.0001' below that."""
    if value < 0.0001:
        return "< 0.0001"
    return f"{value:.2g}" if value < 0.01 else f"{value:.3f}"
