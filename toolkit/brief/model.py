"""What is asked and planned, as immutable objects: factors, responses, comparisons, held variables, costs.

Rank 2. A ``Brief`` is read from campaign.toml by ``brief.reading`` or built here in Python; ``check`` in
``brief.checks`` finds every fault of either. Nothing in this module reads files or touches data.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from toolkit import measured_in
from toolkit.brief.best_of import BestOf as BestOf
from toolkit.brief.booking import Booking as Booking
from toolkit.brief.covariate import Covariate as Covariate
from toolkit.brief.dyno_log import DynoLog as DynoLog
from toolkit.brief.factor import CENTRE as CENTRE
from toolkit.brief.factor import Factor as Factor
from toolkit.brief.factor import Level as Level
from toolkit.brief.factor import number_name as number_name
from toolkit.brief.known_scatter import KnownScatter as KnownScatter
from toolkit.brief.metrology import Master as Master
from toolkit.brief.metrology import Reference as Reference
from toolkit.brief.metrology import Traces as Traces
from toolkit.brief.money import Cost as Cost
from toolkit.brief.money import CostItem as CostItem
from toolkit.brief.oil import Oil as Oil
from toolkit.brief.oil import OilCard as OilCard
from toolkit.brief.order_limits import OrderLimits as OrderLimits
from toolkit.brief.phase_choices import Extension as Extension
from toolkit.brief.phase_choices import Limit as Limit
from toolkit.brief.phase_choices import Pilot as Pilot
from toolkit.brief.phase_choices import PlanChoice as PlanChoice
from toolkit.brief.positions import Positions as Positions
from toolkit.brief.protocol import Held as Held
from toolkit.brief.protocol import Protocol as Protocol
from toolkit.brief.received_table import ReceivedTable
from toolkit.brief.sizing_aim import Sizing as Sizing
from toolkit.errors import BriefError, Fault, listing, nearest, raise_all

# A pilot comes first, an extension after the main phase was looked at; each is planned and sealed by itself.
PHASES = ("pilot", "main", "extension")
UNDONE = ("build", "part", "fill", "setting", "position")
# How a run value is made, by the raw table the response is read from; the first is used when none is stated.
PER_RUN = {
    "stations": ("mean", "mean_of_log", "max", "total"),
    "oil": ("increase", "end", "balance"),
    "runs": ("value",),
}


@dataclass(frozen=True)
class Stations:
    """Places on a part that are measured in every run: sub-samples, never replicates.

    ``groups`` names sets of stations that are alike, such as inlet and exhaust lobes: name to station ids.
    """

    kind: str
    count: int
    readings: int = 1
    states: tuple[str, ...] = ()
    groups: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Lists of stations as tuples, so that the model holds nothing that grows."""
        if isinstance(self.groups, Mapping):
            frozen = {name: tuple(ids) if isinstance(ids, list) else ids for name, ids in self.groups.items()}
            object.__setattr__(self, "groups", frozen)


@dataclass(frozen=True)
class Response:
    """What is measured, and how its run value is made.

    Attributes
    ----------
    name : str
        Column name; the suffix says what it is measured in.
    role : str
        primary or secondary.
    better : str
        smaller or larger.
    scale : str
        log (ratios) or linear (differences).
    per_run : str
        From stations: mean (ln of the arithmetic mean on the log scale), mean_of_log, max or total.
        From oil samples: increase (last sample less the zero-hour sample), end (last sample) or balance (increase
        with what samples, top-ups and consumption took and brought, per kg of the fill).
        From runs.csv: value (for a name that ends in _ppm too, where it is written out).
        Left out: mean, increase or value, by the table the response is read from.
    stations : Stations or None
    worthwhile_change_pct : float or None
        The smallest change that matters to the decision, in per cent of the baseline (log scale).
    worthwhile_change : float or None
        The same in the response's own unit (linear scale).
    gauge_sd : float or None
        SD of one run value by the gauge alone, in the response's unit; None: from repeated readings, where there are.

    Examples
    --------
    >>> wear = Response("wear_um", worthwhile_change_pct=20)
    >>> wear.scale, wear.better, wear.per_run, wear.measured_in
    ('log', 'smaller', 'value', 'µm')
    """

    name: str
    role: str = "primary"
    better: str = "smaller"
    scale: str = "log"
    per_run: str = ""
    stations: Stations | None = None
    worthwhile_change_pct: float | None = None
    worthwhile_change: float | None = None
    gauge_sd: float | None = None

    def __post_init__(self) -> None:
        """Fill in per_run where it was left out."""
        if isinstance(self.per_run, str) and not self.per_run:
            object.__setattr__(self, "per_run", PER_RUN[self.source][0])

    @property
    def measured_in(self) -> str:
        """The unit as people write it."""
        return measured_in.shown(self.name)

    @property
    def source(self) -> str:
        """The raw table it is read from: stations, oil or runs."""
        if self.stations is not None:
            return "stations"
        return "oil" if str(self.name).endswith("_ppm") and self.per_run != "value" else "runs"


