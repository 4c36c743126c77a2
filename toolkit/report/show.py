"""The one way figures leave: shown in a notebook with their text alternative, or as PNG bytes (rank 10)."""

from __future__ import annotations

import io
import warnings
from typing import Any

from toolkit.errors import NotebookError
from toolkit.plot import look

DPI = 120
SHORTEST_ALT = 30
_COLOURS = 64


def show(drawn: Any, alt: str) -> None:
    """Show a figure in a notebook, with its text alternative for those who cannot see it.

    Parameters
    ----------
    drawn : Axes or Figure
        What a function of ``toolkit.plot`` gave.
    alt : str
        The finding in words with its numbers, at least 30 characters: what the ``alt_...`` function beside
        the plot gives.

    Raises
    ------
    NotebookError
        When the text alternative is too short to say anything.
    """
    from IPython.display import display

    said = checked_alt(alt)
    image = {"image/png": figure_png(drawn), "text/plain": said}
    display(image, raw=True, metadata={"image/png": {"alt": said}})


def load() -> None:
    """Import what draws."""
    from matplotlib.backends import backend_agg
    from matplotlib.figure import Figure

    del backend_agg, Figure


def figure_png(drawn: Any) -> bytes:
    """A figure as the bytes of a PNG: the same figure always gives the same bytes.

    Parameters
    ----------
    drawn : Axes or Figure

    Returns
    -------
    bytes
        At 120 dots per inch, 64 colours, without a date or the name of a program in it.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = getattr(drawn, "figure", drawn)
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    with look.style(), warnings.catch_warnings():
        # A sign that the font lacks is drawn as a box; the table beside the figure has the name in full.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        # Drawn once and taken from memory: savefig would draw everything twice.
        canvas.draw()
    # A second layout would start from the first and move things by a hair.
    figure.set_layout_engine("none")
    made = io.BytesIO()
    _few_colours(canvas).save(made, "PNG")
    return made.getvalue()


def _few_colours(canvas: Any) -> Any:
    """What was drawn in the most frequent colours, every other one as the nearest of these."""
    import numpy as np
    from PIL import Image

    drawn = np.ascontiguousarray(canvas.buffer_rgba())
    # The bytes of a pixel as one number, so that colours can be counted; most of a figure is the ground.
    pixels = drawn.view("<u4").ravel()
    ground = pixels[0]
    inked = np.flatnonzero(pixels != ground)
    colours, which, counts = np.unique(pixels[inked], return_inverse=True, return_counts=True)
    # Of two that are as frequent the smaller number first: the same figure, the same bytes.
    kept = np.concatenate([[ground], colours[np.lexsort((colours, -counts))][: _COLOURS - 1]]).astype("<u4")
    palette, wanted = (item.view(np.uint8).reshape(-1, 4)[:, :3].astype(int) for item in (kept, colours))
    nearest = ((wanted[:, None, :] - palette[None, :, :]) ** 2).sum(axis=2).argmin(axis=1).astype(np.uint8)
    indices = np.zeros(pixels.shape, dtype=np.uint8)
    indices[inked] = nearest[which]
    image = Image.frombuffer("P", canvas.get_width_height(), indices.tobytes(), "raw", "P", 0, 1)
    image.putpalette(palette.astype(np.uint8).tobytes())
    return image


def checked_alt(alt: str) -> str:
    """The text alternative without line breaks.

    Raises
    ------
    NotebookError
        When it has fewer than 30 characters.
    """
    said = " ".join(str(alt).split())
    if len(said) < SHORTEST_ALT:
        raise NotebookError(
            f"text alternative '{said}': {len(said)} characters; expected at least {SHORTEST_ALT} that say "
            f"what the figure shows. Pass what the alt_... function beside the plot gives."
        )
    return said
