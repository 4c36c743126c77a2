"""The shared look: marks, ticks, labels that keep apart, and nothing changed outside."""

import math

import matplotlib as mpl
import pytest

from tests.unit.plot import boxes
from toolkit.plot import answers, ends, look


def test_the_first_60_levels_look_different_and_the_first_five_in_colour_marker_and_line():
    marks = [look.mark(at) for at in range(60)]
    assert len({(mark.colour, mark.marker, mark.line) for mark in marks}) == 60
    for part in ("colour", "marker", "line"):
        assert len({getattr(mark, part) for mark in marks[:5]}) == 5


def test_the_palette_is_okabe_and_ito_without_the_pale_ones():
    # Okabe and Ito 2008 as matplotlib 3.11 ships it under the name okabe_ito.
    shipped = {mpl.colors.to_hex(colour).upper() for colour in mpl.color_sequences["okabe_ito"]}
    assert set(look.PALETTE) <= shipped
    assert set(look.PALETTE).isdisjoint({"#F0E442", "#56B4E9"})


def test_the_look_ends_with_its_block():
    before = dict(mpl.rcParams)
    with look.style():
        assert mpl.rcParams["text.parse_math"] is False
        assert mpl.rcParams["font.size"] >= 9
    assert dict(mpl.rcParams) == before


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (0.45, 1.3, ["−50 %", "−40 %", "−30 %", "−20 %", "0 %", "+20 %"]),
        (0.9, 1.1, ["−10 %", "−7 %", "−4 %", "−2 %", "0 %", "+3 %", "+6 %", "+10 %"]),
        (0.01, 60.0, ["−99.0 %", "−90 %", "−70 %", "−50 %", "0 %", "+100 %", "× 10.0"]),
    ],
)
def test_ratio_ticks_are_round_changes_with_no_change_among_them(low, high, shown):
    found = [answers.per_cent(tick) for tick in look.ratio_ticks(low, high)]
    assert "0 %" in found
    assert found[0] == shown[0]
    assert set(found) & set(shown) >= {"0 %"}


@pytest.mark.parametrize("low", [1e-6, 0.02, 0.3, 0.7, 0.93, 0.999, 1.1, 3.0])
@pytest.mark.parametrize("span", [1.002, 1.05, 1.4, 3.0, 40.0, 1e4])
def test_ratio_ticks_lie_within_the_axis_and_keep_apart(low, span):
    ticks = look.ratio_ticks(low, low * span)
    assert 2 <= len(ticks) <= 9
    assert all(low <= tick <= low * span * (1 + 1e-12) for tick in ticks)
    gaps = [math.log(after / before) for before, after in zip(ticks, ticks[1:], strict=False)]
    assert min(gaps) > 0.99 * math.log(span) / 8 or len(ticks) <= 3


@pytest.mark.parametrize("low", [1e-5, 0.012, 0.9, 47.0, 3e6])
@pytest.mark.parametrize("span", [1.01, 1.3, 2.0, 15.0, 1e5])
def test_value_ticks_lie_within_the_axis(low, span):
    ticks = look.value_ticks(low, low * span)
    assert 2 <= len(ticks) <= 7
    assert ticks == sorted(set(ticks))
    assert all(low <= tick <= low * span * (1 + 1e-12) for tick in ticks)


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (71.7, 81.4, [72, 74, 76, 78, 80]),
        (0.0646, 0.0846, [0.065, 0.07, 0.075, 0.08]),
        (20.0, 61.0, [20, 30, 40, 50, 60]),
        (0.05, 0.17, [0.05, 0.06, 0.08, 0.1, 0.15]),
        (3.0, 4000.0, [10, 30, 100, 300, 1000, 3000]),
    ],
)
def test_value_ticks_are_round(low, high, ticks):
    assert [round(tick, 9) for tick in look.value_ticks(low, high)][-len(ticks) :] == pytest.approx(ticks)


def test_labels_that_would_touch_are_set_side_by_side_around_their_place():
    places = ends.apart([0.5, 0.5, 0.9], [0.1, 0.1, 0.1])
    assert places == pytest.approx([0.45, 0.55, 0.9])
    chain = ends.apart([0.50, 0.52, 0.55, 0.56], [0.1, 0.2, 0.1, 0.1])
    gaps = [after - before for before, after in zip(chain, chain[1:], strict=False)]
    assert gaps == pytest.approx([0.15, 0.15, 0.1])
    assert ends.apart([0.3, 0.1], [0.05, 0.05]) == pytest.approx([0.3, 0.1])


def test_lines_are_never_broken_before_a_per_cent_sign():
    assert look.wrapped("a true change of 26 % is assumed", 19) == "a true change of\n26\u00a0% is assumed"
    assert look.wrapped("", 10) == " "
    assert max(len(line) for line in look.wrapped("x" * 95, 20).split("\n")) == 20


@pytest.mark.parametrize(
    ("text", "width", "lines"),
    [
        ("supplier_of_chain sup1_proposed", 14, ["supplier_of_", "chain", "sup1_proposed"]),
        ("nitride-coated pin", 9, ["nitride-", "coated", "pin"]),
        ("on 2026-03-01 first", 14, ["on 2026-03-01", "first"]),
        ("oil/temperature of Öl-Kühlung", 12, ["oil/", "temperature", "of Öl-", "Kühlung"]),
        ("pin seventeen_letters", 12, ["pin", "seventeen_", "letters"]),
        ("abcdefghijkl", 5, ["abcde", "fghij", "kl"]),
    ],
)
def test_names_are_broken_between_words_then_at_their_hyphens_and_underscores(text, width, lines):
    assert look.wrapped(text, width).split("\n") == lines


def test_a_dollar_sign_is_not_the_start_of_a_formula():
    from matplotlib.figure import Figure

    others = Figure(layout="constrained").subplots()
    for ax in (look.axes(None, 4.0, 3.0), look.axes(others, 4.0, 3.0)):
        look.title(ax, r"oil at 5 $ a litre and $\frac{1}{$")
        look.ticks(ax, "x", [0, 1], [r"$\undefined$", "$$$"])
        ax.set_xlabel(r"$\undefined$")
        assert [label.get_text() for label in ax.get_xticklabels()] == [r"$\undefined$", "$$$"]
        boxes.texts_of(ax)


@pytest.mark.parametrize(
    ("values", "log", "expected"),
    [
        ([1.0, 2.0], False, (0.92, 2.08)),
        ([5.0, None, math.nan], False, (4.92, 5.08)),
        ([], False, (0.0, 1.0)),
        ([0.0, -1.0], True, (0.5, 2.0)),
        ([1.0, 10.0, -3.0], True, (10**-0.08, 10**1.08)),
    ],
)
def test_limits_hold_what_has_a_place(values, log, expected):
    found = look.limits(values, log=log)
    assert found == pytest.approx(expected) or (len(set(values)) != len(values) and found[0] < 5.0 < found[1])
