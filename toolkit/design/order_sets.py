"""The orders that a phase may be run in, how many of them keep the limits of the brief, and one of them at random.

Rank 3. The limits are those of [order]: no comparison may follow the run order more closely. The draw gives every order
within them the same chance, and the exact test of the analysis goes through the same set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.brief.model import PHASES, OrderLimits
from toolkit.design import _order_counts as order_counts
from toolkit.design import latin, strata, units
from toolkit.design.design import Design
from toolkit.design.followed import ROOM, Followed, followed
from toolkit.errors import DesignError
from toolkit.numeric import drift

# Orders drawn to tell how many keep the limits, where there are too many to be counted.
SAMPLED = 100_000
# How many draws are tried before it is said that none was found.
_MOST_TRIED = 5_000_000
_FIRST, _BATCH = 500, 20_000
_STREAM = 2
_PLAIN = 2_000


@dataclass(frozen=True, eq=False)
class OrderSet:
    """The orders of a phase that keep the limits.

    Attributes
    ----------
    design : Design
    limits : OrderLimits
    every : int
        All orders that the restrictions of the design leave; alike runs in each other's place are the same order.
    kept : int
        Those within the limits: counted, or told from a sample.
    counted : bool
    sampled : int
        Orders drawn to tell ``kept``; 0 where it was counted.
    plain_tenth : float
        One order in ten, drawn without limits, has a comparison that follows the places more closely than this.
    """

    design: Design
    limits: OrderLimits
    every: int
    kept: int
    counted: bool
    sampled: int
    plain_tenth: float

    @property
    def told(self) -> str:
        """How many keep the limits: '1,248', or 'about 38,000,000'."""
        return f"{self.kept:,}" if self.counted else f"about {_rounded(self.kept)}"

    @property
    def sentence(self) -> str:
        """How many orders there are to draw from, and what an order without limits would have risked."""
        told = f"{self.told} of {_large(self.every)} orders keep the limits ({limits_words(self.limits)})"
        if not self.counted:
            told += f", as {self.sampled:,} drawn orders tell"
        return f"{told}; one plain random order in ten would be above {self.plain_tenth:.2f}"

    def to_dict(self) -> dict[str, object]:
        """The set for plan.json."""
        return {
            "most_linear": self.limits.most_linear,
            "most_quadratic": self.limits.most_quadratic,
            "orders": self.kept,
            "of": self.every,
            "counted": self.counted,
            "sampled": self.sampled,
            "plain_order_in_ten_above": self.plain_tenth,
            "sentence": self.sentence,
        }

    def draw(self, seed: int) -> np.ndarray:
        """One of the orders, each with the same chance: the runs of the design in the order they are made.

        Parameters
        ----------
        seed : int
            Of the brief.
        """
        random = np.random.default_rng([seed, PHASES.index(self.design.phase), _STREAM])
        found = _of_places(self.design, self.limits)
        tried, batch = 0, _FIRST
        while tried < _MOST_TRIED:
            stands = plain(self.design, batch, random)
            good = found.within(found.correlations(stands))
            if good.any():
                return np.asarray(stands[int(np.argmax(good))])
            tried, batch = tried + batch, _BATCH
        raise DesignError(
            f"[order]: none of {_MOST_TRIED:,} orders drawn keeps the limits ({limits_words(self.limits)}), though "
            f"{_large(self.kept)} of {_large(self.every)} do. Raise them a little."
        )

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def limits_words(limits: OrderLimits) -> str:
    """The limits in words."""
    told = [
        f"correlation with {what} at most {value:g}"
        for what, value in (("run order", limits.most_linear), ("its square", limits.most_quadratic))
        if value is not None
    ]
    return ", ".join(told)


def of_design(design: Design) -> OrderSet | None:
    """The orders of a phase that keep the limits of the brief; None where it has none, and for a pilot.

    Parameters
    ----------
    design : Design

    Raises
    ------
    DesignError
        When no order keeps the limits, with the nearest that can be kept; when builds that are units of a factor hold
        different numbers of runs, parts run side by side in positions, or
        the plan is a Latin square.

    Notes
    -----
    Where there are few enough orders they are gone through; where builds are blocks the sums of builds are taken
    together, which counts them exactly too; else a sample tells the share.

    Checked against: orders gone through one by one by itertools, and the counts of 2 x 2 plans in 1 to 5 blocks,
    tests/unit/design/test_order_sets.py.
    """
    limits = design.brief.order
    if limits is None or design.phase == "pilot":
        return None
    _refuse_uneven(design)
    found, nodes = _of_places(design, limits), order_counts.nodes(design)
    every = order_counts.ways(nodes)
    random = np.random.default_rng([design.brief.seed, PHASES.index(design.phase), _STREAM, 1])
    worst = np.abs(found.correlations(plain(design, _PLAIN, random))[:, :2]).max(axis=(1, 2))
    tenth = float(np.quantile(worst, 0.9))
    kept = order_counts.kept(nodes, found.weights, found.shapes, found.lengths, found.limits + ROOM)
    if kept is not None:
        if not kept:
            raise _none(design, found, random, every)
        return OrderSet(design, limits, every, kept, True, 0, tenth)
    good = sum(
        int(found.within(found.correlations(plain(design, _BATCH, random))).sum()) for _ in range(SAMPLED // _BATCH)
    )
    if not good:
        raise _none(design, found, random, every)
    return OrderSet(design, limits, every, max(every * good // SAMPLED, 1), False, SAMPLED, tenth)


def plain(design: Design, count: int, random: np.random.Generator) -> np.ndarray:
    """Orders drawn without limits: which run of the design stands at each place.

    Parameters
    ----------
    design : Design
    count : int
    random : Generator

    Returns
    -------
    ndarray of int, shape (count, runs)
        Builds in their order, or at random where they are units of a factor; what is kept stays together.

    Notes
    -----
    Sorted by random keys: the rank of the build, then of the kept part and fill, then of the run (textbook).

    Checked against: chi-square over all orders, tests/unit/design/test_order_sets.py.
    """
    runs, brief = design.strata.runs, design.brief
    keys = np.zeros((count, len(runs)))
    for unit in ("build", *units.kept(brief)):
        codes = units.codes(brief, runs, unit)
        number = int(codes.max()) + 1
        drawn = unit != "build" or design.strata.of_builds == strata.WHOLE_PLOTS
        ranks = np.argsort(random.random((count, number)), axis=1) if drawn else np.arange(number)[None, :]
        keys = keys * number + ranks[:, codes]
    return np.argsort(keys + random.random(keys.shape), axis=1)


def _of_places(design: Design, limits: OrderLimits) -> Followed:
    """How comparisons follow the places of a plan: the weights by run, the shapes by place."""
    runs = design.strata.runs
    sizes = runs["build_id"].value_counts(sort=False)
    first = runs["build_id"].drop_duplicates()
    laid = followed(design.strata, limits, np.arange(len(runs), dtype=float))
    holder = np.repeat(np.arange(len(first)), [int(sizes[name]) for name in first])
    return Followed(laid.weights, drift.trends(np.arange(len(runs)), holder), laid.lengths, laid.limits)


def _refuse_uneven(design: Design) -> None:
    """Refuse where what a place is depends on which build comes first."""
    if design.brief.positions is not None:
        raise DesignError(
            "[order]: not worked out where parts run side by side in the positions of an engine. Delete [order]; "
            "`wearbook plan` tells how closely comparisons follow the order that was drawn."
        )
    if latin.used(design.brief):
        raise DesignError(
            "[order]: a Latin square has its order drawn with it: in a square every level stands once at every place "
            "of a build, so that drift within builds touches no comparison. Delete [order]."
        )
    sizes = set(design.strata.runs["build_id"].value_counts())
    if design.strata.of_builds == strata.WHOLE_PLOTS and len(sizes) > 1:
        raise DesignError(
            "[order]: not worked out where builds are the units of a factor and hold different numbers of runs. Delete "
            "[order], or choose a plan whose builds hold the same number."
        )


def _none(design: Design, found: Followed, random: np.random.Generator, every: int) -> DesignError:
    """That no order keeps the limits, with the nearest that one was seen to keep."""
    held = [found.correlations(plain(design, _BATCH, random)) for _ in range(SAMPLED // _BATCH)]
    worst = np.abs(np.concatenate(held)).reshape(-1, 2, 2, held[0].shape[2]).max(axis=(2, 3))
    asked = [found.limits[0], found.limits[2]]
    best = worst[int(np.argmin(np.maximum(worst - asked, 0.0).max(axis=1)))]
    limits = design.brief.order or OrderLimits()
    near = " and ".join(
        f"{key} = {np.ceil(100 * value) / 100:g}"
        for key, value in zip(("most_linear", "most_quadratic"), best, strict=True)
        if getattr(limits, key) is not None
    )
    return DesignError(
        f"[order]: none of {_large(every)} orders of {design.name} keeps the limits "
        f"({limits_words(limits)}); the nearest found keeps {near}. Write that, or take "
        f"another number of builds or runs."
    )


def _large(number: int) -> str:
    """A count; beyond a billion by its power of ten."""
    return f"{number:,}" if number < 10**9 else f"{number:.1e}".replace("e+", " x 10^").replace("^0", "^")


def _rounded(number: int) -> str:
    """An estimated count to two digits."""
    return _large(int(float(f"{number:.1e}")))
