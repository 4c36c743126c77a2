"""The scatter that the valid runs of a phase show, in each stratum they can tell (rank 5)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.design.strata import Strata
from toolkit.errors import DesignError, ModelError
from toolkit.model import components
from toolkit.model import fit as model_fit
from toolkit.model.fit import Fit
from toolkit.size import _scatter_lines as scatter_lines
from toolkit.size.layers import Layer, MeanSquare, Scatter
from toolkit.wording import counted, joined

WORDS = {"pilot": "pilot", "main": "main phase"}
# Our own limit: no wear of runs made alike differs so much by chance, and units of a quantity lie 1,000 apart.
_FAR = 100.0
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
    information.

    Checked against: hand algebra and drawn pilots, balanced and not, tests/unit/size/test_scatter.py.
    """
    word = WORDS[phase]
    if runs is None or response.name not in runs:
        return None
    counted = brief.counted_phases if phase == "main" else (phase,)
    chosen = runs[runs["phase"].isin(counted) & (runs["verdict"] == "valid")]
    if chosen.empty:
        return None
    if no_numbers := _no_numbers(response, chosen, word):
        notes.append(no_numbers)
        return None
    try:
        fitted = model_fit.fit(brief, chosen, response.name, phase=phase)
    except (ModelError, DesignError) as problem:
        why = str(problem).removeprefix(f"{response.name}: ").removesuffix(".")
        notes.append(f"{response.name}: the {word} cannot be used: {why}.")
        return None
    notes += [
        f"{response.name}: {word} run {row['run_id']} is left out: {row['found']}."
        for row in fitted.findings.to_dict("records")
        if row["severity"] == "exclude"
    ]
    notes += _far_apart(brief, response, chosen, word)
    layers = _layers(fitted)
    used = fitted.runs
    finest = fitted.strata.finest
    if not any(layer.stratum == finest or _single(fitted.strata, layer.stratum) for layer in layers):
        notes.append(_nothing(response, word, fitted))
        return None
    lines += [_line(brief, response, phase, fitted, layer) for layer in reversed(layers)]
    notes += _not_told(response, word, fitted, layers)
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
    )


def _no_numbers(response: Response, runs: pd.DataFrame, word: str) -> str:
    """Why runs tell no scatter where some are only known to lie below a limit or between two ends; empty else.

    To leave those runs out is not on the safe side: they are the lowest, and the scatter of the others is too small.
    """
    name = f"{response.name}_below_limit"
    if name not in runs:
        return ""
    below = runs[runs[name].fillna(False).astype(bool)]
    if below.empty:
        return ""
    least = f"{response.name}_at_least"
    between = least in below and below[least].notna().all()
    what = "known to lie between two ends (a sample below the laboratory's limit)" if between else "below the limit"
    ids = joined([str(run) for run in below["run_id"]])
    return (
        f"{response.name}: the {word} tells no scatter, as {ids} {'is' if len(below) == 1 else 'are'} only {what}; a "
        f"scatter is made of numbers, and without those runs it would come out too small. The answers of the main "
        f"phase do count such runs. Ask the laboratory for the figures behind the '<'."
    )


def _far_apart(brief: Brief, response: Response, runs: pd.DataFrame, word: str) -> list[str]:
    """Runs made alike that lie so far apart that one was probably read in another unit (mm for um, g for mg)."""
    if response.scale != "log":
        return []
    made = []
    values = pd.to_numeric(runs[response.name], errors="coerce")
    for _, alike in values[values > 0].groupby([runs[item.name] for item in brief.factors]):
        low, high = alike.idxmin(), alike.idxmax()
        ratio = alike[high] / alike[low]
        if ratio >= _FAR:
            made.append(
                f"{response.name}: {word} runs {runs['run_id'][low]} ({alike[low]:g}) and {runs['run_id'][high]} "
                f"({alike[high]:g}) were made alike and lie a factor of {ratio:,.0f} apart: look whether one of "
                f"them was read in another unit, and put its cell right with `wearbook note`."
            )
    return made


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


def _line(brief: Brief, response: Response, phase: str, fitted: Fit, layer: Layer) -> dict[str, object]:
    """One stratum as a row of the table."""
    square = MeanSquare(layer.value, layer.df)
    finest = fitted.strata.finest
    if layer.stratum == finest:
        note = f"{counted(len(fitted.runs), finest)}"
    else:
        name = _UNITS_OF[layer.stratum]
        many = units.PLURALS[finest]
        note = f"SD of a {name} mean times the root of its {many}, {finest} scatter included"
        if fitted.mixed is not None:
            note += f"; by restricted maximum likelihood, at {layer.expected[layer.stratum]:.3g} {many} a {name}"
    return scatter_lines.interval_line(brief, response, phase, layer.stratum, square, note)


def _nothing(response: Response, word: str, fitted: Fit) -> str:
    """Why a phase tells nothing of the scatter, and what to do."""
    count = len(fitted.runs)
    if any(df for square, df in fitted.mean_squares.values() if square == 0.0):
        return (
            f"{response.name}: the {word}'s {count} runs show no scatter at all: repeats agree to the last digit, "
            f"which no rig does. Were values copied? Measure the repeats again, or declare a range with "
            f"declared_cv_pct."
        )
    runs = f"{count} runs leave" if count > 1 else "1 run leaves"
    return (
        f"{response.name}: the {word}'s {runs} no degrees of freedom for scatter; repeat at least one combination."
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
