"""The runs of an optimal design: what the search was asked for, what it found, and what that is worth (rank 3).

Where a pilot counts as a block, its runs are held fixed in the search: the main phase is the best beside them.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from toolkit.brief import optimal
from toolkit.brief.model import Brief
from toolkit.errors import DesignError, ModelError
from toolkit.numeric import exchange
from toolkit.numeric.exchange import Found
from toolkit.wording import counted

Line = tuple[str, ...]
# The stream of the search beside those of the orders.
_STREAM = 12
_MOST_KEPT = 32
_WORDS = {
    "D": "the determinant of the information largest",
    "A": "the mean variance of the coefficients smallest",
    "I": "the mean variance of prediction smallest",
}
_kept: OrderedDict[str, Searched] = OrderedDict()


@dataclass(frozen=True, eq=False)
class Searched:
    """One set of an optimal design.

    Attributes
    ----------
    name : str
        'optimal (D), main effects, 18 runs a set'.
    lines : tuple of tuple of str
        The level of each factor, a line a run.
    builds : tuple of int
        The build of each run within the set, from 0 up.
    plots : mapping of str to tuple of int
        part and fill, where they are kept over several runs, to the unit of each run within the set.
    found : Found
        What the search told, runs of the pilot that were held fixed first.
    """

    name: str
    lines: tuple[Line, ...]
    builds: tuple[int, ...]
    plots: Mapping[str, tuple[int, ...]]
    found: Found


def used(brief: Brief) -> bool:
    """True where the brief's design is found by the search.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    return optimal.used(brief)


def key(brief: Brief) -> str:
    """What the set follows from, as text: the same text, the same set.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    asked = (brief.plan, brief.factors, brief.seed, brief.block_by, brief.new_each_run)
    return repr((*asked, brief.pilot if _beside_pilot(brief) else None))


def searched(brief: Brief, *, progress: Callable[[int, int, float], None] | None = None) -> Searched:
    """The set of runs of the brief's optimal design; the same seed gives the same set.

    Parameters
    ----------
    brief : Brief
    progress : callable, optional
        As ``numeric.exchange.search``.

    Returns
    -------
    Searched

    Raises
    ------
    DesignError
        When no such set was found (``brief.checks`` tells beforehand what cannot be).

    Notes
    -----
    Checked against: restrictions, blocks, whole plots and the 18-run array's efficiency, tests/unit/design/
    test_optimal.py.
    """
    made = key(brief)
    if made not in _kept:
        _kept[made] = _search(brief, progress)
        if len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    return _kept[made]


def sentence(brief: Brief) -> str:
    """What the set is worth and what it costs to leave combinations out; empty for other designs.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    if not used(brief):
        return ""
    plan, found = brief.plan, searched(brief).found
    every = prod(len(item.levels) for item in brief.factors)
    if optimal.plots_of(brief):
        worth = f"D-efficiency {found.d_efficiency:.1f} % at a variance ratio of {plan.variance_ratio:g} between units"
    else:
        worth = f"D-efficiency {found.d_efficiency:.1f} %, {found.efficiency:.1f} % of a bound that no plan can beat"
        worth += " (one without blocks)" if plan.split_over > 1 or _beside_pilot(brief) else ""
    repeats = f"; {counted(plan.repeat_points, 'run')} repeat another" if plan.repeat_points else ""
    ruled_out = ", those that may not be run left out" if optimal.restricted(brief) else ""
    return (
        f"A set of {counted(plan.runs, 'run')} was searched for among {every} combinations{ruled_out}, "
        f"{_WORDS[plan.criterion]} ({plan.criterion}){repeats}: {worth}. The price: {_model(brief)} are told "
        f"and nothing else; the rest is taken as nil, and what of it each effect takes in is listed. A full factorial "
        f"takes {every} "
        f"runs for each replicate."
    )


