"""The room around panels: what hangs outside them ends at the edge of the figure, whatever size the panels get."""

from __future__ import annotations

import pytest
from matplotlib.text import Text

from tests.unit.plot import boxes
from toolkit.plot import look

PAD = 0.08 * 120


@pytest.mark.parametrize("words", ["short", "a name that takes a quarter"])
def test_labels_left_and_right_reach_from_edge_to_edge(words):
    ax = look.axes(None, 7.0, 3.0)
    ax.set_ylim(0, 1)
    look.ticks(ax, "y", [0.2, 0.8], [words, "b"])
    far = ax.annotate(words, (1.05, 0.5), xycoords="axes fraction", annotation_clip=False)
    figure, found = boxes.texts_of(ax)
    left = min(box.x0 for _, box in found)
    right = next(box.x1 for item, box in found if item is far)
    assert (left, figure.bbox.width - right) == pytest.approx((PAD, PAD), abs=1.5)
    # Drawn again nothing moves.
    places = [list(box.extents) for _, box in found]
    assert [list(box.extents) for _, box in boxes.texts_of(ax)[1]] == [pytest.approx(place) for place in places]


def test_titles_labels_and_keys_of_the_whole_figure_lie_outside_the_panels():
    left, right = look.grid(8.0, 4.0, 2)
    left.plot([0, 1], [0, 1], label="a")
    left.set_xlabel("across")
    right.set_ylabel("up")
    look.whole_title(left.figure, "a finding over both")
    left.figure.legend(*left.get_legend_handles_labels(), loc="outside lower center")
    figure, _ = boxes.texts_of(left)
    assert boxes.faults(left) == []
    (key,) = figure.legends
    assert key.get_window_extent().y1 < Text.get_window_extent(left.xaxis.label).y0
    title = next(item for item in figure.texts if item.get_text() == "a finding over both")
    for ax in (left, right):
        assert ax.get_window_extent().y1 < title.get_window_extent().y0
    assert left.get_window_extent().width == pytest.approx(right.get_window_extent().width)
    assert left.get_window_extent().x1 < Text.get_window_extent(right.yaxis.label).x0
