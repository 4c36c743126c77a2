"""A gain on the analysis scale, and the smallest change a plan shows, as people say them (rank 5)."""

from __future__ import annotations

import math

from toolkit.brief import model as brief_model
from toolkit.brief.model import Response
from toolkit.size.claim import Claim


def changed(response: Response, gain: float) -> str:
    """A positive gain on the analysis scale as people say it: '-21.8 %' or '-3.2 µm'.

    Notes
    -----
    Checked against: signs and units by hand, tests/unit/size/test_in_words.py.
    """
    sign = brief_model.gain_sign(response)
    if response.scale == "log":
        return f"{100 * math.expm1(sign * gain):+.3g} %"
    return f"{sign * gain:+.3g} {response.measured_in}".rstrip()


def detectable(response: Response, claim: Claim) -> str:
    """The smallest change a plan shows, with sign and unit, and the ratio beside it: '-21.8 % (× 0.782)'.

    Notes
    -----
    Checked against: signs and units by hand, tests/unit/size/test_in_words.py.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.brief.known_scatter import KnownScatter
    >>> from toolkit.design import factorial
    >>> from toolkit.size import promise, scatter
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> guess = scatter.known(replace(brief, scatter=KnownScatter(declared_cv_pct=(8.0, 15.0))), "wear_um")
    >>> claim = promise.claims([factorial.full(brief, builds=3)], guess)[0][0]
    >>> detectable(guess.response, claim)
    '-20 % (× 0.8)'
    """
    value = smallest(claim)
    if value is None:
        return "–"
    text = changed(response, gain_of(value, response))
    return f"{text} (× {value:.3g})" if response.scale == "log" else text


def assumed(response: Response, claim: Claim) -> str:
    """The true change that chances are told for, with its sign and unit: '-20 %'; a dash where none is assumed.

    Notes
    -----
    Checked against: signs and units by hand, tests/unit/size/test_in_words.py.
    """
    if claim.assumed_change is None:
        return "–"
    unit = "%" if response.scale == "log" else response.measured_in
    sign = "-" if brief_model.gain_sign(response) < 0 else "+"
    return f"{sign}{claim.assumed_change:.3g} {unit}".rstrip()


def smallest(claim: Claim) -> float | None:
    """The detectable ratio, or the detectable change.

    Notes
    -----
    Checked against: tests/unit/size/test_in_words.py.
    """
    return claim.detectable_change if claim.detectable_ratio is None else claim.detectable_ratio


def gain_of(value: float | None, response: Response) -> float:
    """A detectable ratio or change as a positive gain on the analysis scale.

    Notes
    -----
    Checked against: tests/unit/size/test_in_words.py.
    """
    return abs(math.log(value or 1.0)) if response.scale == "log" else abs(value or 0.0)
