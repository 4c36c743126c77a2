"""Figures leave one way: with a text alternative in notebooks, as the same bytes each time in the report."""

import io

import numpy as np
import pytest
from PIL import Image

from tests.unit.plot import example
from toolkit.errors import NotebookError
from toolkit.plot import effects
from toolkit.report import show

BRIEF = example.brief(count=2)
GIVEN = (example.comparisons(BRIEF), example.verdicts(BRIEF), BRIEF)
ALT = effects.alt_comparisons(*GIVEN, runs=12)


def test_a_notebook_gets_the_image_with_its_alternative(monkeypatch):
    sent = []
    monkeypatch.setattr("IPython.display.display", lambda *given, **named: sent.append((given, named)))
    assert show.show(effects.comparisons(*GIVEN, runs=12), ALT) is None
    ((data,), named) = sent[0]
    assert data["image/png"].startswith(b"\x89PNG")
    assert data["text/plain"] == ALT
    assert named == {"raw": True, "metadata": {"image/png": {"alt": ALT}}}


def test_the_figure_or_its_axes_can_be_given():
    ax = effects.comparisons(*GIVEN, runs=12)
    assert show.figure_png(ax) == show.figure_png(ax.figure)


def test_an_alternative_that_says_nothing_is_refused():
    with pytest.raises(NotebookError) as told:
        show.show(effects.comparisons(*GIVEN), "a plot")
    assert str(told.value) == (
        "text alternative 'a plot': 6 characters; expected at least 30 that say what the figure shows. Pass what the "
        "alt_... function beside the plot gives."
    )


def test_the_same_figure_gives_the_same_bytes_and_no_date_or_program_in_them():
    first = show.figure_png(effects.comparisons(*GIVEN, runs=12))
    assert first == show.figure_png(effects.comparisons(*GIVEN, runs=12))
    with Image.open(io.BytesIO(first)) as image:
        assert image.info.keys().isdisjoint({"Software", "Creation Time", "date:create"})
        # 8.2 inches; matplotlib cut 983.9999 dots to 983 until 3.11.1, and has rounded since.
        assert image.size[0] in (983, 984)
        pixels = np.asarray(image.convert("RGB")).reshape(-1, 3)
    assert len(first) < 40_000
    assert len(np.unique(pixels, axis=0)) <= 64
    # The most frequent colours are kept as they were drawn: ground, band and the first of the palette.
    held = {tuple(colour) for colour in np.unique(pixels, axis=0)}
    assert {(255, 255, 255), (0xDD, 0xDD, 0xDD), (0x00, 0x72, 0xB2)} <= held
    # The intervals of both comparisons, one of them in the first colour of the palette, are there.
    assert (np.abs(pixels.astype(int) - [0x00, 0x72, 0xB2]).sum(axis=1) < 40).sum() > 200


def test_signs_the_font_lacks_are_no_fault():
    names = ("覆膜 \U0001f6e2", "new oil")
    brief = example.brief(names, 2)
    ax = effects.comparisons(example.comparisons(brief), example.verdicts(brief), brief)
    assert show.figure_png(ax).startswith(b"\x89PNG")
