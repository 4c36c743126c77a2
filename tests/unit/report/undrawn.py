"""Reports whose pictures are drawn and not turned into points: most of a report's time, and nothing a text can tell.

For tests that read words of a page whose pictures other tests look at.
"""

from __future__ import annotations

from unittest import mock

from toolkit.report import show


def undrawn():
    """The context in which every picture has the same few bytes."""
    return mock.patch.object(show, "figure_png", return_value=b"\x89PNG")
