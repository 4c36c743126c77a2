"""The half-normal picture: sizes, band and margins are those of the result, and its text tells the same."""

import numpy as np
import pytest

from tests.unit.decide.test_unrepeated import told
from tests.unit.model.test_unreplicated import cube
from toolkit.plot import rounding
from toolkit.plot.half_normal import alt_half_normal, half_normal


@pytest.fixture(scope="module")
def judged():
    """Effects of which two stand out, with the brief."""
    found, fit = told(cube(a=1.0, bc=-0.8))
    return found.effects, fit.brief


def test_every_effect_is_drawn_once_at_its_place_and_size(judged):
    found, brief = judged
    (ax,) = half_normal(found, brief, response="y")
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    drawn = sorted((x, y) for line in marks for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True))
    ordered = found.table.sort_values("rank")
    assert [x for x, _ in drawn] == pytest.approx(list(ordered["place"]))
    assert [y for _, y in drawn] == pytest.approx(list(ordered["size"]))
    assert sorted(len(line.get_xdata()) for line in marks) == [2, 13]
    level = {float(line.get_ydata()[0]) for line in ax.lines if line.get_linestyle() in (":", "--")}
    by = found.judged_by.iloc[0]
    assert level == {by["margin"], by["simultaneous_margin"]}
    (band,) = ax.collections
    edges = band.get_paths()[0].vertices
    assert edges[:, 1].max() == pytest.approx(ordered["envelope_high"].max())
    named = {text.get_text() for text in ax.texts}
    assert {"a", "b × c", "margin of one effect", "margin of all effects"} <= named
    assert ax.get_xlabel().startswith("half-normal place, n = 15 effects")


def test_the_text_tells_what_stands_out_and_every_size(judged):
    found, brief = judged
    text = alt_half_normal(found, brief, response="y")
    assert text.startswith(
        "Half-normal picture. Effects on y that stand out: a (beyond the margin of all effects); b × c (beyond the "
        "margin of all effects). Between runs, the largest first (as measured): a "
    )
    for row in found.table.to_dict("records"):
        assert f"{row['term']} {rounding.significant(row['size'])}" in text


def test_what_an_effect_cannot_be_told_from_stands_on_the_picture():
    data = cube(a=1.0)
    signs = np.prod([np.where(data[name] == "hi", 1, -1) for name in "abcd"], axis=0)
    found, fit = told(data[signs == 1].reset_index(drop=True))
    (ax,) = half_normal(found.effects, fit.brief, response="y")
    assert "a = b × c × d" in {" ".join(text.get_text().split()) for text in ax.texts}


def test_nothing_that_stands_out_is_said():
    found, fit = told(cube(seed=3))
    text = alt_half_normal(found.effects, fit.brief, response="y")
    assert text.startswith("Half-normal picture. No effect on y stands out from the others. Between runs")
