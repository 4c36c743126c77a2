"""Effects judged by each other: pseudo standard error, drawn margins and their error rates."""

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import lenth


def test_pseudo_error_by_hand():
    # Sizes 1 to 7 and 40: median 4.5, first guess 6.75, all below 16.875 but 40; their median 4, times 1.5.
    assert lenth.pseudo_error([1, -2, 3, -4, 5, 6, -7, 40]) == (6.0, 6.75)
    assert lenth.pseudo_error([0, 0, 0, 5]) == (0.0, 0.0)
    tiny = np.array([1, -2, 3, -4, 5, 6, -7, 40]) * 1e-9
    assert lenth.pseudo_error(tiny) == pytest.approx((6e-9, 6.75e-9), rel=1e-12)


# K. Q. Ye and M. Hamada, Technometrics 42 (2000) 104-107: critical values at 5 % of one and of all effects, from
# memory, good to the drawing of either side.
@pytest.mark.parametrize("count, one, every", [(7, 2.297, 4.867), (15, 2.156, 4.240)])
def test_drawn_margins_are_those_of_the_table(count, one, every):
    found = lenth.null(count, seed=1)
    assert found.margin == pytest.approx(one, rel=0.02)
    assert found.simultaneous == pytest.approx(every, rel=0.03)
    t_one, t_every = lenth.margins(count)
    assert found.margin < t_one and found.simultaneous < t_every


@pytest.mark.parametrize("count", [3, 7, 31])
def test_false_alarms_are_those_that_are_told(count):
    found = lenth.null(count, seed=2, conf_level=0.9)
    draw = np.random.default_rng(31)
    sizes = np.array([np.abs(one) / lenth.pseudo_error(one)[0] for one in draw.normal(size=(2000, count))])
    bound = 3.24 * np.sqrt(0.1 * 0.9 / 2000)
    assert (sizes.max(axis=1) > found.simultaneous).mean() == pytest.approx(0.1, abs=bound)
    assert (sizes > found.margin).mean() == pytest.approx(0.1, abs=bound)
    ordered = np.sort(sizes, axis=1)
    inside = ((ordered >= found.low - 1e-12) & (ordered <= found.high + 1e-12)).mean(axis=0)
    # Sizes in the middle often are two thirds of the pseudo standard error exactly: their bands hold more.
    assert (inside >= 0.9 - bound).all()
    assert inside[-1] == pytest.approx(0.9, abs=bound)
    assert (ordered[:, -1] <= found.middle[-1]).mean() == pytest.approx(0.5, abs=3.24 * np.sqrt(0.25 / 2000))


def test_the_same_seed_draws_the_same():
    one, other, third = (lenth.null(7, seed=seed, drawn=2000) for seed in (5, 5, 6))
    assert (one.margin, list(one.high)) == (other.margin, list(other.high))
    assert one.margin != third.margin
    assert one.drawn == 2000


def test_places_of_the_half_normal():
    # The middle of five lies at probability 1/2 of the half-normal, the quartile of the normal: 0.67449.
    assert lenth.places(5)[2] == pytest.approx(0.674489750196082, rel=1e-12)
    assert list(lenth.places(1)) == [pytest.approx(0.674489750196082)]


def test_what_is_out_of_range_is_told_at_once():
    for call in (lambda: lenth.pseudo_error([1.0, 2.0]), lambda: lenth.pseudo_error([1.0, np.nan])):
        with pytest.raises(ModelError) as refused:
            call()
        assert "effects: 2 were given; expected 3 or more." in str(refused.value)
    with pytest.raises(ModelError) as refused:
        lenth.null(2, seed=1, conf_level=1.5, drawn=10)
    assert str(refused.value) == (
        "The sizes cannot be drawn.\n"
        "  conf_level: 1.5 was given; expected a share between 0 and 1, both excluded.\n"
        "  effects: 2 were given; expected 3 or more.\n"
        "  drawn: 10 were asked for; expected 1000 or more."
    )
    with pytest.raises(ModelError, match="The margins cannot be worked out"):
        lenth.margins(2)
