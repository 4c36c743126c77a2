"""What a brief says of its phases: the pilot, the main phase as chosen, the extension (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from toolkit.brief.designs import FULL
from toolkit.brief.extensions import SAME


@dataclass(frozen=True)
class Pilot:
    """Phase 0: a few runs that tell the scatter."""

    combinations: tuple[Mapping[str, str], ...] = ()
    replicates: int = 2
    builds: int = 1
    use: str = "scatter"


@dataclass(frozen=True)
class Extension:
    """Phase 2: further runs beside those of the main phase; 0 means not chosen yet.

    Attributes
    ----------
    builds : int
        Further builds, where builds are blocks. Of a fold-over or semifold left out: as many as the main phase has; of
        the other kinds but 'more of the same': 1.
    replicates : int
        Further runs of each of ``combinations``, where runs are completely randomised; of the other kinds how often
        the runs are made, left out as for ``builds``.
    combinations : tuple of mapping
        The combinations that are run again; none named: all of them. Of make-up runs: those that are run.
    design : str
        One of ``brief.extensions.KINDS``.
    swap : tuple of str
        The factors whose two levels are swapped; none named: all of them.
    half : mapping of str to str
        Of a semifold: a factor and the level of it that is run; the other half of the fold-over is not.
    axial : str
        'face-centred', 'rotatable' or 'orthogonal blocking'.
    centre_points : int
        Beside one set of axial points.
    free : tuple of tuple of str
        Effects that are to be told apart from all they are aliased with: interactions of two factors, or factors.
    comparison : str
        Together with ``detectable_ratio``: the comparison whose size is asked for.
    detectable_ratio : float or None
        The ratio that comparison is to show with the asked power.
    """

    builds: int = 0
    replicates: int = 0
    combinations: tuple[Mapping[str, str], ...] = ()
    design: str = SAME
    swap: tuple[str, ...] = ()
    half: Mapping[str, str] = field(default_factory=dict)
    axial: str = ""
    centre_points: int = 0
    free: tuple[tuple[str, ...], ...] = ()
    comparison: str = ""
    detectable_ratio: float | None = None


@dataclass(frozen=True)
class Limit:
    """A sum of numeric factors, each times a weight, that is kept within limits: ``sum`` maps factor to weight."""

    sum: Mapping[str, float]
    at_most: float | None = None
    at_least: float | None = None


@dataclass(frozen=True)
class PlanChoice:
    """Phase 1 as chosen by the engineer: ``builds`` or ``replicates`` 0 means not chosen yet.

    Attributes
    ----------
    design : str
        One of ``brief.designs.DESIGNS``.
    runs : int
        Runs of one set, where the design does not say it: two-level fraction and Plackett-Burman; 0 there: the
        fewest that hold the factors (Plackett-Burman).
    resolution : int
        The least a two-level fraction must have; 0: whatever its runs allow.
    keep_clear : tuple of tuple of str
        Two-factor interactions that must not be aliased with main effects or each other.
    interactions_up_to : int
        Interactions of more factors are taken as nil; 0: none is.
    split_over : int
        Over how many builds one set of runs is spread, where builds are blocks.
    axial : str
        Of a central composite: 'rotatable', 'face-centred', 'orthogonal quadratic' or 'orthogonal blocking'.
    runs_in_build : int
        Of incomplete blocks, balanced or not: how many runs a build holds; 0: as many as it lasts.
    baseline_in_every_build : bool
        Of balanced incomplete blocks: every build holds the baseline, the others are balanced beside it.
    balance_carry_over : bool
        Of a Latin square: every level follows every other one equally often.
    criterion : str
        Of an optimal design: 'D' (the determinant of the information largest), 'A' (mean variance of the coefficients
        smallest) or 'I' (mean variance of prediction smallest).
    model : str
        Of an optimal design: 'main effects', 'two-factor interactions' (all of them) or 'quadratic' (these and the
        squares of numbers of three levels and more).
    interactions : tuple of tuple of str
        Of an optimal design for main effects: interactions of two that are in the model beside them.
    forbidden : tuple of mapping
        Of an optimal design: levels of some factors that are never run together.
    limits : tuple of Limit
        Of an optimal design: sums of numeric factors that are kept within limits.
    repeat_points : int
        Of an optimal design: how many of its runs repeat another one of the set, for an error that no model enters.
    plots : mapping of str to int
        Of an optimal design: how many units of each kind that keeps a factor over several runs one set has.
    variance_ratio : float
        Of an optimal design: variance between such units over that between runs within them, as assumed for the search.
    """

    design: str = FULL
    builds: int = 0
    replicates: int = 0
    centre_points: int = 0
    nil_interactions: tuple[tuple[str, ...], ...] = ()
    runs: int = 0
    resolution: int = 0
    keep_clear: tuple[tuple[str, ...], ...] = ()
    interactions_up_to: int = 0
    split_over: int = 1
    axial: str = ""
    runs_in_build: int = 0
    baseline_in_every_build: bool = False
    balance_carry_over: bool = False
    criterion: str = "D"
    model: str = "main effects"
    interactions: tuple[tuple[str, ...], ...] = ()
    forbidden: tuple[Mapping[str, str], ...] = ()
    limits: tuple[Limit, ...] = ()
    repeat_points: int = 0
    plots: Mapping[str, int] = field(default_factory=dict)
    variance_ratio: float = 1.0
