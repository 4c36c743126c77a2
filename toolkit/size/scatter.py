"""How much runs scatter before the campaign: from the pilot, the rig's history, both blended, or a declared guess.

Rank 5. What is planned with is a mean square per run value in each stratum of the design, with its degrees of
freedom; the strata come from ``design.strata`` and the pilot's mean squares from ``model.fit``, so that sizing and
analysis use the same error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import strata as design_strata
from toolkit.errors import DesignError, ModelError, SizingError
from toolkit.model import components
from toolkit.model import fit as model_fit
from toolkit.numeric import intervals, memory

COLUMNS = ("response", "source", "stratum", "sd", "conf_low", "conf_high", "df", "conf_level", "used", "note")
AS_NOW = "as now"
_WORDS = {"pilot": "pilot", "main": "main phase"}


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
        build, part, fill or run.
    value, df : float
        Its mean square per run value on the analysis scale, and the degrees of freedom of that.
    expected : mapping of str to float
        Unit to how often its variance stands in the mean square: of builds of four runs {'build': 4, 'run': 1}.
    """

    stratum: str
    value: float
    df: float
    expected: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Scatter:
    """What is known of one response's scatter before the main phase.

    Attributes
    ----------
    response : Response
    basis : str
        main, pilot, blended, history or declared: what the sizing rests on.
    run : MeanSquare
        Between runs (within builds, where builds are blocks or units).
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

    @property
    def layers(self) -> tuple[Layer, ...]:
        """All that is known, the coarsest stratum first; what the sizing of every plan is turned round from."""
        outer = self.between
        if not outer and self.build is not None:
            spread = {"build": float(self.runs_per_build), "run": 1.0}
            outer = (Layer("build", self.build.value, self.build.df, spread),)
        return (*outer, Layer("run", self.run.value, self.run.df, {"run": 1.0})) if self.run_known else outer

    @property
    def table(self) -> pd.DataFrame:
        """One row a source: response, source, stratum, sd, conf_low, conf_high, df, conf_level, used, note.

        SDs are those of ln on the log scale (about the CV), else in the response's unit. ``used`` marks the line
        the sizing rests on.
        """
        return self._table.copy()

    @property
    def sd(self) -> float:
        """The run-to-run SD that the sizing rests on, on the analysis scale."""
        return math.sqrt(self.run.value)


def known(
    brief: Brief,
    response: str,
    *,
    runs: pd.DataFrame | None = None,
    stations: pd.DataFrame | None = None,
    readings: pd.DataFrame | None = None,
    history: pd.DataFrame | None = None,
    phase: str = "pilot",
) -> Scatter:
    """The scatter to size with: the pilot's, blended with the rig's history where there is one; else a declared guess.

    Parameters
    ----------
    brief : Brief
    response : str
    runs : DataFrame, optional
        Run values with phase, verdict, build_id and factor levels; the valid runs of the pilot are used.
    stations : DataFrame, optional
        Station values of those runs, for the split into run and station.
    readings : DataFrame, optional
        Their single readings, for the split of the station's share.
    history : DataFrame, optional
        Earlier campaigns: campaign_id, response, scale, per_run, stratum, sd, df, rig_state.
    phase : str
        pilot; or main, to size an extension: the scatter of all valid runs that count, where it leaves degrees of
        freedom, stands in the place of the pilot's.

    Raises
    ------
    SizingError
        When nothing is known: no pilot with an error df, no usable history and no declared range.
    """
    asked = brief.response(response)
    lines: list[dict[str, object]] = []
    notes: list[str] = []
    pilot = _of_runs(brief, asked, runs, (stations, readings), lines, notes, phase) if phase == "main" else None
    if pilot is None:
        pilot = _of_runs(brief, asked, runs, (stations, readings), lines, notes, "pilot")
    past = _of_history(brief, asked, history, lines, notes)
    if pilot is None and past is None:
        made = _declared(brief, asked, notes)
    elif pilot is None:
        made = Scatter(asked, "history", past, None, 1.0, None, (), pd.DataFrame())
    elif past is None or not pilot.run_known:
        made = pilot
    else:
        made = _blended(brief, asked, pilot, past, lines, notes)
    if made.declared is not None:
        low, high = made.declared
        lines.append(
            _line(
                brief,
                asked,
                "declared (a guess)",
                "run",
                made.sd,
                low,
                high,
                None,
                "a guess: run a pilot before booking",
            )
        )
    table = pd.DataFrame(lines, columns=[name for name in COLUMNS if name != "used"])
    used = "declared (a guess)" if made.basis == "declared" else made.basis
    rests = (table["source"] == used) | (table["source"].isin(["pilot", "main"]) & (table["stratum"] == "build"))
    table.insert(COLUMNS.index("used"), "used", rests & table["stratum"].isin(["run", "build"]))
    return replace(made, notes=tuple(notes), _table=table)


def _of_runs(
    brief: Brief,
    response: Response,
    runs: pd.DataFrame | None,
    sampled: tuple[pd.DataFrame | None, pd.DataFrame | None],
    lines: list[dict[str, object]],
    notes: list[str],
    phase: str,
) -> Scatter | None:
    """The scatter of the valid runs of a phase, with its lines; None when they hold no error df."""
    word = _WORDS[phase]
    if runs is None or response.name not in runs:
        return None
    counted = brief.counted_phases if phase == "main" else (phase,)
    chosen = runs[runs["phase"].isin(counted) & (runs["verdict"] == "valid")]
    if chosen.empty:
        return None
    try:
        fitted = model_fit.fit(brief, chosen, response.name, phase=phase)
    except (ModelError, DesignError) as problem:
        notes.append(f"{response.name}: the {word} cannot be used ({problem}).")
        return None
    notes += [
        f"{response.name}: {word} run {row['run_id']} is left out: {row['found']}."
        for row in fitted.findings.to_dict("records")
        if row["severity"] == "exclude"
    ]
    used = fitted.runs
    each = len(used) / used["build_id"].nunique()
    plots = fitted.strata.layout == design_strata.WHOLE_PLOTS
    run = _square(fitted.mean_squares.get("run"))
    build = _square(fitted.mean_squares.get("build")) if plots else None
    if run is None and (build is None or each != 1):
        notes.append(
            f"{response.name}: the {word}'s {len(used)} runs leave no degrees of freedom for scatter (or show "
            f"none at all); repeat at least one combination."
        )
        return None
    if run is not None:
        lines.append(_interval_line(brief, response, phase, "run", run, f"{len(used)} runs"))
    if build is not None:
        note = "SD of a build mean times the root of its runs, run scatter included"
        lines.append(_interval_line(brief, response, phase, "build", build, note))
    elif plots:
        notes.append(
            f"{response.name}: the {word} cannot tell the scatter between builds (it needs two builds of the "
            f"same level); what is changed with the build cannot be sized."
        )
    lines += _sub_samples(brief, response, phase, used, *sampled)
    return Scatter(
        response, phase, run or build or MeanSquare(0.0, 0.0), build, each, None, (), pd.DataFrame(), run is not None
    )


def _square(found: tuple[float | None, int] | None) -> MeanSquare | None:
    """A mean square that can be used; None where there is none or it is nought."""
    return MeanSquare(float(found[0]), float(found[1])) if found is not None and found[0] else None


def _sub_samples(
    brief: Brief,
    response: Response,
    phase: str,
    runs: pd.DataFrame,
    stations: pd.DataFrame | None,
    readings: pd.DataFrame | None,
) -> list[dict[str, object]]:
    """The lines of stations and readings, for the reader; the sizing rests on run values."""
    if stations is None or response.stations is None:
        return []
    split = components.table(brief, runs, response.name, stations=stations, readings=readings)
    numbers = ("sd", "conf_low", "conf_high", "df")
    return [
        _line(brief, response, phase, row["source"], *(row[name] for name in numbers), row["note"])
        for row in split.to_dict("records")
        if row["source"] in ("station", "reading")
    ]


def _of_history(
    brief: Brief, response: Response, history: pd.DataFrame | None, lines: list[dict[str, object]], notes: list[str]
) -> MeanSquare | None:
    """The rig's history of this response as one prior mean square; None when fewer than three campaigns fit."""
    if history is None or history.empty:
        return None
    fits = pd.Series(True, index=history.index)
    why = pd.Series("", index=history.index)
    for column, wanted in (
        ("response", response.name),
        ("scale", response.scale),
        ("per_run", response.per_run),
        ("stratum", "run"),
        ("rig_state", AS_NOW),
    ):
        wrong = history[column].astype(str) != wanted
        why[fits & wrong] = f"{column} is not '{wanted}'"
        fits &= ~wrong
    own = history[history["response"].astype(str) == response.name]
    for at in own.index[~fits[own.index]]:
        notes.append(
            f"{response.name}: campaign '{history.loc[at, 'campaign_id']}' of the rig's history is not used: {why[at]}."
        )
    usable = history[fits]
    if len(usable) < 3:
        if len(own):
            notes.append(
                f"{response.name}: the rig's history holds {len(usable)} usable campaigns; at least three are "
                f"needed, so it is not used."
            )
        return None
    prior = memory.prior_scatter(usable["sd"].to_numpy(dtype=float), usable["df"].to_numpy(dtype=float))
    past = MeanSquare(float(prior.mean_square), float(prior.df))
    lines.append(
        _interval_line(
            brief, response, "history", "run", past, f"{len(usable)} earlier campaigns, df capped at their number"
        )
    )
    return past


