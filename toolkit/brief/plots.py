"""The units behind a two-level fraction whose factors are changed with builds, parts or fills (rank 2)."""

from __future__ import annotations

from toolkit.brief.designs import FRACTION
from toolkit.brief.model import Brief, Factor
from toolkit.numeric import plot_fractions
from toolkit.numeric.fractions import Pair
from toolkit.numeric.plot_fractions import Layers, PlotFraction

RUN = "run"
_COARSER = ("build", "part", "fill")


def used(brief: Brief) -> bool:
    """True where the design is a two-level fraction and a factor is kept over several runs."""
    return brief.plan.design == FRACTION and any(_unit(brief, item) != RUN for item in brief.factors)


def chain(brief: Brief) -> tuple[str, ...]:
    """The units that carry a factor, the coarsest first; the run last, whether it carries one or not."""
    held = {_unit(brief, item) for item in brief.factors}
    return (*(unit for unit in _COARSER if unit in held), RUN)


def layers(brief: Brief) -> Layers:
    """The place of each factor's unit in the chain."""
    return tuple(chain(brief).index(_unit(brief, item)) for item in brief.factors)


def units_of_set(brief: Brief) -> tuple[int, ...]:
    """Units of each kind but the run in one set: builds as [plan] split_over says, else all combinations they can hold.

    Notes
    -----
    Checked against: tests/unit/design/test_plots_fraction.py.
    """
    found = plot_fractions.most_units(layers(brief), brief.plan.runs)
    over = brief.plan.split_over
    if over == 1 or chain(brief)[0] != "build":
        return found
    # Units within fewer builds are fewer too, as far as their factors need no more.
    own = layers(brief)
    made = [over]
    for layer in range(1, len(found)):
        made.append(min(found[layer], made[-1] << own.count(layer)))
    return tuple(made)


def fraction_of(brief: Brief, clear: tuple[Pair, ...], asked: tuple[Pair, ...]) -> PlotFraction | None:
    """The fraction in units that [plan] asks for; None where none keeps what is to be kept.

    Raises
    ------
    ModelError
        When there are no such units in so many runs.
    """
    return plot_fractions.in_plots(layers(brief), brief.plan.runs, units_of_set(brief), clear=clear, apart=asked)


def _unit(brief: Brief, factor: Factor) -> str:
    """The unit a factor is assigned to."""
    return RUN if factor.undo == "setting" or factor.undo in brief.new_each_run else factor.undo
