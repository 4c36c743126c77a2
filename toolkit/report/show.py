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
    from PIL import Image

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
    drawn_as = Image.frombuffer("RGBA", canvas.get_width_height(), canvas.buffer_rgba(), "raw", "RGBA", 0, 1)
    drawn_as.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE).save(made, "PNG")
    return made.getvalue()


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