def _blended(
    brief: Brief,
    response: Response,
    pilot: Scatter,
    past: MeanSquare,
    lines: list[dict[str, object]],
    notes: list[str],
) -> Scatter:
    """The pilot's run scatter blended with the history's; the scatter between builds stays the pilot's own."""
    word = _WORDS[pilot.basis]
    mixed = memory.blend(pilot.run.value, pilot.run.df, past.df, past.value)
    if mixed.conflict:
        notes.append(
            f"{response.name}: the {word} scatters more than the rig's history lets expect (P = "
            f"{mixed.p_value:.2g}); the history counts for less."
        )
    made = MeanSquare(float(mixed.mean_square), float(mixed.df))
    lines.append(
        _interval_line(brief, response, "blended", "run", made, f"{word} and history; for sizing, not for the verdict")
    )
    return replace(pilot, basis="blended", run=made)


def _declared(brief: Brief, response: Response, notes: list[str]) -> Scatter:
    """A declared range of CV as a guess; the middle is the plug-in figure, the sizing averages over the range."""
    told = "; ".join(notes)
    if brief.scatter.declared_cv_pct is None:
        raise SizingError(
            f"{response.name}: nothing is known of its scatter"
            f"{f' ({told})' if told else ''}. Run a pilot (plan it with `wearbook plan --phase pilot`), "
            f"name a history file, or declare a range with declared_cv_pct in [scatter]."
        )
    if response.scale != "log":
        raise SizingError(
            f"{response.name}: a declared CV tells the scatter on the log scale only, and this response "
            f"is analysed on the linear scale. Run a pilot first."
        )
    low, high = (float(intervals.sd_of_ln_from_cv(cv / 100.0)) for cv in brief.scatter.declared_cv_pct)
    middle = 0.5 * (low + high)
    notes.append(
        f"{response.name}: no records yet: the scatter is a guess (CV {brief.scatter.declared_cv_pct[0]:g} to "
        f"{brief.scatter.declared_cv_pct[1]:g} %)."
    )
    return Scatter(response, "declared", MeanSquare(middle**2, math.inf), None, 1.0, (low, high), (), pd.DataFrame())


def _interval_line(
    brief: Brief, response: Response, source: str, stratum: str, square: MeanSquare, note: str
) -> dict[str, object]:
    """A line with the chi-square interval of its SD."""
    sd = math.sqrt(square.value)
    low, high = intervals.sd_interval(sd, square.df, conf_level=brief.conf_level)
    return _line(brief, response, source, stratum, sd, float(low), float(high), square.df, note)


def _line(
    brief: Brief,
    response: Response,
    source: str,
    stratum: str,
    sd: object,
    low: object,
    high: object,
    df: object,
    note: str,
) -> dict[str, object]:
    """One row of the table."""
    numbers = [
        None if value is None or not np.isfinite(float(value)) else float(value) for value in (sd, low, high, df)
    ]
    return {
        "response": response.name,
        "source": source,
        "stratum": stratum,
        "sd": numbers[0],
        "conf_low": numbers[1],
        "conf_high": numbers[2],
        "df": numbers[3],
        "conf_level": brief.conf_level,
        "note": note,
    }
