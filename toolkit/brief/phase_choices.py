"""What a brief says of its phases: the pilot, the main phase as chosen, the extension (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from toolkit.brief.designs import FULL


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
        Further complete builds, where builds are blocks.
    replicates : int
        Further runs of each of ``combinations``, where runs are completely randomised.
    combinations : tuple of mapping
        The combinations that are run again; none named: all of them.
    """

    builds: int = 0
    replicates: int = 0
    combinations: tuple[Mapping[str, str], ...] = ()


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
