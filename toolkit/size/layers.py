"""What is known of a response's scatter before a phase, layer by layer (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Response
from toolkit.wording import filled


@dataclass(frozen=True)
class MeanSquare:
    """A mean square per run value on the analysis scale and its degrees of freedom (inf: taken as known)."""

    value: float
    df: float


@dataclass(frozen=True)
class Layer:
    """What is known of the scatter in one stratum.

    Attributes
    ----------
    stratum : str
        build, part, fill, run or position.
    value, df : float
        Its mean square per run value on the analysis scale, and the degrees of freedom of that.
    expected : mapping of str to float
        Unit to how often its variance stands in the mean square: of builds of four runs {'build': 4, 'run': 1}.
    """

    stratum: str
    value: float
    df: float
    expected: Mapping[str, float]


@dataclass(frozen=True)
class Ends:
    """Runs whose values are only known to lie between two ends: the mean square taken is the most that they allow.

    Attributes
    ----------
    runs : tuple of str
    of : int
        How many runs the scatter rests on, those among them.
    least : float
        The least that the mean square can be.
    """

    runs: tuple[str, ...]
    of: int
    least: float


@dataclass(frozen=True, eq=False)
class Scatter:
    """What is known of one response's scatter before the main phase.

    Attributes
    ----------
    response : Response
    basis : str
        main, pilot, blended, history or declared: what the sizing rests on.
    run : MeanSquare
        Between runs (within builds, where builds are blocks or units); between positions within runs where these hold
        parts of their own (see ``finest``).
    build : MeanSquare or None
        Between builds per run value, where builds are units and the pilot had several; None when not known.
    runs_per_build : float
        Runs per build behind ``build``.
    declared : tuple of float or None
        The range of SD of a guess; the sizing averages over it.
    notes : tuple of str
    run_known : bool
        False where the pilot had one run a build: only builds of one run can then be sized.
    between : tuple of Layer
        What is known between units of several runs, the coarsest first, where that is more than ``build`` says.
    own : tuple of Layer
        The pilot's own, before any history was blended in; empty without a pilot.
    finest : str
        What ``run`` is between: run, or position.
    ends : Ends or None
        Where values lie below the laboratory's limit: ``run`` is then a bound.
    """

    response: Response
    basis: str
    run: MeanSquare
    build: MeanSquare | None
    runs_per_build: float
    declared: tuple[float, float] | None
    notes: tuple[str, ...]
    _table: pd.DataFrame
    run_known: bool = True
    between: tuple[Layer, ...] = ()
    own: tuple[Layer, ...] = ()
    finest: str = "run"
    ends: Ends | None = None

    @property
    def layers(self) -> tuple[Layer, ...]:
        """All that is known, the coarsest stratum first; what the sizing of every plan is turned round from."""
        outer = self.between
        if not outer and self.build is not None:
            spread = {"build": float(self.runs_per_build), "run": 1.0}
            outer = (Layer("build", self.build.value, self.build.df, spread),)
        inner = Layer(self.finest, self.run.value, self.run.df, {self.finest: 1.0})
        return (*outer, inner) if self.run_known else outer

    @property
    def table(self) -> pd.DataFrame:
        """One row a source: response, source, stratum, sd, conf_low, conf_high, df, conf_level, used, note.

        SDs are those of ln on the log scale (about the CV), else in the response's unit. ``used`` marks the line
        the sizing rests on. Only where there is a bound: ``bound`` marks an sd that is the most that values known only
        between two ends allow, ``sd_at_least`` the least; conf_low is then that of the least.
        """
        return self._table.copy()

    @property
    def sd(self) -> float:
        """The run-to-run SD that the sizing rests on, on the analysis scale."""
        return math.sqrt(self.run.value)

    def __repr__(self) -> str:
        """The lines of the scatter, then what there is to know of them."""
        told = filled(self.table.drop(columns=["conf_level", "note"], errors="ignore")).to_string(index=False)
        return "\n".join([f"{self.response.name}: {self.basis}", told, *self.notes])
