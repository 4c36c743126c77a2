"""The scatter that the valid runs of a phase show, in each stratum they can tell (rank 5)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.design.strata import Strata
from toolkit.errors import DesignError, ModelError, SizingError
from toolkit.model import components
from toolkit.model import fit as model_fit
from toolkit.model.fit import Fit
from toolkit.size import _pilot_ends as pilot_ends
from toolkit.size import _pilot_words as pilot_words
from toolkit.size import _scatter_lines as scatter_lines
from toolkit.size.layers import Ends, Layer, MeanSquare, Scatter
from toolkit.wording import counted

WORDS = {"pilot": "pilot", "main": "main phase"}
_UNITS_OF = {"build": "build", "part": "part set", "fill": "fill", "run": "run"}


def of_runs(
    brief: Brief,
    response: Response,
    runs: pd.DataFrame | None,
    sampled: tuple[pd.DataFrame | None, pd.DataFrame | None],
    lines: list[dict[str, object]],
    notes: list[str],
    phase: str,
) -> Scatter | None:
    """The scatter of the valid runs of a phase, with its lines and what it cannot tell; None without an error df.

    Parameters
    ----------
    brief : Brief
    response : Response
    runs : DataFrame or None
        Run values with phase, verdict, build_id and factor levels.
    sampled : (DataFrame or None, DataFrame or None)
        Station values and readings of those runs.
    lines, notes : list
        What is found is added here.
    phase : str
        pilot or main.

    Returns
    -------
    Scatter or None

    Notes
    -----
    Where units of several runs hold the same, each stratum has its mean square. Elsewhere the run's is that of
    differences within units, exact; that of an outer unit is put together from the components of restricted maximum
    likelihood at the average number of runs in a unit, on Satterthwaite's df with the covariance of the expected
    information. Where values are only known to lie between two ends, the largest mean square that they allow is taken.

    Checked against: hand algebra and drawn pilots, balanced and not, tests/unit/size/test_scatter.py.
    """
    word = WORDS[phase]
    if runs is None:
        return None
    if response.name not in runs:
        if phase == "pilot" and (runs["phase"] == phase).any():
            notes.append(f"{response.name}: the pilot has no values of it yet: enter the measurements.")
        return None
    counted = brief.counted_phases if phase == "main" else (phase,)
    whole = runs[runs["phase"].isin(counted)]
    chosen = whole[whole["verdict"] == "valid"]
    if phase == "pilot":
        notes += pilot_words.left_out(response, whole)
    if chosen.empty:
        return None
    ends = None
    try:
        between = pilot_ends.known(response, chosen, word)
        fitted = model_fit.fit(brief, chosen if between is None else between.runs, response.name, phase=phase)
        if between is not None:
            fitted, ends = pilot_ends.bounded(fitted, between, word)
    except SizingError as problem:
        notes.append(str(problem))
        return None
    except (ModelError, DesignError) as problem:
        why = str(problem).removeprefix(f"{response.name}: ").removesuffix(".")
        notes.append(f"{response.name}: the {word} cannot be used: {why}.")
        return None
    notes += [
        f"{response.name}: {word} run {row['run_id']} is left out: {row['found']}."
        for row in fitted.findings.to_dict("records")
        if row["severity"] == "exclude"
    ]
    notes += pilot_words.far_apart(brief, response, chosen, word)
    layers = _layers(fitted)
    used = fitted.runs
    finest = fitted.strata.finest
    if not any(layer.stratum == finest or _single(fitted.strata, layer.stratum) for layer in layers):
        notes.append(_nothing(response, word, fitted, len(whole) > len(chosen)))
        return None
    lines += [_line(brief, response, phase, fitted, layer, ends) for layer in reversed(layers)]
    if ends is not None:
        notes.append(pilot_ends.note(response, ends, layers[-1].value, word))
    notes += _not_told(response, word, fitted, layers)
    if phase == "pilot":
        notes += pilot_words.short_of_stations(response, used, sampled[0])
    if phase == "pilot" and layers[-1].df == 1:
        notes.append(pilot_words.one_df(brief, response))
    lines += _sub_samples(brief, response, phase, used, *sampled)
    by_name = {layer.stratum: layer for layer in layers}
    run, build = by_name.get(finest), by_name.get("build")
    least = run or layers[-1]
    return Scatter(
        response,
        phase,
        MeanSquare(least.value, least.df),
        None if build is None else MeanSquare(build.value, build.df),
        len(used) / used["build_id"].nunique(),
        None,
        (),
        pd.DataFrame(),
        run is not None,
        tuple(layer for layer in layers if layer.stratum != finest),
        layers,
        finest,
        ends,
    )


def _layers(fitted: Fit) -> tuple[Layer, ...]:
    """The mean squares that the runs can tell, the coarsest first."""
    made = []
    for unit in fitted.strata.units:
        found = _by_likelihood(fitted, unit) if fitted.mixed is not None and unit != fitted.strata.finest else None
        if found is None:
            square, df = fitted.mean_squares.get(unit, (None, 0))
            found = None if not square or df < 1 else (float(square), float(df))
        if found is not None:
            made.append(Layer(unit, *found, fitted.strata.expected(unit)))
    return tuple(made)


def _by_likelihood(fitted: Fit, unit: str) -> tuple[float, float] | None:
    """What the mean square of a unit would be at the average number of runs in it, and its df."""
    if fitted.mixed is None:
        return None
    names, variances = list(fitted.strata.units), fitted.mixed.fit.variances
    expected = fitted.strata.expected(unit)
    weights = np.array([expected.get(name, 0.0) for name in names])
    value = float(weights @ variances)
    doubt = fitted.mixed.adjusted.doubt * variances[-1] ** 2
    spread = float(weights @ doubt @ weights)
    return (value, 2.0 * value**2 / spread) if value > 0.0 and spread > 0.0 else None


def _single(laid: Strata, unit: str) -> bool:
    """True when a unit of this kind holds one run, so that its mean square is all a plan of such units needs."""
    return laid.expected(unit)[unit] == 1.0


def _line(
    brief: Brief, response: Response, phase: str, fitted: Fit, layer: Layer, ends: Ends | None
) -> dict[str, object]:
    """One stratum as a row of the table."""
    square = MeanSquare(layer.value, layer.df)
    finest = fitted.strata.finest
    if layer.stratum == finest:
        note = f"{counted(len(fitted.runs), finest)}"
        if ends is not None:
            note += f", {len(ends.runs)} of them known between two ends: the most that the SD can be"
    else:
        name = _UNITS_OF[layer.stratum]
        many = units.PLURALS[finest]
        note = f"SD of a {name} mean times the root of its {many}, {finest} scatter included"
        if fitted.mixed is not None:
            note += f"; by restricted maximum likelihood, at {layer.expected[layer.stratum]:.3g} {many} a {name}"
    least = None if ends is None else ends.least
    return scatter_lines.interval_line(brief, response, phase, layer.stratum, square, note, least)


def _nothing(response: Response, word: str, fitted: Fit, lost: bool) -> str:
    """Why a phase tells nothing of the scatter, and what to do."""
    count = len(fitted.runs)
    if any(df for square, df in fitted.mean_squares.values() if square == 0.0):
        return (
            f"{response.name}: the {word}'s {count} runs show no scatter at all: repeats agree to the last digit, "
            f"which no rig does. Were values copied? Measure the repeats again, with a finer gauge where it rounds."
        )
    runs = f"{count} runs leave" if count > 1 else "1 run leaves"
    how = f" {pilot_words.how_to_repeat(lost)}" if word == WORDS["pilot"] else ""
    return (
        f"{response.name}: the {word}'s {runs} no degrees of freedom for scatter; repeat at least one combination{how}."
    )


def _not_told(response: Response, word: str, fitted: Fit, layers: tuple[Layer, ...]) -> list[str]:
    """What the runs cannot tell apart, and the runs that would tell it."""
    told = {layer.stratum for layer in layers}
    notes = []
    for unit in fitted.strata.units:
        if unit in told:
            continue
        if unit == fitted.strata.finest:
            notes.append(
                f"{response.name}: the {word} cannot tell runs from {units.PLURALS[layers[-1].stratum]} (it has no two "
                f"runs of one combination in a {_UNITS_OF[layers[-1].stratum]}); only plans with as many runs in each "
                f"can be sized."
            )
            continue
        many, one = units.PLURALS[unit], units.NAMES[unit]
        notes.append(
            f"{response.name}: the {word} cannot tell the scatter between {many} (it needs two {many} of the "
            f"same level); what is changed with the {one} cannot be sized."
        )
    return notes


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
        scatter_lines.line(brief, response, phase, row["source"], *(row[name] for name in numbers), row["note"])
        for row in split.to_dict("records")
        if row["source"] in ("station", "reading")
    ]
