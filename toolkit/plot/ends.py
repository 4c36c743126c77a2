"""Names of lines at their right ends, moved apart where they would touch: instead of a legend (rank 8)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from toolkit.plot import look

_WIDTH = 30
_LINE_PT = 13.0
# From the left middle of the name, so that no leader runs through another name.
_LEADER = {"arrowstyle": "-", "linewidth": 0.9, "shrinkA": 2, "shrinkB": 4, "relpos": (0.0, 0.5)}


def names(ax: Any, lines: Sequence[tuple[float, float, str, str]], *, inches: float | None = None) -> None:
    """Write the name of each line beside its last point, with a leader to it.

    Parameters
    ----------
    ax : Axes
        Its limits must be set already.
    lines : sequence of (x, y, name, colour)
        The last point of each line.
    inches : float, optional
        Height of the axes where they are not the only ones of their figure.
    """
    texts = [look.wrapped(name, _WIDTH) for _, _, name, _ in lines]
    inside = 72.0 * (ax.figure.get_figheight() - 1.5 if inches is None else inches)
    to_axes = ax.transData + ax.transAxes.inverted()
    wanted = [inside * to_axes.transform((x, y))[1] for x, y, _, _ in lines]
    places = apart(wanted, [_high(text) for text in texts])
    # Above the axes is the title of the panel.
    over = max((place + _high(text) / 2 - inside for place, text in zip(places, texts, strict=True)), default=0.0)
    places = [place - over for place in places] if inches is not None and over > 0.0 else places
    for place, text, (x, y, _, colour) in zip(places, texts, lines, strict=True):
        ax.annotate(
            text,
            (x, y),
            xytext=(1.05, place),
            xycoords="data",
            textcoords=("axes fraction", "axes points"),
            va="center",
            ha="left",
            annotation_clip=False,
            color=look.INK,
            arrowprops={**_LEADER, "color": colour},
        )


def tall(given: Sequence[str], least: float) -> float:
    """Inches for a figure that has room for these names below each other."""
    return max(least, 1.6 + sum(_high(look.wrapped(name, _WIDTH)) for name in given) / 72.0)


def apart(wanted: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Places for labels as near as possible to the wanted ones, in the same order, none on another.

    Parameters
    ----------
    wanted : sequence of float
        Middles wanted, from the bottom.
    heights : sequence of float
        Heights of the labels, same unit.
    """
    order = sorted(range(len(wanted)), key=lambda at: wanted[at])
    groups: list[tuple[list[int], float]] = []
    for at in order:
        members, middle = [at], wanted[at]
        # A label that touches the group below joins it, and the group is centred on what its members want.
        while groups:
            below, below_middle = groups[-1]
            half = (sum(heights[item] for item in below) + sum(heights[item] for item in members)) / 2
            if middle - below_middle >= half:
                break
            groups.pop()
            members = below + members
            middle = sum(wanted[item] for item in members) / len(members)
        groups.append((members, middle))
    places = [0.0] * len(wanted)
    for members, middle in groups:
        at_edge = middle - sum(heights[item] for item in members) / 2
        for item in members:
            places[item] = at_edge + heights[item] / 2
            at_edge += heights[item]
    return places


def _high(text: str) -> float:
    """Points that a label takes, with some air."""
    return _LINE_PT * (text.count("\n") + 1) + 3.0
