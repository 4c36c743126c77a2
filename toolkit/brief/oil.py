"""What the account of metal in the oil rests on: [oil], and a card of each oil in [[oil_card]] (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PRECISIONS = ("within_batch", "between_batches", "between_labs")
SUMP_VISCOSITY = "sump_viscosity_mm2_s"


@dataclass(frozen=True)
class Oil:
    """How metals in the oil are accounted for and checked; nothing is corrected that was not asked for.

    Attributes
    ----------
    fill_kg : float
        Oil in the sump at the start of a run, once the zero-hour sample is drawn.
    liquid_share : float or None
        Share of the consumed oil that takes its metal along (1: leaks, oil burnt at the rings; 0: vapour). Needed for
        ``per_run = "balance"``; bounds are told for 0 and 1 whatever it is.
    marker : str
        An element that only some of the oils hold; the carry-over of a fill is told from it. Empty: none.
    most_carry_over_pct : float or None
        More than this is a finding.
    zero_from_carry_over : bool
        True: a zero-hour figure that is missing is worked out from the fill before and the carry-over, and said.
    most_rise_ppm : mapping of str to float
        Elements that tell of dirt or coolant, and how far each may rise above the card in a run.
    precision : mapping
        Element to within_batch, between_batches, between_labs: [a, b] of a 95 % limit a * X ** b of two figures.
    mg_per_unit : mapping
        Element to response to the metal [mg] that one unit of its run value gives: worn area times density times the
        share of the element in it. It sets the metal in the oil against the metal the measured parts lost.
    recovery_band : (float, float)
        Metal in the oil over metal lost that is taken for sound.
    viscosity_at : str
        The held temperature at which the covariate sump_viscosity_mm2_s is worked out from the cards; empty: none is.
    """

    fill_kg: float
    liquid_share: float | None = None
    marker: str = ""
    most_carry_over_pct: float | None = None
    zero_from_carry_over: bool = False
    most_rise_ppm: Mapping[str, float] = field(default_factory=dict)
    precision: Mapping[str, Mapping[str, tuple[float, float]]] = field(default_factory=dict)
    mg_per_unit: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    recovery_band: tuple[float, float] = (0.2, 3.0)
    viscosity_at: str = ""


@dataclass(frozen=True)
class OilCard:
    """What an oil is when it comes new.

    Attributes
    ----------
    name : str
    where : mapping of str to str
        The levels of factors that are run with it; empty: all runs.
    new_ppm : mapping of str to float
        Element to its concentration in the new oil [mg/kg].
    within_pct : float
        How far a zero-hour sample may lie from the additive figures of the card, in per cent.
    kv40_mm2_s, kv100_mm2_s : float or None
        Kinematic viscosity at 40 and 100 degrees Celsius.
    """

    name: str
    where: Mapping[str, str] = field(default_factory=dict)
    new_ppm: Mapping[str, float] = field(default_factory=dict)
    within_pct: float = 15.0
    kv40_mm2_s: float | None = None
    kv100_mm2_s: float | None = None


def card_of(cards: tuple[OilCard, ...], levels: Mapping[str, object]) -> OilCard | None:
    """The card of a run by its factor levels; None when there is none."""
    fitting = (item for item in cards if all(levels.get(name) == level for name, level in item.where.items()))
    return next(fitting, None)