def in_plan(brief: Brief) -> dict[str, object]:
    """What plan.json holds of the search; nothing for other designs.

    Returns
    -------
    dict
        Under ``optimal``: criterion, model, terms, runs, combinations, repeat_points, efficiency_pct, d_efficiency_pct,
        sentence.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    if not used(brief):
        return {}
    found = searched(brief).found
    return {
        "optimal": {
            "criterion": brief.plan.criterion,
            "model": brief.plan.model,
            "terms": [" × ".join(term) for term in optimal.terms(brief)],
            "runs": brief.plan.runs,
            "combinations": prod(len(item.levels) for item in brief.factors),
            "repeat_points": brief.plan.repeat_points,
            "efficiency_pct": found.efficiency,
            "d_efficiency_pct": found.d_efficiency,
            "sentence": sentence(brief),
        }
    }


def _search(brief: Brief, progress: Callable[[int, int, float], None] | None) -> Searched:
    """The set, by the search."""
    plan, names = brief.plan, list(brief.factor_names)
    fixed, fixed_builds = _pilot(brief)
    spread = optimal.builds_of_set(brief)
    builds = _evenly(plan.runs, spread)
    units = {unit: _evenly(plan.runs, plan.plots[unit]) for unit in optimal.plots_of(brief)}
    whole = [
        exchange.Plots(codes, tuple(names.index(name) for name in optimal.plots_of(brief)[unit]), plan.variance_ratio)
        for unit, codes in units.items()
    ]
    blocks = None
    if fixed or (spread > 1 and "build" not in units):
        # Where builds are no blocks, all of the main phase is one beside those of the pilot.
        blocks = [*fixed_builds, *(len(set(fixed_builds)) + (one if brief.block_by else 0) for one in builds)]
    try:
        found = exchange.search(
            optimal.space(brief),
            len(fixed) + plan.runs,
            seed=[brief.seed, _STREAM],
            criterion=plan.criterion,
            blocks=blocks,
            plots=whole,
            fixed=fixed or None,
            # A run and its repeat lie in the finest unit that holds several runs.
            tied=_tied(list(units.values())[-1] if units else builds, plan.repeat_points, len(fixed)),
            progress=progress,
        )
    except ModelError as problem:
        raise DesignError(f"[plan] design = 'optimal': {str(problem).splitlines()[-1].strip()}") from None
    lines = tuple(
        tuple(factor.names[level] for factor, level in zip(brief.factors, run, strict=True))
        for run in found.levels[len(fixed) :].tolist()
    )
    name = f"optimal ({plan.criterion}), {_model(brief)}, {plan.runs} runs a set"
    kept = {unit: codes for unit, codes in units.items() if unit != "build"}
    return Searched(name, lines, builds, kept, found)


def _model(brief: Brief) -> str:
    """The stated model in words."""
    if brief.plan.model == optimal.QUADRATIC:
        return "main effects, interactions of two and squares"
    count = len(optimal.terms(brief)) - len(brief.factors)
    if not count:
        return "main effects"
    return f"main effects and {counted(count, 'interaction')} of two"


def _evenly(runs: int, units: int) -> tuple[int, ...]:
    """The unit of each run, as many runs in each as can be."""
    return tuple(int(at * units // runs) for at in range(runs))


def _tied(builds: Sequence[int], repeats: int, first: int) -> list[list[int]]:
    """Pairs of runs that repeat each other, spread evenly over the builds or finer units of a set."""
    places = {build: [at for at, own in enumerate(builds) if own == build] for build in dict.fromkeys(builds)}
    made: list[list[int]] = []
    while len(made) < repeats and any(len(own) > 1 for own in places.values()):
        for own in places.values():
            if len(own) > 1 and len(made) < repeats:
                made.append([first + own.pop(0), first + own.pop(0)])
    return made


def _beside_pilot(brief: Brief) -> bool:
    """True where the runs of the pilot count in the analysis and are held fixed in the search."""
    return brief.pilot is not None and brief.pilot.use == "block" and not optimal.plots_of(brief)


def _pilot(brief: Brief) -> tuple[list[list[int]], list[int]]:
    """The runs of a pilot that counts, as level numbers, and the build of each."""
    if not _beside_pilot(brief):
        return [], []
    again = max(brief.pilot.replicates, 1)
    chosen = [
        [factor.names.index(levels[factor.name]) for factor in brief.factors] for levels in brief.pilot.combinations
    ]
    lines = [line for line in chosen for _ in range(again)]
    # Every build of a pilot holds each combination equally often.
    inside = np.arange(len(lines)) % again // max(again // brief.pilot.builds, 1)
    return lines, [int(one) for one in inside]
