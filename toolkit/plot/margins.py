"""Room around panels for what stands outside them: every text is measured once, and the panels take the rest (rank 8).

A text hangs at a share of its panel and reaches so many pixels from there, however large the panel becomes. So the room
follows from one measurement, where a general layout draws the figure to measure, moves, and measures again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from matplotlib.layout_engine import LayoutEngine
from matplotlib.legend import Legend
from matplotlib.text import Annotation, Text

_PAD_IN = 0.08
_BETWEEN_IN = 0.12
_TICK_PT = 3.5
_PASSES = 12
# Of the size that a panel has before it is laid out, at least this much is left to it.
_LEAST_SHARE = 0.35


@dataclass(frozen=True)
class Hung:
    """Something that reaches from ``least`` to ``most`` pixels around a share of the panel along one direction."""

    share: float
    least: float
    most: float


class Margins(LayoutEngine):
    """What matplotlib asks for a layout when it draws a figure of one grid of panels."""

    _adjust_compatible = True
    _colorbar_gridspec = True

    def execute(self, fig: Any) -> None:
        """Give the panels of the figure the room that their texts leave."""
        panels = [(ax, ax.get_subplotspec()) for ax in fig.axes if ax.get_subplotspec() is not None]
        if not panels:
            return
        left, bottom, right, top = _edges(fig)
        laid = panels[0][1].get_gridspec()
        measured = [(spec, _hung(ax)) for ax, spec in panels]
        across = _shares(
            right - left, laid.ncols, laid.get_width_ratios(),
            [(spec.colspan.start, found[0]) for spec, found in measured], _BETWEEN_IN * fig.dpi,
        )  # fmt: skip
        # Rows count from the top, heights from the bottom.
        last = laid.nrows - 1
        up = _shares(
            top - bottom, laid.nrows, (laid.get_height_ratios() or [1] * laid.nrows)[::-1],
            [(last - spec.rowspan.start, found[1]) for spec, found in measured], _BETWEEN_IN * fig.dpi,
        )  # fmt: skip
        width, height = fig.bbox.width, fig.bbox.height
        for (ax, spec), (_, found) in zip(panels, measured, strict=True):
            (x, wide), (y, tall) = across[spec.colspan.start], up[last - spec.rowspan.start]
            ax.set_position(((left + x) / width, (bottom + y) / height, wide / width, tall / height))
            # Said here, so that matplotlib need not look for the place again.
            if 0 in found[2]:
                ax.xaxis.set_label_coords(ax.xaxis.label.get_position()[0], -found[2][0] / tall)
            if 1 in found[2]:
                ax.yaxis.set_label_coords(-found[2][1] / wide, ax.yaxis.label.get_position()[1])


def _edges(fig: Any) -> tuple[float, float, float, float]:
    """What title, labels and keys of the whole figure leave: left, bottom, right, top [pixels]."""
    pad = _PAD_IN * fig.dpi
    left, bottom, right, top = pad, pad, fig.bbox.width - pad, fig.bbox.height - pad
    for item in (*fig.texts, *fig.legends):
        if isinstance(item, Text) and item.get_position()[1] > 0.9:
            item.set_y(1.0 - pad / fig.bbox.height)
        box = item.get_window_extent()
        if isinstance(item, Text) and item.get_rotation() == 90:
            left = max(left, box.x1 + pad)
        elif box.y0 + box.y1 > fig.bbox.height:
            top = min(top, box.y0 - pad)
        else:
            bottom = max(bottom, box.y1 + pad)
    return left, bottom, right, top


def _shares(
    room: float, count: int, ratios: Any, hung: list[tuple[int, list[Hung]]], between: float
) -> list[tuple[float, float]]:
    """Start and length of each panel along one direction [pixels]."""
    ratios = list(ratios or [1] * count)
    before, after = [0.0] * count, [0.0] * count
    unit = 0.0
    for _ in range(_PASSES):
        unit = max(room - sum(before) - sum(after) - between * (count - 1), 0.1 * room) / sum(ratios)
        for at in range(count):
            length = unit * ratios[at]
            mine = [item for place, found in hung if place == at for item in found]
            before[at] = max((-item.share * length - item.least for item in mine), default=0.0)
            after[at] = max(((item.share - 1.0) * length + item.most for item in mine), default=0.0)
            before[at], after[at] = max(before[at], 0.0), max(after[at], 0.0)
    made, start = [], 0.0
    for at in range(count):
        made.append((start + before[at], unit * ratios[at]))
        start += before[at] + unit * ratios[at] + after[at] + between
    return made


def _hung(ax: Any) -> tuple[list[Hung], list[Hung], dict[int, float]]:
    """What stands at a panel, across and up, and how far the labels of its axes stand away [pixels]."""
    dots = ax.figure.dpi / 72.0
    away: dict[int, float] = {}
    ax.apply_aspect()
    window = ax.get_window_extent()
    across: list[Hung] = []
    up: list[Hung] = []
    titles = _titles(ax)
    if ax.axison:
        for along, axis, mine, other in ((0, ax.xaxis, across, up), (1, ax.yaxis, up, across)):
            boxes = [(label, label.get_window_extent()) for label in _labels(axis)]
            mine.extend(
                _at(label.get_transform().transform(label.get_position())[along], box, window, along)
                for label, box in boxes
            )
            # Away from the panel by pixels, at whichever side the labels stand.
            start, end = window.extents[1 - along], window.extents[3 - along]
            before = start - min((box.extents[1 - along] for _, box in boxes), default=start - _TICK_PT * dots)
            after = max((box.extents[3 - along] for _, box in boxes), default=end) - end
            if axis.label.get_visible() and axis.label.get_text().strip():
                away[along] = max(before, 0.0) + axis.labelpad * dots
                before = away[along] + _thick(axis.label, along)
            other.append(Hung(0.0, min(-before, 0.0), 0.0))
            other.append(Hung(1.0, 0.0, max(after, 0.0)))
    for item in ax.get_children():
        if not item.get_visible() or not item.get_in_layout():
            continue
        if isinstance(item, Text) and item.get_text().strip():
            if item not in titles and _well_inside(item, window):
                continue
            box = Text.get_window_extent(item) if not isinstance(item, Annotation) else _words(item)
            here = item.get_transform().transform(item.get_position())
            free = item not in titles
            for along, found in ((0, across), (1, up)):
                if along == 1 or free:
                    found.append(_at(here[along], box, window, along, fixed=_by_points(item, along)))
        elif isinstance(item, Legend):
            box = item.get_window_extent()
            for along, found in ((0, across), (1, up)):
                start, end = window.extents[along], window.extents[along + 2]
                middle = 0.5 * (start + end)
                # A key beside its panel hangs at that side.
                where = start if box.extents[along + 2] < middle else end if box.extents[along] > middle else middle
                found.append(_at(where, box, window, along))
    return across, up, away


def _titles(ax: Any) -> set[Any]:
    """The titles of a panel, whose width asks for no room: they are broken into lines to fit."""
    return {item for item in ax.get_children() if isinstance(item, Text)} - set(ax.texts)


def _well_inside(item: Any, window: Any) -> bool:
    """True for words so short and so far from every edge that they stay in their panel, even in one much smaller."""
    if isinstance(item, Annotation) or item.get_rotation() % 180:
        return False
    lines = item.get_text().split("\n")
    dots = item.get_fontsize() * item.figure.dpi / 72.0
    # No letter is wider than its size is high, and no line twice as high.
    room = (max(map(len, lines)) * dots, 2.0 * len(lines) * dots)
    here = item.get_transform().transform(item.get_position())
    return all(
        room[along] < _LEAST_SHARE * min(here[along] - window.extents[along], window.extents[along + 2] - here[along])
        for along in (0, 1)
    )


def _words(item: Annotation) -> Any:
    """The box of an annotation's words without its leader."""
    canvas = item.figure.canvas
    if hasattr(canvas, "get_renderer"):
        item.update_positions(canvas.get_renderer())
    else:
        item.get_window_extent()
    return Text.get_window_extent(item)


def _by_points(item: Any, along: int) -> bool:
    """True where a text hangs by points from the edge of its panel."""
    coords = getattr(item, "anncoords", "")
    name = coords[along] if isinstance(coords, tuple) else coords
    return name == "axes points"


def _at(where: float, box: Any, window: Any, along: int, *, fixed: bool = False) -> Hung:
    """A box that hangs at a place of the panel."""
    start, length = window.extents[along], window.extents[along + 2] - window.extents[along]
    share = 0.0 if fixed else (where - start) / length
    anchor = start + share * length
    return Hung(share, box.extents[along] - anchor, box.extents[along + 2] - anchor)


def _labels(axis: Any) -> list[Any]:
    """The tick labels of an axis that are drawn."""
    axis.get_ticklabels()
    low, high = sorted(axis.get_view_interval())
    spare = 1e-9 * (high - low)
    return [
        label
        for tick in axis.get_major_ticks()
        if low - spare <= tick.get_loc() <= high + spare
        for label in (tick.label1, tick.label2)
        if label.get_visible() and label.get_text().strip()
    ]


def _thick(label: Any, along: int) -> float:
    """How much room the label of an axis takes away from it [pixels]."""
    box = label.get_window_extent()
    return float(box.height if along == 0 else box.width)
