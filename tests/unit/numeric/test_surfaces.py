"""Response-surface plans by the moments of their points."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from toolkit.errors import ModelError
from toolkit.numeric import second_order, surfaces


def moments(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sums of squares, and of products of squares."""
    return (points**2).sum(axis=0), (points**2).T @ points**2


@pytest.mark.parametrize("factors", [2, 3, 4, 5, 6, 7])
def test_each_composite_is_what_its_name_says(factors: int) -> None:
    """Rotatable: fourth moments are three times the mixed ones. Orthogonal quadratic: squares uncorrelated."""
    rotatable = surfaces.central_composite("rotatable", factors, centres=(2, 2)).points
    fourth = moments(rotatable)[1]
    assert np.allclose(np.diag(fourth), 3.0 * fourth[0, 1])
    orthogonal = surfaces.central_composite("orthogonal quadratic", factors, centres=(3, 1)).points
    squares = orthogonal**2 - (orthogonal**2).mean(axis=0)
    assert abs((squares.T @ squares)[0, 1]) < 1e-9
    faces = surfaces.central_composite("face-centred", factors, centres=(0, 1)).points
    assert sorted(set(faces.ravel().tolist())) == [-1.0, 0.0, 1.0]
    for points in (rotatable, orthogonal, faces):
        model = second_order.columns(points)
        assert np.linalg.matrix_rank(model) == model.shape[1]


def in_orthogonal_blocks(found: surfaces.Surface) -> bool:
    """Box and Hunter's conditions: in each block no first moments, no products, squares as the runs."""
    every = (found.points**2).sum(axis=0) / len(found.points)
    for block in np.unique(found.blocks):
        points = found.points[found.blocks == block]
        products = [abs((points[:, a] * points[:, b]).sum()) for a, b in combinations(range(points.shape[1]), 2)]
        if np.abs(points.sum(axis=0)).max() > 1e-9 or max(products) > 1e-9:
            return False
        if np.abs((points**2).sum(axis=0) / len(points) - every).max() > 1e-9:
            return False
    return True


@pytest.mark.parametrize(
    ("factors", "centres", "cube_blocks"), [(2, (3, 3), 1), (3, (4, 2), 2), (4, (4, 2), 2), (5, (6, 1), 1)]
)
def test_orthogonal_blocks_of_composites(factors: int, centres: tuple[int, int], cube_blocks: int) -> None:
    """Blocks touch no coefficient; the textbook splits of the cube for three and four factors in two blocks."""
    found = surfaces.central_composite("orthogonal blocking", factors, centres=centres, cube_blocks=cube_blocks)
    assert len(np.unique(found.blocks)) == cube_blocks + 1
    assert in_orthogonal_blocks(found)
    # The same points with the axial ones a little further out are not in orthogonal blocks.
    further = surfaces.Surface(
        np.where(np.array(found.part)[:, None] == "axial", 1.1, 1.0) * found.points, found.blocks, found.part, 0.0
    )
    assert not in_orthogonal_blocks(further)


@pytest.mark.parametrize(("factors", "blocks"), [(4, 3), (5, 2), (6, 2), (7, 2)])
def test_orthogonal_blocks_of_box_behnken(factors: int, blocks: int) -> None:
    """Blocks of equal size that touch no coefficient; every factor is moved equally often."""
    found = surfaces.box_behnken(factors, blocks=True)
    assert np.bincount(found.blocks).tolist() == [len(found.points) // blocks] * blocks
    assert in_orthogonal_blocks(found)
    assert len(set(np.abs(found.points).sum(axis=0).tolist())) == 1
    assert np.linalg.matrix_rank(second_order.columns(found.points)) == second_order.columns(found.points).shape[1]
    lengths = np.linalg.norm(found.points[np.array(found.part) == "edge"], axis=1)
    assert np.allclose(lengths, found.distance)


def test_what_cannot_be_laid_out() -> None:
    """Each fault with what would do."""
    for call, words in (
        (lambda: surfaces.box_behnken(8), "factors: 8 were given; expected 3 to 7."),
        (
            lambda: surfaces.box_behnken(3, blocks=True),
            "blocks: 3 factors; expected 4 to 7; three have no orthogonal blocks.",
        ),
        (
            lambda: surfaces.box_behnken(4, centres=4, blocks=True),
            "centre runs: 4 over 3 blocks; expected a multiple of 3.",
        ),
        (
            lambda: surfaces.central_composite("rotatable", 3, centres=(2, 2), cube_blocks=2),
            "blocks of the cube: 2 in a rotatable plan; expected 1, or the kind 'orthogonal blocking'.",
        ),
        (
            lambda: surfaces.central_composite("orthogonal blocking", 3, centres=(3, 2), cube_blocks=2),
            "centre runs: 3 beside a cube in 2 blocks; expected a multiple of 2.",
        ),
    ):
        with pytest.raises(ModelError) as told:
            call()
        assert str(told.value) == f"The plan cannot be laid out.\n  {words}"
    with pytest.raises(ModelError) as told:
        surfaces.axial_distance("round", 3, cube=8, cube_centres=1, axial_centres=1)
    assert str(told.value) == (
        "The axial distance cannot be told.\n  kind: 'round' was given; expected rotatable, face-centred, orthogonal "
        "quadratic, orthogonal blocking."
    )