@dataclass(frozen=True)
class Comparison:
    """A named question: two sets of levels against each other, or an interaction.

    ``of`` and ``against`` name the same factors; factors left out are averaged with equal weights.
    ``interaction`` names the factors whose interaction is asked for instead (two levels each: the first
    against the last). A gain is what the response calls better; ``direction`` says it again for the reader
    (smaller or larger must agree with the primary response; either: a change both ways is of interest).
    Without a worthwhile or assumed change of its own, that of the response is used.

    Examples
    --------
    >>> coating = Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}, direction="smaller")
    >>> together = Comparison("coating needs the oil", interaction=("pin", "oil"))
    >>> coating.direction, together.interaction
    ('smaller', ('pin', 'oil'))
    """

    name: str
    of: Mapping[str, str] = field(default_factory=dict)
    against: Mapping[str, str] = field(default_factory=dict)
    interaction: tuple[str, ...] = ()
    direction: str = "either"
    worthwhile_change_pct: float | None = None
    worthwhile_change: float | None = None
    assumed_change_pct: float | None = None
    assumed_change: float | None = None
    family: str | None = None


@dataclass(frozen=True)
class Family:
    """Comparisons judged together: what is promised of them, and how their intervals are adjusted."""

    name: str
    promise: str = "each"
    adjust: str = "none"


@dataclass(frozen=True)
class OldData:
    """Records from before anything was planned, as the person who knows them describes them.

    Attributes
    ----------
    order : str
        'unknown', 'as listed' (the lines stand in the order the runs were made), or the heading of the column of
        the old table that tells it, which a table of [[received]] names as actual_order.
    repeats : str
        What lines of the same combination are: 'runs' (new parts, a build and a run of its own each), 'readings' (one
        run read again: averaged, never replicates), 'none' (there are none), or 'unknown' (taken as readings).
    """

    order: str
    repeats: str


@dataclass(frozen=True)
class Brief:
    """The whole brief; every later step is one call on it.

    ``most_runs_in_build`` is how many runs a build lasts where builds are blocks; None: no limit.

    Build it in Python or read it from campaign.toml with ``toolkit.brief.reading.read``; both pass the same
    checks (``toolkit.brief.checks.check``).

    Examples
    --------
    >>> brief = Brief(
    ...     id="pins", question="Does the coating wear less?", seed=7, new_each_run=("part",),
    ...     factors=(Factor("pin", "part", (Level("P0"), Level("P1"))),), responses=(Response("wear_um"),),
    ...     comparisons=(Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),),
    ... )
    >>> brief
    pins: Does the coating wear less?
      factors: pin (P0, P1)
      responses: wear_um
      comparisons: coating
    """

    id: str
    question: str
    seed: int
    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    comparisons: tuple[Comparison, ...] = ()
    families: tuple[Family, ...] = ()
    best_of: tuple[BestOf, ...] = ()
    alpha: float = 0.05
    power: float = 0.80
    new_each_run: tuple[str, ...] = ()
    block_by: str | None = None
    most_runs_in_build: int | None = None
    pilot: Pilot | None = None
    plan: PlanChoice = field(default_factory=PlanChoice)
    extension: Extension | None = None
    held: tuple[Held, ...] = ()
    protocol: Protocol = field(default_factory=Protocol)
    cost: Cost = field(default_factory=Cost)
    scatter: KnownScatter = field(default_factory=KnownScatter)
    received: tuple[ReceivedTable, ...] = ()
    covariates: tuple[Covariate, ...] = ()
    oil: Oil | None = None
    oil_cards: tuple[OilCard, ...] = ()
    traces: tuple[Traces, ...] = ()
    masters: tuple[Master, ...] = ()
    reference: Reference | None = None
    dyno_log: DynoLog | None = None
    old_data: OldData | None = None
    sizing: Sizing | None = None
    order: OrderLimits | None = None
    booking: Booking | None = None
    positions: Positions | None = None

    def factor(self, name: str) -> Factor:
        """The factor called ``name``.

        Raises
        ------
        BriefError
            When the brief has none of that name.
        """
        return _named(self.factors, name, "factor")

    def response(self, name: str) -> Response:
        """The response called ``name``.

        Raises
        ------
        BriefError
            When the brief has none of that name.
        """
        return _named(self.responses, name, "response")

    def comparison(self, name: str) -> Comparison:
        """The comparison called ``name``.

        Raises
        ------
        BriefError
            When the brief has none of that name.
        """
        return _named(self.comparisons, name, "comparison")

    def family_of(self, comparison: Comparison) -> Family | None:
        """The family a comparison is judged in, or None when it is judged alone."""
        return next((item for item in self.families if item.name == comparison.family), None)

    @property
    def factor_names(self) -> tuple[str, ...]:
        """The factor names in order."""
        return tuple(item.name for item in self.factors)

    @property
    def combinations(self) -> tuple[tuple[str, ...], ...]:
        """Every combination of levels, the last factor changing fastest."""
        return tuple(product(*(item.names for item in self.factors)))

    @property
    def counted_phases(self) -> tuple[str, ...]:
        """The phases an analysis rests on: the main phase, the pilot where it is a block, the extension if any."""
        counts = {
            "pilot": self.pilot is not None and self.pilot.use == "block",
            "main": True,
            "extension": self.extension is not None,
        }
        return tuple(phase for phase in PHASES if counts[phase])

    @property
    def conf_level(self) -> float:
        """The level of intervals, 1 - alpha."""
        return 1.0 - self.alpha

    def __repr__(self) -> str:
        """The question, and what is varied, measured and compared, a line each."""
        varied = [f"{item.name} ({', '.join(item.names)})" for item in self.factors]
        asked = [item.name for item in self.comparisons]
        told = {"factors": varied, "responses": [item.name for item in self.responses], "comparisons": asked}
        lines = [f"  {name}: {', '.join(parts)}" for name, parts in told.items() if parts]
        return "\n".join([f"{self.id}: {self.question}", *lines])


