"""Response-surface plans: central composite by the name of its axial distance, and Box-Behnken.

May import numpy and the error classes. Coded units: -1 and 1 are the low and the high setting, 0 the centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import fraction_blocks, fractions
from toolkit.numeric.fractions import Fraction

Floats = NDArray[np.float64]

ROTATABLE = "rotatable"
FACES = "face-centred"
ORTHOGONAL = "orthogonal quadratic"
BLOCKED = "orthogonal blocking"
KINDS = (ROTATABLE, FACES, ORTHOGONAL, BLOCKED)
MOST_FACTORS = 7

# G. E. P. Box and D. W. Behnken, Technometrics 2 (1960) 455-475 (from memory): factors that are moved together.
_GROUPS = {
    3: ((0, 1), (0, 2), (1, 2)),
    4: ((0, 1), (2, 3), (0, 3), (1, 2), (0, 2), (1, 3)),
    5: ((0, 1), (1, 2), (2, 3), (3, 4), (0, 4), (0, 2), (1, 3), (2, 4), (0, 3), (1, 4)),
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
# Blocks that are orthogonal to the second-order model; none for three factors.
BOX_BEHNKEN_BLOCKS = {3: 1, 4: 3, 5: 2, 6: 2, 7: 2}
BOX_BEHNKEN_CENTRES = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}


@dataclass(frozen=True, eq=False)
class Surface:
    """A response-surface plan.

    Attributes
    ----------
    points : ndarray, shape (runs, factors)
        Coded.
    blocks : ndarray of int, shape (runs,)
        From 0 up; all 0 where there are none.
    part : tuple of str
        'cube', 'axial', 'edge' or 'centre', a word a run.
    distance : float
        Of the axial points from the centre; of a Box-Behnken plan, of its edge points.
    """

    points: Floats
    blocks: NDArray[np.int64]
    part: tuple[str, ...]
    distance: float


def cube_of(factors: int) -> Fraction:
    """Give back the two-level part of a central composite: the smallest in which no two-factor interaction is lost.

    Parameters
    ----------
    factors : int
        2 to 7.

    Returns
    -------
    Fraction
        Full up to four factors; a half fraction of resolution V, VI or VII for five to seven.

    Raises
    ------
    ModelError
        When the number of factors is out of range.

    Checked against: cube runs of k06-ccd-axial-distance, tests/reference/test_surface_cases.py.
    """
    _require(factors, 2)
    return fractions.minimum_aberration(factors, fractions.smallest(factors, 5) or 2**factors)


def axial_distance(kind: str, factors: int, *, cube: int, cube_centres: int, axial_centres: int) -> float:
    """Give back how far the axial points lie from the centre, for a plan named for what it is.

    Parameters
    ----------
    kind : str
        'rotatable' (the variance of a prediction depends on the distance from the centre alone), 'face-centred' (three
        levels), 'orthogonal quadratic' (squares uncorrelated with each other and with nothing else) or 'orthogonal
        blocking' (cube and axial points in blocks of their own, the difference of which touches no coefficient).
    factors : int
    cube : int
        Runs of the two-level part.
    cube_centres, axial_centres : int
        Centre runs beside the cube and beside the axial points.

    Returns
    -------
    float
        In coded units.

    Raises
    ------
    ModelError
        When the kind or a number is out of range.

    Notes
    -----
    F^(1/4); 1; sqrt((sqrt(F N) - F) / 2) with N all runs; sqrt(F (2 k + n_a) / (2 (F + n_c))) (G. E. P. Box and
    J. S. Hunter, Ann. Math. Stat. 28 (1957) 195-241).

    Checked against: k06-ccd-axial-distance (NIST/SEMATECH e-Handbook 5.3.3.6.1), tests/reference/test_surface_cases.py.
    """
    faults = []
    if kind not in KINDS:
        faults.append(Fault("kind", f"{kind!r} was given", ", ".join(KINDS)))
    for name, value, least in (("cube", cube, 2), ("centre runs", min(cube_centres, axial_centres), 0)):
        if value < least:
            faults.append(Fault(name, f"{value} was given", f"{least} or more"))
    raise_all(ModelError, "The axial distance cannot be told.", faults)
    if kind == ROTATABLE:
        return cube**0.25
    if kind == FACES:
        return 1.0
    if kind == BLOCKED:
        return math.sqrt(cube * (2 * factors + axial_centres) / (2.0 * (cube + cube_centres)))
    every = cube + 2 * factors + cube_centres + axial_centres
    return math.sqrt((math.sqrt(cube * every) - cube) / 2.0)


def central_composite(kind: str, factors: int, *, centres: tuple[int, int], cube_blocks: int = 1) -> Surface:
    """Give back a central composite plan.

    Parameters
    ----------
    kind : str
        As in ``axial_distance``.
    factors : int
        2 to 7.
    centres : tuple of two int
        Centre runs beside the cube (in all its blocks) and beside the axial points.
    cube_blocks : int
        Blocks of the cube, where kind is 'orthogonal blocking': 1, 2, 4; the axial points are one more block.

    Returns
    -------
    Surface
        Cube, then axial points, each followed by its centre runs.

    Raises
    ------
    ModelError
        When a number is out of range, or the cube cannot be split without losing a two-factor interaction.

    Checked against: k06-ccd-axial-distance; rotatability, orthogonal squares and orthogonal blocks by the moments of
    the points, tests/unit/numeric/test_surfaces.py.
    """
    faults = [] if min(centres) >= 0 else [Fault("centre runs", f"{min(centres)} was given", "0 or more")]
    if cube_blocks != 1 and kind != BLOCKED:
        faults.append(Fault("blocks of the cube", f"{cube_blocks} in a {kind} plan", f"1, or the kind '{BLOCKED}'"))
    elif centres[0] % max(cube_blocks, 1):
        found = f"{centres[0]} beside a cube in {cube_blocks} blocks"
        faults.append(Fault("centre runs", found, f"a multiple of {cube_blocks}"))
    raise_all(ModelError, "The plan cannot be laid out.", faults)
    fraction = cube_of(factors)
    split = np.zeros(fraction.runs, dtype=np.int64)
    if cube_blocks > 1:
        held = fraction_blocks.in_blocks(fraction, cube_blocks, keep=combinations(range(factors), 2))
        split = held.blocks
    distance = axial_distance(
        kind, factors, cube=fraction.runs, cube_centres=centres[0], axial_centres=centres[1]
    )
    axial = np.vstack([sign * distance * np.eye(factors)[at] for at in range(factors) for sign in (-1.0, 1.0)])
    points = np.vstack([fraction.levels, np.zeros((centres[0], factors)), axial, np.zeros((centres[1], factors))])
    beside = [at % cube_blocks for at in range(centres[0])]
    last = cube_blocks if kind == BLOCKED else 0
    blocks = np.concatenate([split, beside, np.full(len(axial) + centres[1], last)]).astype(np.int64)
    part = ("cube",) * fraction.runs + ("centre",) * centres[0] + ("axial",) * len(axial) + ("centre",) * centres[1]
    return Surface(points + 0.0, blocks, part, distance)


def box_behnken(factors: int, *, centres: int | None = None, blocks: bool = False) -> Surface:
    """Give back a Box-Behnken plan: three levels, no corners.

    Parameters
    ----------
    factors : int
        3 to 7.
    centres : int, optional
        Centre runs in all; None: as many as are customary (3, 3, 6, 6, 6).
    blocks : bool
        Whether to lay it out in its orthogonal blocks: 3 for four factors, 2 for five to seven.

    Returns
    -------
    Surface
        12, 24, 40, 48 or 56 edge points and the centre runs.

    Raises
    ------
    ModelError
        When the number of factors is out of range, there are no such blocks, or the centre runs do not divide.

    Notes
    -----
    For six and seven factors three are moved at a time, as published; pairs would take 60 and 84 runs.

    Checked against: k06-box-behnken-counts, tests/reference/test_surface_cases.py; blocks by the moments of the points,
    tests/unit/numeric/test_surfaces.py.
    """
    _require(factors, 3)
    count = BOX_BEHNKEN_BLOCKS[factors] if blocks else 1
    many = BOX_BEHNKEN_CENTRES[factors] if centres is None else centres
    faults = []
    if blocks and count == 1:
        faults.append(Fault("blocks", f"{factors} factors", "4 to 7; three have no orthogonal blocks"))
    if many < 0 or many % count:
        faults.append(Fault("centre runs", f"{many} over {count} blocks", f"a multiple of {count}"))
    raise_all(ModelError, "The plan cannot be laid out.", faults)
    rows, label = [], []
    groups = _GROUPS[factors]
    for place, group in enumerate(groups):
        for signs in product((-1.0, 1.0), repeat=len(group)):
            row = np.zeros(factors)
            row[list(group)] = signs
            rows.append(row)
            label.append(place * count // len(groups) if len(group) == 2 else int(math.prod(signs) > 0) % count)
    points = np.vstack([*rows, np.zeros((many, factors))])
    held = np.array([*label, *(at % count for at in range(many))], dtype=np.int64)
    part = ("edge",) * len(rows) + ("centre",) * many
    return Surface(points, held, part, math.sqrt(len(groups[0])))


def _require(factors: int, least: int) -> None:
    """Refuse a number of factors that is not covered."""
    if not least <= factors <= MOST_FACTORS:
        fault = Fault("factors", f"{factors} were given", f"{least} to {MOST_FACTORS}")
        raise_all(ModelError, "The plan cannot be laid out.", [fault])
