"""Where on the part the wear is: station positions, whether treatments act alike at all of them, the worst (rank 4)."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.design import units
from toolkit.design.terms import name_of
from toolkit.errors import ModelError
from toolkit.model._layers import Layer
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts, order_statistics

MEANS = ("station_id", "estimate", "measured_in", "ratio_to_all", "conf_low", "conf_high", "worst_in_runs")
TESTS = ("term", "df", "error_df", "epsilon", "f", "p_value", "sentence")


@dataclass(frozen=True, eq=False)
class Positions:
    """Station positions over the analysed runs.

    Attributes
    ----------
    means : DataFrame
        station_id, estimate (median on the log scale, else mean) in measured_in, ratio_to_all (difference from all
        on the linear scale) with its interval, worst_in_runs (in how many runs it wore most).
    tests : DataFrame
        term (position, position × a term), df and error_df (corrected by epsilon), epsilon, f, p_value, sentence.
    worst : str
        Which position wears most, and what the maximum of k stations means.
    notes : tuple of str
    """

    response: str
    means: pd.DataFrame
    tests: pd.DataFrame
    worst: str
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """means[], tests[], worst, notes[]."""
        return stamp.plain(
            {
                "response": self.response,
                "means": stamp.records(self.means),
                "tests": stamp.records(self.tests),
                "worst": self.worst,
                "notes": list(self.notes),
            }
        )

    def _repr_html_(self) -> str:
        """The sentences."""
        lines = [self.worst, *self.tests["sentence"], *self.notes]
        return "<ul>" + "".join(f"<li>{html.escape(str(line))}</li>" for line in lines) + "</ul>"

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join([self.worst, *map(str, self.tests["sentence"]), *self.notes])


def positions(fit: Fit, stations: pd.DataFrame) -> Positions:
    """The wear at each station position, and whether the treatments act alike at all of them.

    Parameters
    ----------
    fit : Fit
        Of a response that is measured at stations.
    stations : DataFrame
        run_id, station_id and the response's column: signed wear of each station (``Records.stations``).

    Returns
    -------
    Positions
        Positions that lack in a run are left out of all runs, which the notes tell.

    Raises
    ------
    ModelError
        When the response has no stations, fewer than two positions are common to all runs, wear at or below nought
        meets the log scale, or units of several runs are not balanced.

    Notes
    -----
    Stations are sub-samples: they say where, never how sure the comparison of treatments is. Each run's values are
    turned into k - 1 differences between positions, which are analysed as the run values are, each term in its own
    stratum; F by their mean squares, with the degrees of freedom cut by epsilon because neighbouring stations are not
    independent (G. E. P. Box, Annals of Mathematical Statistics 25 (1954) 484-498; S. W. Greenhouse and S. Geisser,
    Psychometrika 24 (1959) 95-112). Intervals of single positions take their own scatter between the coarsest units.

    Checked against: statsmodels AnovaRM and least squares with runs as columns, epsilon by its other formula, size by
    simulation with neighbours correlated, tests/unit/model/test_positions.py.
    """
    name, log = fit.response.name, fit.response.scale == "log"
    if fit.response.stations is None:
        raise ModelError(f"{name}: it is not measured at stations, so there are no positions to compare.")
    if fit.strata.plots and not fit.strata.balanced:
        raise ModelError(
            f"{name}: {fit.strata.unbalanced}, and positions are compared by exact mean squares only: not told."
        )
    runs = [str(run) for run in fit.strata.runs["run_id"]]
    wide, left_out = _wide(stations, name, runs)
    if wide.shape[1] < 2:
        raise ModelError(
            f"{name}: fewer than two station positions are measured in every analysed run. Enter what is missing, or "
            f"name positions alike on all parts."
        )
    if log and (wide.to_numpy() <= 0.0).any():
        run, place = np.argwhere(wide.to_numpy() <= 0.0)[0]
        raise ModelError(
            f"{name}: station {wide.columns[place]} of run {wide.index[run]} has wear at or below nought, which the "
            f"log scale cannot take. Look at it; or analyse positions on the linear scale."
        )
    values = np.log(wide.to_numpy()) if log else wide.to_numpy()
    k = values.shape[1]
    helmert = np.linalg.svd(np.ones((1, k)))[2][1:]
    strata = [_Stratum.of(fit, layer, values @ helmert.T) for layer in fit.layers]
    notes = [f"left out because some run lacks it: {', '.join(left_out)}"] if left_out else []
    tests = [line for item in strata if item.layer.error_df >= 1 for line in _tests(fit, item)]
    notes += [
        f"positions cannot be tested: no degrees of freedom are left between {units.PLURALS[item.layer.stratum]}"
        for item in strata
        if item.layer.error_df < 1
    ]
    means = _means(fit, wide, values)
    last = strata[-1]
    df = last.layer.error_df
    variance = float((last.residual**2).sum()) / (df * (k - 1)) if df >= 1 else None
    table = pd.DataFrame(tests, columns=list(TESTS), dtype=object)
    return Positions(name, means, table, _worst(fit, means, len(runs), variance), tuple(notes))


def _wide(stations: pd.DataFrame, name: str, runs: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Runs by positions, and the positions that some run lacks."""
    table = stations[stations["run_id"].astype(str).isin(runs)]
    wide = table.pivot_table(index="run_id", columns="station_id", values=name, aggfunc="mean", sort=True)
    wide = wide.reindex(runs)
    lacking = [str(column) for column in wide.columns if wide[column].isna().any()]
    return wide.drop(columns=lacking), lacking