def _named(among: Sequence[Any], name: str, what: str) -> Any:
    """The part of a brief that is called so."""
    for item in among:
        if item.name == name:
            return item
    names = [item.name for item in among]
    fault = Fault(f"{what} '{name}'", "there is none of that name", listing(names), nearest(str(name), names))
    raise_all(BriefError, f"The brief has no such {what}.", [fault])


def worthwhile(brief: Brief, comparison: Comparison | None, response: Response) -> float | None:
    """The worthwhile change as a positive gain on the analysis scale, or None when none was stated.

    On the log scale p per cent less becomes -ln(1 - p/100), so that the band runs from (1 - p) to 1/(1 - p) in
    ratio, and p per cent more, where larger is better, ln(1 + p/100); on the linear scale it is the stated
    difference. The comparison's own figure wins over the response's.
    """
    return _change(comparison, response, "worthwhile_change")


def assumed(brief: Brief, comparison: Comparison | None, response: Response) -> float | None:
    """The true change that power is told for: the comparison's own, else its worthwhile change, else the
    response's; a positive gain on the analysis scale."""
    if comparison is not None and _own(comparison, response, "assumed_change") is not None:
        return _own(comparison, response, "assumed_change")
    return worthwhile(brief, comparison, response)


def lead(asked: BestOf, response: Response) -> float | None:
    """The lead worth picking for as a positive gain on the analysis scale: its own gap, else the worthwhile change."""
    own = _own(asked, response, "gap")
    return _own(response, response, "worthwhile_change") if own is None else own


def aimed_half_width(brief: Brief, response: Response) -> float | None:
    """The half-width that the size is chosen for, on the analysis scale; None where that is not the aim.

    On the log scale p per cent becomes ln(1 + p/100): the interval reaches from the ratio / (1 + p/100) to the ratio
    times it.
    """
    if brief.sizing is None or brief.sizing.aim != "half-width":
        return None
    if response.scale != "log":
        return brief.sizing.half_width
    percent = brief.sizing.half_width_pct
    return None if percent is None else math.log1p(percent / 100.0)


def gain_sign(response: Response) -> int:
    """What a positive difference on the analysis scale is: -1 where smaller is better, +1 where larger is."""
    return -1 if response.better == "smaller" else 1


def _own(holder: Comparison | Response | BestOf, response: Response, key: str) -> float | None:
    """The change a comparison or response states itself, on the analysis scale of the response."""
    percent = getattr(holder, f"{key}_pct", None)
    raw = getattr(holder, key, None)
    if response.scale == "log":
        if percent is None:
            return None
        return -math.log1p(-percent / 100.0) if response.better == "smaller" else math.log1p(percent / 100.0)
    return raw


def _change(comparison: Comparison | None, response: Response, key: str) -> float | None:
    """The comparison's own change, else the response's."""
    if comparison is not None:
        own = _own(comparison, response, key)
        if own is not None:
            return own
    return _own(response, response, key)
