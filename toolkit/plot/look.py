"""The one look of every figure: palette, marks, sizes, ticks in per cent, and figures that need no screen.

Rank 8. Colour never carries a meaning alone: each level has its own marker and line style too. Figures
are made without pyplot, so that none stays open and none shows itself; they leave through ``report.show``.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

# Okabe and Ito 2008 (also Wong 2011, Nature Methods 8:441), without the hues that are too pale on white.
PALETTE = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p", "*", "h")
LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
INK = "#222222"
QUIET = "#666666"
BAND = "#DDDDDD"
SHADE = "#F0F0F0"
SMALLEST_PT = 9
TITLE_PT = 10.5
# A bold character of the title, on average with some reserve.
_BOLD_IN = 0.098

_STYLE: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": SMALLEST_PT,
    "axes.titlesize": TITLE_PT,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    # At the top of the panel: matplotlib need not look whether ticks stand there, for which it lays all of them out.
    "axes.titley": 1.0,
    "axes.labelsize": SMALLEST_PT,
    "xtick.labelsize": SMALLEST_PT,
    "ytick.labelsize": SMALLEST_PT,
    "legend.fontsize": SMALLEST_PT,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": QUIET,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "figure.facecolor": "white",
    "axes.facecolor": "white",
    "lines.linewidth": 1.6,
    "lines.markersize": 7,
    # A dollar sign in the name of an oil is a dollar sign, not the start of a formula.
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "hatch.linewidth": 0.6,
}

Drawing = TypeVar("Drawing", bound=Callable[..., Any])


@dataclass(frozen=True)
class Mark:
    """How one level is drawn: its colour, marker and line style."""

    colour: str
    marker: str
    line: Any


@contextmanager
def style() -> Iterator[None]:
    """The shared look, for as long as the block lasts; nothing is changed outside it."""
    import matplotlib as mpl

    with mpl.rc_context(_STYLE):
        yield


def styled(draw: Drawing) -> Drawing:
    """The drawing function, run in the shared look."""

    @functools.wraps(draw)
    def in_style(*given: Any, **named: Any) -> Any:
        """Draw in the shared look."""
        with style():
            return draw(*given, **named)

    return in_style  # type: ignore[return-value]


def axes(ax: Any, width: float, height: float) -> Any:
    """The axes given, or new ones on a figure of that size in inches."""
    made = grid(width, height, 1)[0] if ax is None else ax
    # Axes that someone else made have labels that would read a dollar sign as the start of a formula.
    for text in (made.xaxis.label, made.yaxis.label):
        text.set_parse_math(False)
    return made


def ticks(ax: Any, along: str, places: Sequence[float], names: Sequence[str], *, rotation: float = 0) -> None:
    """Put names at places along the x or the y axis."""
    put = ax.set_xticks if along == "x" else ax.set_yticks
    put(list(places), list(names), rotation=rotation, parse_math=False)


def grid(width: float, height: float, columns: int) -> list[Any]:
    """Axes side by side on a new figure of that size in inches."""
    return list(figure(width, height).subplots(1, columns, squeeze=False)[0])


def figure(width: float, height: float) -> Any:
    """A new figure of that size in inches, whose panels leave room for what stands around them."""
    from matplotlib.figure import Figure

    from toolkit.plot.margins import Margins

    return Figure(figsize=(width, height), layout=Margins())


def mark(at: int) -> Mark:
    """The mark of the level at a place in its order, counted from 0.

    Colours come again after five, markers after twelve, so that no two of the first 60 are alike.
    """
    return Mark(PALETTE[at % len(PALETTE)], MARKERS[at % len(MARKERS)], LINES[at % len(LINES)])


def wrapped(text: str, width: int) -> str:
    """A text broken into lines of at most ``width`` characters: between words and at their hyphens, not before a %.

    A word that is longer than a line is broken after an underscore, a slash, a hyphen or a point where it has one, and
    inside otherwise.
    """
    kept = re.sub(r"(?<=\d) %", "\u00a0%", str(text))
    lines = [""]
    for word in re.split(r"[ \t\r\n]+", kept.strip(" \t\r\n")):
        gap = " " if lines[-1] else ""
        for piece in _pieces(word, width):
            if len(lines[-1]) + len(gap) + len(piece) <= width:
                lines[-1] += gap + piece
            else:
                lines += [piece[at : at + width] for at in range(0, len(piece), width)]
            gap = ""
    return "\n".join(line for line in lines if line) or " "


def _pieces(word: str, width: int) -> list[str]:
    """A word cut where it may be broken."""
    if len(word) <= width:
        return re.split(r"(?<=[^\W\d_]{2}-)(?=[^\W\d_]{2})", word)
    return re.findall(r"[^_/.\-]*[_/.\-]+|[^_/.\-]+", word)


def title(ax: Any, text: str) -> None:
    """Put the finding on top, broken into lines: over the whole figure when the axes are its only ones."""
    whole = ax.figure
    if len(whole.axes) == 1:
        whole_title(whole, text)
    else:
        width = whole.get_figwidth() * ax.get_position().width
        ax.set_title(wrapped(text, max(int((width - 0.2) / _BOLD_IN), 12)), loc="left", parse_math=False)


def whole_title(whole: Any, text: str) -> None:
    """Put the finding over a whole figure, broken into lines."""
    text = wrapped(text, max(int((whole.get_figwidth() - 0.2) / _BOLD_IN), 12))
    whole.suptitle(text, x=0.01, ha="left", fontsize=TITLE_PT, fontweight="bold", parse_math=False)


def capital(text: str) -> str:
    """The text with a capital first letter, the rest as it was."""
    return text[:1].upper() + text[1:]


def name_of_runs(count: int) -> str:
    """'n = 12 runs' as it stands on axes."""
    return f"n = {count} run" if count == 1 else f"n = {count} runs"


def ratio_ticks(low: float, high: float, at_most: int = 8) -> list[float]:
    """Ratios for the ticks of a logarithmic axis: round changes in per cent, no change among them.

    Parameters
    ----------
    low, high : float
        Limits of the axis as ratios, 0 < low < high.
    at_most : int
        Most ticks wanted; two are never nearer than the range over this number.
    """
    tens = [item / 10 for item in range(2, 15)]
    wanted = [
        1,
        0.5,
        2,
        0.1,
        *(10.0**power for power in (1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6)),
        0.8,
        1.5,
        0.3,
        3,
        0.2,
        5,
        *tens,
        *(item / 20 for item in range(12, 27)),
        *(item / 100 for item in range(75, 126)),
    ]
    span = math.log(high / low)
    chosen: list[float] = []
    for ratio in wanted:
        inside = low <= ratio <= high
        if inside and all(abs(math.log(ratio / other)) >= 0.999 * span / at_most for other in chosen):
            chosen.append(ratio)
    return sorted(chosen) if len(chosen) > 1 else sorted({low, *chosen, high})


def log_axis(ax: Any, low: float, high: float, *, along: str = "x") -> None:
    """Make one direction of the axes logarithmic from ``low`` to ``high``, without minor ticks."""
    from matplotlib.ticker import NullFormatter, NullLocator

    direction = ax.xaxis if along == "x" else ax.yaxis
    (ax.set_xscale if along == "x" else ax.set_yscale)("log")
    (ax.set_xlim if along == "x" else ax.set_ylim)(low, high)
    direction.set_minor_locator(NullLocator())
    direction.set_minor_formatter(NullFormatter())


def value_ticks(low: float, high: float, at_most: int = 7) -> list[float]:
    """Round values for the ticks of a logarithmic axis of a measured quantity.

    Parameters
    ----------
    low, high : float
        Limits of the axis, 0 < low < high.
    at_most : int
        Most ticks wanted, 2 or more.
    """
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    if high / low < 2.0:
        # So near that even steps look even on a logarithmic axis too.
        for power in range(math.floor(math.log10(high - low)) - 1, last + 1):
            for step in (1, 2, 5):
                size = step * 10.0**power
                inside = [at * size for at in range(math.ceil(low / size), math.floor(high / size) + 1)]
                if 2 <= len(inside) <= at_most:
                    return [float(f"{value:.12g}") for value in inside]
    for steps in ((1, 1.5, 2, 3, 4, 5, 6, 8), (1, 1.5, 2, 3, 5, 7), (1, 2, 5), (1, 3), (1,)):
        inside = [step * 10.0**power for power in range(first, last + 1) for step in steps]
        inside = [value for value in inside if low <= value <= high]
        if 2 <= len(inside) <= at_most:
            return inside
    inside = [10.0**power for power in range(first, last + 1) if low <= 10.0**power <= high]
    if len(inside) > at_most:
        return inside[:: math.ceil(len(inside) / at_most)]
    return inside if len(inside) > 1 else [low, math.sqrt(low * high), high]


def limits(values: Sequence[float], *, log: bool, room: float = 0.08) -> tuple[float, float]:
    """Limits of an axis that hold all values with some room on both sides."""
    known = [float(value) for value in values if value is not None and math.isfinite(value)]
    if log:
        known = [math.log(value) for value in known if value > 0]
    if not known:
        return (0.5, 2.0) if log else (0.0, 1.0)
    low, high = min(known), max(known)
    span = (high - low) or (0.2 if log else abs(high) * 0.2 or 1.0)
    low, high = low - room * span, high + room * span
    return (math.exp(low), math.exp(high)) if log else (low, high)
