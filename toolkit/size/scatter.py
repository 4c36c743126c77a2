"""How much runs scatter before the campaign: from the pilot, the rig's history, both blended, or a declared guess.

Rank 5. What is planned with is a mean square per run value in each stratum of the design, with its degrees of
freedom; the strata come from ``design.strata`` and the pilot's mean squares from ``model.fit``, so that sizing and
analysis use the same error.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.errors import SizingError
from toolkit.model.gauge_study import GaugeStudy
from toolkit.numeric import intervals
from toolkit.size import _gauge_joined as gauge_joined
from toolkit.size import _pilot_words as pilot_words
from toolkit.size import _scatter_lines as scatter_lines
from toolkit.size import pilot_scatter, rig_memory
from toolkit.size._scatter_lines import COLUMNS
from toolkit.size.layers import Layer, MeanSquare, Scatter

__all__ = ["COLUMNS", "Layer", "MeanSquare", "Scatter", "known"]


def known(
    brief: Brief,
    response: str,
    *,
    runs: pd.DataFrame | None = None,
    stations: pd.DataFrame | None = None,
    readings: pd.DataFrame | None = None,
    history: pd.DataFrame | None = None,
    phase: str = "pilot",
    gauge: GaugeStudy | None = None,
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
    gauge : GaugeStudy, optional
        Parts read again and again: what a reading adds, and how much of the scatter is the gauge's.

    Raises
    ------
    SizingError
        When nothing is known: no pilot with an error df, no usable history and no declared range.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.brief.known_scatter import KnownScatter
    >>> brief = reading.read(shipped.folder("templates") / "campaign" / "campaign.toml")
    >>> guess = replace(brief, scatter=KnownScatter(declared_cv_pct=(10, 20)))
    >>> found = known(guess, "wear_um")
    >>> round(found.sd, 3)
    0.149
    >>> found.notes
    ('wear_um: no pilot, history or finished campaign tells it: the scatter is a guess (CV 10 to 20 %).',)
    """
    asked = brief.response(response)
    brief = by_position.judged(brief, asked)
    lines: list[dict[str, object]] = []
    notes: list[str] = []
    pilot, sampled = None, (stations, readings)
    for name in ("main", "pilot") if phase == "main" else ("pilot",):
        pilot = pilot or pilot_scatter.of_runs(brief, asked, runs, sampled, lines, notes, name)
    tried = runs is not None and bool((runs["phase"] == "pilot").any())
    past = rig_memory.of_history(brief, asked, history, lines, notes)
    if pilot is None and past is None:
        made = _declared(brief, asked, notes, tried)
    elif pilot is None:
        made = Scatter(asked, "history", past, None, 1.0, None, (), pd.DataFrame(), finest=_finest(brief))
    elif past is None or not pilot.run_known:
        made = pilot
    else:
        made = rig_memory.blended(brief, asked, pilot, past, lines, notes)
    if made.declared is not None:
        low, high = made.declared
        lines.append(
            scatter_lines.line(
                brief,
                asked,
                "declared (a guess)",
                made.finest,
                made.sd,
                low,
                high,
                None,
                f"a guess: {'put the pilot right' if tried else 'run a pilot'} before booking",
            )
        )
        lines += _guessed_between(brief, asked, made)
    if gauge is not None:
        # What the main phase shows is not looked at for its own sizing.
        before = runs if runs is None or phase == "main" else runs[runs["phase"] == "pilot"]
        gauge_joined.join(brief, asked, made, gauge, before, lines, notes)
    bound = scatter_lines.BOUND if any("bound" in item for item in lines) else ()
    table = pd.DataFrame(lines, columns=[*(name for name in COLUMNS if name != "used"), *bound])
    if bound:
        table["bound"] = [bool(item.get("bound")) for item in lines]
    used = "declared (a guess)" if made.basis == "declared" else made.basis
    outer = table["stratum"].isin(["build", "part", "fill", *(["run"] if made.finest != "run" else [])])
    rests = (table["source"] == used) & (outer | (table["stratum"] == made.finest))
    table.insert(COLUMNS.index("used"), "used", rests | (outer & table["source"].isin(list(pilot_scatter.WORDS))))
    return replace(made, notes=tuple(notes), _table=table)


def _declared(brief: Brief, response: Response, notes: list[str], tried: bool) -> Scatter:
    """A declared range of CV as a guess; the middle is the plug-in figure, the sizing averages over the range."""
    plain = [note.removeprefix(f"{response.name}: ") for note in notes]
    told = "".join(f" {note[:1].upper()}{note[1:]}" for note in plain)
    if brief.scatter.declared_cv_pct is None:
        way = pilot_words.way_on(response, told, tried)
        raise SizingError(f"{response.name}: nothing is known of its scatter.{way}")
    if response.scale != "log":
        way = pilot_words.way_on(response, told, tried)
        raise SizingError(
            f"{response.name}: a declared CV tells the scatter on the log scale only, and this response "
            f"is analysed on the linear scale.{way}"
        )
    low, high = (float(intervals.sd_of_ln_from_cv(cv / 100.0)) for cv in brief.scatter.declared_cv_pct)
    middle = 0.5 * (low + high)
    least, most = brief.scatter.declared_cv_pct
    notes.append(
        f"{response.name}: no pilot, history or finished campaign tells it: the scatter is a guess (CV {least:g} to "
        f"{most:g} %)."
    )
    finest, between = _finest(brief), ()
    if finest != units.RUN and brief.scatter.declared_run_cv_pct is not None:
        runs, each = _between(brief), float(len(brief.positions.names))
        spread = {units.RUN: each, finest: 1.0}
        between = (Layer(units.RUN, each * runs**2 + middle**2, math.inf, spread),)
        notes.append(
            f"{response.name}: between runs it is a guess too (CV {brief.scatter.declared_run_cv_pct[0]:g} to "
            f"{brief.scatter.declared_run_cv_pct[1]:g} %), taken to be large where the guess within runs is."
        )
    elif finest != units.RUN:
        notes.append(
            f"{response.name}: the guess is of positions within a run; for what is changed with the run give "
            f"declared_run_cv_pct in [scatter] too."
        )
    square = MeanSquare(middle**2, math.inf)
    return Scatter(
        response, "declared", square, None, 1.0, (low, high), (), pd.DataFrame(), between=between, finest=finest
    )


def _finest(brief: Brief) -> str:
    """What the scatter of a response is between: positions of a run where these hold parts of their own, else runs."""
    return units.of_brief(brief)[-1]


def _between(brief: Brief) -> float:
    """The SD between runs, on the log scale, in the middle of its declared range."""
    return 0.5 * sum(float(intervals.sd_of_ln_from_cv(cv / 100.0)) for cv in brief.scatter.declared_run_cv_pct)


def _guessed_between(brief: Brief, response: Response, made: Scatter) -> list[dict[str, object]]:
    """The line of a guess at the scatter between runs."""
    if not made.between:
        return []
    low, high = (float(intervals.sd_of_ln_from_cv(cv / 100.0)) for cv in brief.scatter.declared_run_cv_pct)
    note = "a guess: SD of runs beside that of their positions"
    return [
        scatter_lines.line(brief, response, "declared (a guess)", units.RUN, _between(brief), low, high, None, note)
    ]