@dataclass(frozen=True, eq=False)
class _Stratum:
    """The differences between stations as one stratum sees them, shape (units, stations - 1), and what it leaves."""

    layer: Layer
    profile: np.ndarray
    residual: np.ndarray

    @classmethod
    def of(cls, fit: Fit, layer: Layer, profile: np.ndarray) -> _Stratum:
        """Of differences run by run, shape (runs, stations - 1)."""
        own = fit.strata.scaled(layer.stratum, profile)
        return cls(layer, own, own - layer.full @ np.linalg.pinv(layer.full, rcond=1e-10) @ own)


def _tests(fit: Fit, stratum: _Stratum) -> list[dict[str, object]]:
    """The lines of one stratum by F with corrected degrees of freedom: each term; position where the stratum is the
    coarsest.
    """
    layer, profile, df = stratum.layer, stratum.profile, stratum.layer.error_df
    each = profile.shape[1]
    spread = stratum.residual.T @ stratum.residual / df
    total = float(np.trace(spread))
    epsilon = total**2 / (each * float((spread**2).sum())) if total > 0.0 else 1.0
    made = []
    asked: list[tuple[str, float, int]] = []
    if layer.stratum == fit.strata.units[0]:
        own, inverse = _of_mean(layer)
        mean = own @ inverse @ layer.full.T @ profile
        asked.append(("position", float(mean @ mean) / float(own @ inverse @ own), 1))
    for term in layer.terms:
        parts = [
            contrasts.projection_ss(column, layer.of(layer.adjusted_for(term, 2)), layer.columns[term])
            for column in profile.T
        ]
        asked.append((f"position × {name_of(term)}", sum(part[0] for part in parts), parts[0][1]))
    for name, sum_sq, term_df in asked:
        if term_df < 1 or total <= 0.0:
            continue
        f = sum_sq / (term_df * each) / (total / each)
        dfs = (epsilon * term_df * each, epsilon * df * each)
        p_value = float(special.fdtrc(*dfs, f))
        made.append(
            dict(
                zip(
                    TESTS,
                    (name, dfs[0], dfs[1], epsilon, f, p_value, _told(name, p_value, fit.brief.alpha)),
                    strict=True,
                )
            )
        )
    return made


