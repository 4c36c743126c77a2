"""What a search chooses from: columns of axes and terms, and what is allowed."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import exchange_model as em


def test_columns_written_out_by_hand() -> None:
    """The mean, a slope, two contrasts of three categories, their products, a square."""
    axes = (em.numbers([-1.0, 0.0, 1.0]), em.categories(3))
    space = em.Space(axes, em.quadratic(axes))
    assert space.terms == ((0,), (1,), (0, 1), (0, 0))
    assert space.parameters == 7 and space.combinations == 9
    one, two = np.sqrt(1.5), np.sqrt(0.5)
    assert np.allclose(
        space.rows([[0, 0], [1, 1], [2, 2]]),
        [
            [1, -1, -one, -two, one, two, 1],
            [1, 0, one, -two, 0, 0, 0],
            [1, 1, 0, 2 * two, 0, 2 * two, 1],
        ],
    )


@pytest.mark.parametrize("count", [2, 3, 5])
def test_contrasts_of_categories_are_orthogonal(count: int) -> None:
    """Sums of nought, mean squares of 1, no two alike."""
    columns = em.categories(count).columns
    assert np.allclose(columns.sum(axis=0), 0.0)
    assert np.allclose(columns.T @ columns / count, np.eye(count - 1))


def test_what_is_allowed_is_listed_drawn_and_beside() -> None:
    """Of nine combinations the one corner is forbidden."""
    axes = (em.numbers([-1, 0, 1]), em.numbers([-1, 0, 1]))
    space = em.Space(axes, em.main_effects(2), lambda levels: levels.sum(axis=1) < 4)
    listed = space.listed()
    assert listed is not None and listed.tolist() == [[a, b] for a in range(3) for b in range(3) if a + b < 4]
    drawn = space.drawn(50, np.random.default_rng(1))
    assert len(drawn) == 50 and {tuple(one) for one in drawn.tolist()} == {tuple(one) for one in listed.tolist()}
    assert space.neighbours(np.array([2, 1]), [0, 1]).tolist() == [[0, 1], [1, 1], [2, 0]]
    assert em.Space(tuple([em.categories(2)] * 11), em.main_effects(11)).listed() is None
    assert space.settings([1]).tolist() == [[0], [1], [2]]


def test_terms_that_cannot_be() -> None:
    """All faults at once."""
    with pytest.raises(ModelError) as told:
        em.Space((em.categories(3), em.numbers([-1, 1])), ((0, 0), (2,), ()))
    assert str(told.value) == (
        "The model of the search cannot be.\n"
        "  terms: (0, 0) was given; expected squares of numeric axes only.\n"
        "  terms: (2,) was given; expected numbers of axes from 0 to 1.\n"
        "  terms: () was given; expected numbers of axes from 0 to 1."
    )
