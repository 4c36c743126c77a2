"""Draws the run values of many campaigns of one plan without effects, on the analysis scale (rank 5).

Effects are added by whoever counts: exact and mixed analyses move with them and change in nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.brief.model import Response
from toolkit.design import units
from toolkit.design.strata import Strata
from toolkit.design.units import PLURALS
from toolkit.errors import SizingError
from toolkit.numeric._bases import Floats
from toolkit.size import _pilot_words as pilot_words
from toolkit.size._errors import turned, unknown
from toolkit.size.conditions import Conditions
from toolkit.size.scatter import Scatter

# Runs drawn to know what the stations of a run add to its scatter.
_STATION_RUNS = 20_000


@dataclass(frozen=True, eq=False)
class Drawn:
    """Campaigns without effects.

    Attributes
    ----------
    values : ndarray, shape (campaigns, runs)
        Run values on the analysis scale.
    lost : ndarray of bool, shape (campaigns, runs)
    covariate : ndarray or None, shape (campaigns, runs)
        A covariate that is measured, of mean 0.
    """

    values: Floats
    lost: np.ndarray
    covariate: Floats | None


def multipliers(scatter: Scatter, laid: Strata) -> Floats:
    """What makes the variances of a plan's units of the mean squares known, shape (units, mean squares).

    Raises
    ------
    SizingError
        When the mean squares known do not tell the variance of a unit.
    """
    found = [turned(scatter.layers, {unit: 1.0}) for unit in laid.units]
    if any(row is None for row in found):
        told = unknown(scatter.layers, laid.expected(laid.units[0]))
        way = pilot_words.two_alike(PLURALS[laid.units[0]], scatter.basis in ("pilot", "blended"), runs=False)
        raise SizingError(f"{scatter.response.name}: {told}, so no campaign can be simulated. {way}")
    return np.array(found, dtype=float)


def variances(scatter: Scatter, made_of: Floats, campaigns: int, rng: np.random.Generator, *, doubt: bool) -> Floats:
    """Variance of each unit in each campaign, shape (campaigns, units): as estimated, or drawn from the pilot's doubt.

    Each mean square is scaled inverse chi-square about the pilot's, an inner one the floor of the outer; a declared
    range of SD is drawn from evenly.
    """
    squares = np.array([layer.value for layer in scatter.layers]) * np.ones((campaigns, 1))
    if doubt and scatter.declared is not None:
        low, high = scatter.declared
        squares = squares * (rng.uniform(low, high, (campaigns, 1)) / scatter.sd) ** 2
    elif doubt:
        for at, layer in enumerate(scatter.layers):
            if np.isfinite(layer.df):
                squares[:, at] *= layer.df / rng.chisquare(layer.df, campaigns)
    squares = np.maximum.accumulate(squares[:, ::-1], axis=1)[:, ::-1]
    return np.maximum(squares @ made_of.T, 0.0)


def draw(laid: Strata, response: Response, known: Floats, asked: Conditions, rng: np.random.Generator) -> Drawn:
    """Campaigns of a plan whose units have these variances, shape (campaigns, units), under these conditions."""
    campaigns, runs = len(known), len(laid.runs)
    values = np.zeros((campaigns, runs))
    for at, unit in enumerate(laid.units[:-1]):
        codes = laid.members[unit]
        values += (np.sqrt(known[:, at : at + 1]) * rng.normal(size=(campaigns, int(codes.max()) + 1)))[:, codes]
    between = known[:, -1:]
    covariate = rng.normal(size=(campaigns, runs)) if asked.covariate_share else None
    own = between * (1.0 - asked.covariate_share)
    if asked.station_sd is not None:
        part, share = _of_stations(response, asked, campaigns * runs, rng, len(laid.runs) // laid.run_count)
        values += part.reshape(campaigns, runs)
        own = np.maximum(own - share, 0.0)
    values += np.sqrt(own) * rng.normal(size=(campaigns, runs))
    if covariate is not None:
        values += np.sqrt(asked.covariate_share * between) * covariate
    if asked.steady or asked.wander or asked.jump:
        values += _drift(laid, asked, campaigns, rng)
    # A run is lost with all its positions.
    lost = (rng.random((campaigns, laid.run_count)) < asked.lost_share)[:, laid.members[units.RUN]]
    return Drawn(values, lost, covariate if asked.covariate_known else None)


def places(laid: Strata, campaigns: int, rng: np.random.Generator) -> np.ndarray:
    """Place of each run in a random order, drawn anew in each campaign, shape (campaigns, runs).

    Builds follow each other at random; what is kept over several runs stays together within its build.
    """
    runs = len(laid.runs)
    keys = [rng.random((campaigns, runs))]
    chain = [laid.members[unit] for unit in laid.units[:-1]]
    if laid.blocked:
        labels = laid.runs["build_id"].astype(str)
        names = list(dict.fromkeys(labels))
        chain.insert(0, np.array([names.index(name) for name in labels]))
    for codes in reversed(chain):
        keys.append(rng.random((campaigns, int(codes.max()) + 1))[:, codes])
    order = np.lexsort(np.array(keys), axis=-1)
    made = np.empty_like(order)
    np.put_along_axis(made, order, np.broadcast_to(np.arange(runs), order.shape).copy(), axis=1)
    return made


def _drift(laid: Strata, asked: Conditions, campaigns: int, rng: np.random.Generator) -> Floats:
    """What drift adds to each run, shape (campaigns, runs)."""
    runs, each = laid.run_count, len(laid.runs) // laid.run_count
    along = asked.steady * np.arange(runs) / max(runs - 1, 1) * np.ones((campaigns, 1))
    if asked.wander:
        along = along + asked.wander * np.cumsum(rng.normal(size=(campaigns, runs)), axis=1)
    if asked.jump:
        at = rng.integers(1, max(runs, 2), campaigns)
        along = along + asked.jump * (np.arange(runs) >= at[:, None])
    return np.take_along_axis(along, places(laid, campaigns, rng) // each, axis=1)


def _of_stations(
    response: Response, asked: Conditions, runs: int, rng: np.random.Generator, shared: int = 1
) -> tuple[Floats, float]:
    """What the stations add to values, shape (runs,), of mean 0, and its variance; ``shared`` values share them."""
    if response.stations is None:
        raise SizingError(f"{response.name}: it has no stations, so none can be simulated. Leave station_sd out.")
    sample = _station_part(response, asked, _STATION_RUNS, np.random.default_rng(0), shared)
    return _station_part(response, asked, runs, rng, shared) - sample.mean(), float(sample.var())


def _station_part(response: Response, asked: Conditions, runs: int, rng: np.random.Generator, shared: int) -> Floats:
    """What the way a run value is made of its stations makes of their scatter, shape (runs,)."""
    stations = response.stations
    count, states = stations.count // shared, max(1, len(stations.states))
    gauge = (asked.reading_sd or 0.0) * np.sqrt(states / stations.readings)
    spread = np.hypot(asked.station_sd or 0.0, gauge)
    values = spread * rng.normal(size=(runs, count)) + asked.station_trend * np.linspace(-0.5, 0.5, count)
    if response.per_run == "max":
        return values.max(axis=1)
    if response.scale == "log" and response.per_run in ("mean", "total"):
        return np.log(np.exp(values).mean(axis=1))
    return values.sum(axis=1) if response.per_run == "total" else values.mean(axis=1)
