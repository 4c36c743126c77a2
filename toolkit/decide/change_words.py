"""A change with its interval in words: '26 % less elongation (95 % interval: 12 to 38 % less)' (rank 7).

No rounded figure falls on an edge of the worthwhile band or on no change, or changes its side of one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from toolkit import measured_in
from toolkit.brief.model import Comparison, Response, gain_sign

# Marks a sentence on a comparison that is equivalent by its narrower interval and not known yet by its own.
EQUIVALENCE = "by which equivalence is judged, stays within it"


@dataclass(frozen=True)
class Change:
    """The answer to one comparison as a gain on the analysis scale.

    Attributes
    ----------
    comparison : Comparison
    response : Response
    gain, low, high : float
        Estimate and limits (ln on the log scale), positive for what the response calls better; a limit may be infinite.
    margin : float or None
        The worthwhile change, above 0; None when none was stated.
    level : float
        Of the interval.
    """

    comparison: Comparison
    response: Response
    gain: float
    low: float
    high: float
    margin: float | None
    level: float


def gain_of(response: Response, value: float) -> float:
    """A shown estimate or limit as a gain on the analysis scale."""
    if response.scale != "log":
        return gain_sign(response) * value
    # A limit beyond what floating point holds stands at nought or infinity: the gain is then infinite too.
    return gain_sign(response) * (math.log(value) if value > 0.0 else -math.inf)


def with_interval(answer: Change) -> str:
    """The change and its interval: '26 % less elongation (95 % interval: 12 to 38 % less)'."""
    places = _places(answer)
    change = estimate(answer.response, answer.comparison, answer.gain, places)
    return f"{change} ({100.0 * answer.level:g} % interval: {_interval_words(answer, places)})"


def bound(answer: Change) -> str:
    """The end that is known of an interval open on one side: 'at least 62 % less iron', 'at most 12 % more iron'."""
    response, interaction = answer.response, answer.comparison.interaction
    gain = answer.low if math.isfinite(answer.low) else answer.high
    change = gain_sign(response) * gain
    # The other end is open towards smaller values where the known one is the upper of the two.
    upper = math.isfinite(answer.high) == (gain_sign(response) > 0)
    places = _places(answer)
    if interaction and response.scale == "log":
        return f"a ratio of ratios of {'at most' if upper else 'at least'} {math.exp(change):.{places + 2}f}"
    if interaction:
        return f"a difference of differences of {'at most' if upper else 'at least'} {_signed(response, gain, places)}"
    size = "at least" if upper == (change < 0.0) else "at most"
    label = measured_in.label(response.name)
    return f"{size} {_amount(response, gain, places)} {_way(change)} {label}"


def shown(answer: Change, verdict: str) -> str:
    """What the interval shows, in words."""
    gain, loss = _side_words(answer)
    side, way = (gain, 1) if answer.gain > 0.0 else (loss, -1)
    # The side says already whether it is less or more.
    size = _edge_words(answer, way).removesuffix(" less").removesuffix(" more")
    if verdict.startswith("worthwhile"):
        return f"{side} is shown, and that it goes beyond {size}"
    if verdict == "smaller than worthwhile":
        told = f"the change is smaller than worthwhile ({_band_words(answer)})"
        return f"{side} is shown, but {told}" if answer.low > 0.0 or answer.high < 0.0 else told
    if verdict == "not known yet":
        what = "an interaction" if answer.comparison.interaction else "a change"
        return f"neither {what} nor its absence is shown"
    return f"{side} is shown, but not that it reaches {size}" if size else f"{side} is shown"


def equivalent(answer: Change) -> str:
    """What an answer that is not known yet says where its narrower interval lies within the band all the same."""
    what = "an interaction" if answer.comparison.interaction else "a change"
    return (
        f"neither {what} nor its absence is shown, as that interval leaves the band of changes too small to matter "
        f"({_band_words(answer)}); the narrower {100.0 * (2.0 * answer.level - 1.0):g} % interval, {EQUIVALENCE}, "
        f"which is a claim of its own"
    )


def _band_words(answer: Change) -> str:
    """Both edges of the band of changes too small to matter: '20 % less to 25 % more'."""
    first, last = sorted((1, -1), key=lambda way: _natural(answer.response, way * (answer.margin or 0.0)))
    return f"{_edge_words(answer, first)} to {_edge_words(answer, last)}"


def _side_words(answer: Change) -> tuple[str, str]:
    """What a gain and a loss are called: by direction where either is of interest."""
    smaller = answer.response.better == "smaller"
    if answer.comparison.interaction:
        log = answer.response.scale == "log"
        below, above = (
            ("a ratio below 1", "a ratio above 1") if log else ("a value below 0", "a value above 0")
        )
    elif answer.comparison.direction == "either":
        below, above = "a decrease", "an increase"
    else:
        return "a gain", "a loss"
    return (below, above) if smaller else (above, below)


def _edge_words(answer: Change, way: int) -> str:
    """The worthwhile change on the side of a gain (1) or of a loss (-1), as people read it; empty without
    one."""
    if answer.margin is None:
        return ""
    edge = way * answer.margin
    if answer.comparison.interaction and answer.response.scale == "log":
        return f"{math.exp(gain_sign(answer.response) * edge):.3g}"
    change = _natural(answer.response, edge)
    return f"{abs(change):.3g} {_unit(answer.response)} {_way(change)}".replace("  ", " ")


def _places(answer: Change) -> int:
    """Decimals so that no rounded figure falls on an edge, or changes its side of one."""
    log = answer.response.scale == "log"
    edges = [0.0] + ([] if answer.margin is None else [answer.margin, -answer.margin])
    shown = [_natural(answer.response, gain) for gain in (answer.gain, answer.low, answer.high)]
    limits = [_natural(answer.response, edge) for edge in edges]
    smallest = max((abs(value) for value in shown if math.isfinite(value)), default=1.0)
    start = 0 if log else max(0, 2 - math.floor(math.log10(smallest or 1.0)) - 1)
    for places in range(start, start + 4):
        if all(_same_side(value, limit, places) for value in shown for limit in limits):
            return places
    return start + 4


def _same_side(value: float, limit: float, places: int) -> bool:
    """True when rounding leaves the value on its side of the limit."""
    if not math.isfinite(value) or math.isclose(value, limit, rel_tol=1e-9, abs_tol=1e-12):
        return True
    rounded = round(value, places)
    return rounded != round(limit, places) and (rounded > limit) == (value > limit)


def _natural(response: Response, gain: float) -> float:
    """A gain as the change people read: per cent on the log scale, else in the unit of the response."""
    change = gain_sign(response) * gain
    if response.scale != "log":
        return change
    return 100.0 * math.expm1(change) if change < 700.0 else math.inf


def estimate(response: Response, comparison: Comparison, gain: float, places: int = 0) -> str:
    """The change: '26 % less elongation', '0.8 µm more wear', or the ratio of an interaction."""
    if comparison.interaction:
        if response.scale == "log":
            return f"a ratio of ratios of {math.exp(gain_sign(response) * gain):.{places + 2}f}"
        return f"a difference of differences of {_signed(response, gain, places)}"
    change = _natural(response, gain)
    if change == 0.0:
        return f"no change of {measured_in.label(response.name)}"
    return f"{_amount(response, gain, places)} {_way(change)} {measured_in.label(response.name)}"


def _interval_words(answer: Change, places: int) -> str:
    """The interval: '12 to 38 % less', or '5 % more to 12 % less' across no change."""
    response = answer.response
    ends = sorted((answer.low, answer.high), key=lambda gain: abs(_natural(response, gain)))
    if answer.comparison.interaction:
        pair = sorted(gain_sign(response) * gain for gain in ends)
        if response.scale == "log":
            texts = [f"{math.exp(value):.{places + 2}f}" if value < 700.0 else "no limit" for value in pair]
            return " to ".join(texts)
        return " to ".join(_signed(response, gain_sign(response) * value, places) for value in pair)
    near, far = ends
    ways = [_way(_natural(response, gain)) for gain in ends]
    if ways[0] == ways[1] and math.isfinite(_natural(response, far)):
        numbers = [_number(_natural(response, gain), places) for gain in ends]
        return f"{numbers[0]} to {numbers[1]} {_unit(response)} {ways[0]}".replace("  ", " ")
    if ways[0] != ways[1]:
        near, far = sorted(ends, key=lambda gain: _natural(response, gain))
    last = f"{_amount(response, far, places)} {_way(_natural(response, far))}"
    first = f"{_amount(response, near, places)} {_way(_natural(response, near))}"
    return f"{first} to {last if math.isfinite(_natural(response, far)) else 'no limit'}"


def _way(change: float) -> str:
    """Less or more."""
    return "less" if change < 0.0 else "more"


def _unit(response: Response) -> str:
    """What a change is told in."""
    return "%" if response.scale == "log" else response.measured_in


def _number(change: float, places: int) -> str:
    """The size of a change as text."""
    return f"{abs(change):.{places}f}"


def _amount(response: Response, gain: float, places: int) -> str:
    """The size of a change with its unit."""
    return f"{_number(_natural(response, gain), places)} {_unit(response)}".strip()


def _signed(response: Response, gain: float, places: int) -> str:
    """A change with its sign and unit."""
    return f"{_natural(response, gain):+.{places}f} {_unit(response)}".strip()