def _told(name: str, p_value: float, alpha: float) -> str:
    """What a line of the tests says."""
    if name == "position":
        said = "positions wear differently" if p_value < alpha else "no difference between positions is shown"
    else:
        term = name.removeprefix("position × ")
        what = f"the interaction {term}" if "×" in term else f"what {term} does"
        said = f"{what} {'differs between' if p_value < alpha else 'shows no difference between'} positions"
    return f"{said} (p = {p_value:.2g})"


def _of_mean(layer: Layer) -> tuple[np.ndarray, np.ndarray]:
    """The mean as a row of a layer's columns, and the inverse of their products."""
    # Terms are sum coded and blocks too: the mean is that of equally weighted combinations and builds.
    own = np.zeros(layer.full.shape[1])
    own[0] = 1.0
    return own, np.linalg.pinv(layer.full.T @ layer.full, rcond=1e-10, hermitian=True)


def _means(fit: Fit, wide: pd.DataFrame, values: np.ndarray) -> pd.DataFrame:
    """Each position: its level, and how it stands to all positions with an interval from the scatter between the
    coarsest units.
    """
    log = fit.response.scale == "log"
    layer = fit.layers[0]
    df = layer.error_df
    own, inverse = _of_mean(layer)
    weights = own @ inverse @ layer.full.T
    seen = fit.strata.scaled(layer.stratum, values)
    off = seen - seen.mean(axis=1, keepdims=True)
    rest = off - layer.full @ inverse @ layer.full.T @ off
    worst = values.argmax(axis=1) if fit.response.better == "smaller" else values.argmin(axis=1)
    rows = []
    for at, place in enumerate(wide.columns):
        level, apart = float(weights @ seen[:, at]), float(weights @ off[:, at])
        low = high = None
        if df >= 1:
            error = math.sqrt(float(rest[:, at] @ rest[:, at]) / df * float(own @ inverse @ own))
            half = float(special.stdtrit(df, 1.0 - fit.brief.alpha / 2.0)) * error
            low, high = apart - half, apart + half
        shown = math.exp if log else float
        rows.append(
            (
                str(place),
                shown(level),
                fit.response.measured_in,
                shown(apart),
                None if low is None else shown(low),
                None if high is None else shown(high),
                int((worst == at).sum()),
            )
        )
    return pd.DataFrame(rows, columns=list(MEANS), dtype=object)


def _worst(fit: Fit, means: pd.DataFrame, runs: int, variance: float | None) -> str:
    """The position that wears most, in words."""
    larger = fit.response.better == "smaller"
    row = means.loc[means["estimate"].astype(float).idxmax() if larger else means["estimate"].astype(float).idxmin()]
    word = "highest" if larger else "lowest"
    return (
        f"{fit.response.name}: {row['station_id']} is the {word} on average, and the {word} of its run in "
        f"{row['worst_in_runs']} of {runs} runs. {_by_chance(fit, len(means), word, variance)}The {word} of k "
        f"stations grows with k, so it is compared only between parts with as many stations."
    )


def _by_chance(fit: Fit, count: int, word: str, variance: float | None) -> str:
    """How far off the mean the worst of alike stations lies by their scatter alone, and of twice as many."""
    if not variance:
        return ""
    off = [math.sqrt(variance) * order_statistics.expected_largest(number) for number in (count, 2 * count)]
    if word == "lowest":
        off = [-value for value in off]
    if fit.response.scale == "log":
        told = [f"{abs(100.0 * math.expm1(value)):.0f} %" for value in off]
    else:
        told = [f"{abs(value):.2g} {fit.response.measured_in}".rstrip() for value in off]
    way = "above" if word == "highest" else "below"
    return (
        f"By their scatter within a run alone the {word} of {count} alike stations lies about {told[0]} {way} their "
        f"mean, that of {2 * count} about {told[1]}. "
    )
