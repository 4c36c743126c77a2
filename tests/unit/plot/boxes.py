"""Where the texts of a drawn figure lie, to see that none lies on another and none is cut."""

from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from toolkit.plot import look


def texts_of(drawn):
    """Every visible text of a figure with its box in pixels, drawn at 120 dots per inch."""
    figure = getattr(drawn, "figure", drawn)
    figure.set_dpi(120)
    canvas = FigureCanvasAgg(figure)
    with look.style():
        canvas.draw()
    renderer = canvas.get_renderer()
    hidden = unseen(figure)
    found = []
    for item in figure.findobj(Text):
        if item.get_visible() and item.get_text().strip() and id(item) not in hidden:
            # Of an annotation the words alone, without its leader.
            found.append((item, Text.get_window_extent(item, renderer)))
    return figure, found


def unseen(figure):
    """Tick labels outside the axes' limits and those of axes switched off, which matplotlib keeps and does not draw."""
    hidden = set()
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            spare = 1e-9 * (high - low)
            for tick in axis.get_major_ticks() + axis.get_minor_ticks():
                if not ax.axison or not low - spare <= tick.get_loc() <= high + spare:
                    hidden |= {id(tick.label1), id(tick.label2)}
    return hidden


def faults(drawn):
    """Texts that lie on one another, leave the figure, or are smaller than 9 points; empty when all is well."""
    figure, found = texts_of(drawn)
    width, height = figure.canvas.get_width_height()
    told = []
    for item, box in found:
        if box.x0 < -1 or box.y0 < -1 or box.x1 > width + 1 or box.y1 > height + 1:
            told.append(f"cut: {item.get_text()!r} {box.extents.round()}")
        if item.get_fontsize() < look.SMALLEST_PT:
            told.append(f"small: {item.get_text()!r}")
    for (one, box), (other, next_box) in combinations(found, 2):
        wide = min(box.x1, next_box.x1) - max(box.x0, next_box.x0)
        high = min(box.y1, next_box.y1) - max(box.y0, next_box.y0)
        if wide > 1 and high > 1:
            told.append(f"{one.get_text()!r} lies on {other.get_text()!r}")
    return told


def title_of(drawn):
    """The finding on top of a figure, without line breaks."""
    figure = getattr(drawn, "figure", drawn)
    text = figure.get_suptitle() or figure.axes[0].get_title(loc="left")
    return " ".join(text.replace("\u00a0", " ").split())
