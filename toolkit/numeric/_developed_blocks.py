"""Blocks developed round a group: whole orbits in which every two meet equally often (the method of differences)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations, product
from math import comb, gcd, isqrt

Block = tuple[int, ...]
Point = tuple[int, ...]
# Orbits tried in one search before it is given up.
_MOST_TRIED = 100_000
_MOST_ORBITS = 1_000


def groups(treatments: int) -> Iterator[tuple[int, list[list[int]], str]]:
    """Ways to move treatments round, as permutations of their numbers: the larger groups first."""
    for shape, fixed in _shapes(treatments):
        points = list(product(*(range(size) for size in shape)))
        copies = (treatments - fixed) // len(points)
        moves = []
        for shift in points:
            step = {at: points.index(_shifted(point, shift, shape)) for at, point in enumerate(points)}
            moved = [copy * len(points) + step[at] for copy in range(copies) for at in range(len(points))]
            moves.append([*moved, *range(treatments - fixed, treatments)])
        words = " x ".join(map(str, shape))
        yield treatments, moves, f"a few blocks moved round ({words}{', one fixed' if fixed else ''})"


def _shapes(treatments: int) -> Iterator[tuple[tuple[int, ...], int]]:
    """Cyclic group, cyclic with one fixed, products of two and more, then groups that move parts."""
    yield (treatments,), 0
    if treatments > 3:
        yield (treatments - 1,), 1
    for one in range(2, isqrt(treatments) + 1):
        if treatments % one == 0 and gcd(one, treatments // one) > 1:
            yield (one, treatments // one), 0
    if treatments in (8, 16):
        yield (2,) * (treatments.bit_length() - 1), 0
    for fixed in (0, 1):
        for part in range((treatments - fixed) // 2, 2, -1):
            if (treatments - fixed) % part == 0:
                yield (part,), fixed


def _shifted(point: Point, shift: Point, shape: tuple[int, ...]) -> Point:
    """A point of a product of cyclic groups, moved on."""
    return tuple((one + two) % size for one, two, size in zip(point, shift, shape, strict=True))


def developed(
    treatments: int, moves: list[list[int]], size: int, meetings: int, blocks: int
) -> tuple[Block, ...] | None:
    """Whole orbits of blocks in which every two meet so often; None when none is found in so many tries."""
    if comb(treatments, size) > _MOST_ORBITS * len(moves):
        return None
    pairs: dict[tuple[int, int], int] = {}
    for one, other in combinations(range(treatments), 2):
        if (one, other) not in pairs:
            number = len(set(pairs.values()))
            for move in moves:
                pairs[min(move[one], move[other]), max(move[one], move[other])] = number
    weight = Counter(pairs.values())
    orbits: list[tuple[list[Block], tuple[int, ...]]] = []
    seen: set[Block] = set()
    for block in combinations(range(treatments), size):
        if block in seen:
            continue
        orbit = sorted({tuple(sorted(move[at] for at in block)) for move in moves})
        seen.update(orbit)
        held = Counter(pairs[pair] for pair in combinations(block, 2))
        # How often a pair of each kind meets in the whole orbit.
        met = tuple(len(orbit) * held[kind] // weight[kind] for kind in range(len(weight)))
        if len(orbit) <= blocks and max(met) <= meetings:
            orbits.append((orbit, met))
    # Those that spread their pairs are tried first.
    orbits.sort(key=lambda item: (max(item[1]), len(item[0])))
    picked = _picked([met for _, met in orbits], meetings)
    return None if picked is None else tuple(block for at in picked for block in orbits[at][0])


def _picked(met: Sequence[tuple[int, ...]], meetings: int) -> list[int] | None:
    """Which orbits together give every kind of pair its meetings; an orbit may be taken again."""
    if not met:
        return None
    kinds = range(len(met[0]))
    covering = [[at for at, one in enumerate(met) if one[kind]] for kind in kinds]
    tried = 0

    def settle(left: tuple[int, ...], taken: list[int]) -> list[int] | None:
        """What completes ``taken``, with these meetings left."""
        nonlocal tried
        open_ones = [kind for kind in kinds if left[kind]]
        if not open_ones:
            return taken
        kind = min(open_ones, key=lambda one: (left[one], len(covering[one])))
        for at in covering[kind]:
            tried += 1
            if tried > _MOST_TRIED:
                return None
            after = tuple(have - less for have, less in zip(left, met[at], strict=True))
            if min(after) >= 0:
                found = settle(after, [*taken, at])
                if found is not None:
                    return found
        return None

    return settle((meetings,) * len(met[0]), [])
