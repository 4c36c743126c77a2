"""Draws INVENTED wear from a scenario, thousands of campaigns at once, as arrays (rank 10).

On the log scale, station j of run i in build b, o-th run of its build and k-th of the campaign:

    ln w_ij = centre + B_b + drift_o o + drift_k k + sum slope (held_i - mean) + R_i + S_ij + shift_j

with B, R, S normal. What the gauge shows is exp(ln w_ij) times the share of wear reached after the hours
run, plus normal gauge error. Wear runs in, then goes on steadily: h(t) = 0.045 (1 - exp(-t/6)) + 0.0007 t,
and the share after t hours is h(t)/h(full hours). On the linear scale the same sum is in the response's unit,
no share is taken and held variables have no effect.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.demo.scenarios import HeldTruth, Truth
from toolkit.design.orders import Order

KEYS = ("run_id", "phase", "build_id", "planned_order")


@dataclass(frozen=True, eq=False)
class Layout:
    """Runs in their order, as the generator needs them.

    Attributes
    ----------
    runs : DataFrame
        run_id, phase, build_id, planned_order and one column per factor, in the order run.
    build : ndarray of int, shape (runs,)
        Number of the build.
    in_build : ndarray of int, shape (runs,)
        0 for the first run of a build.
    in_campaign : ndarray of int, shape (runs,)
        0 for the first run of the main phase; pilot runs are negative.
    """

    runs: pd.DataFrame
    build: np.ndarray
    in_build: np.ndarray
    in_campaign: np.ndarray

    @property
    def factors(self) -> tuple[str, ...]:
        """The names of the factors."""
        return tuple(name for name in self.runs.columns if name not in KEYS)

    def centres(self, truth: Truth) -> np.ndarray:
        """The value without scatter of each run on the analysis scale, shape (runs,)."""
        return np.array([truth.centre(row) for row in self.runs[list(self.factors)].to_dict("records")])


@dataclass(frozen=True, eq=False)
class Drawn:
    """Simulated campaigns.

    Attributes
    ----------
    true : ndarray, shape (campaigns, runs, stations)
        Wear without gauge error.
    measured : ndarray, shape (campaigns, runs, stations)
        With gauge error.
    held : dict of ndarray, shape (campaigns, runs)
        Mean of each held variable in each run.
    builds : ndarray, shape (campaigns, builds)
        What each build adds.
    runs : ndarray, shape (campaigns, runs)
        What each run adds by chance.
    """

    true: np.ndarray
    measured: np.ndarray
    held: dict[str, np.ndarray]
    builds: np.ndarray
    runs: np.ndarray

    @property
    def run_values(self) -> np.ndarray:
        """Arithmetic mean over the stations, shape (campaigns, runs)."""
        return self.measured.mean(axis=2)


def layout_of(brief: Brief, orders: Sequence[Order]) -> Layout:
    """The runs of the phases given, one after the other, as they will be run."""
    columns = [*KEYS, *brief.factor_names]
    runs = pd.concat([order.table[columns] for order in orders], ignore_index=True)
    build = pd.factorize(runs["build_id"])[0]
    in_build = runs.groupby("build_id", sort=False).cumcount().to_numpy()
    return Layout(runs, build, in_build, np.arange(len(runs)) - int((runs["phase"] == "pilot").sum()))


def share_worn(hours: np.ndarray | float, full: float) -> np.ndarray:
    """The share of the wear of a full run that is reached after ``hours``; 1 at ``full`` hours."""

    def height(t: np.ndarray | float) -> np.ndarray:
        return 0.045 * (1.0 - np.exp(-np.asarray(t, dtype=float) / 6.0)) + 0.0007 * np.asarray(t, dtype=float)

    return height(hours) / height(full)


def simulate(
    truth: Truth,
    layout: Layout,
    campaigns: int,
    rng: np.random.Generator,
    *,
    held: Sequence[HeldTruth] = (),
    shift: Mapping[str, np.ndarray] | None = None,
    centres: np.ndarray | None = None,
    worn: np.ndarray | float = 1.0,
    shuffle: bool = False,
    positions: bool = True,
    readings: int = 1,
) -> Drawn:
    """Many campaigns at once, as arrays.

    Parameters
    ----------
    truth : Truth
        Of one response.
    layout : Layout
    campaigns : int
        How many, at least 1.
    rng : numpy Generator
    held : sequence of HeldTruth
        Held variables that scatter; empty: all stay at their mean. Each is cut at three SDs from its mean:
        what drifts further is corrected at the bench.
    shift : mapping of name to ndarray, shape (runs,), optional
        Added to a held variable after that cut.
    centres : ndarray, shape (runs,), optional
        In place of the scenario's own values without scatter, on the analysis scale: for campaigns without
        effects.
    worn : ndarray or float
        The share of full wear each run reached.
    shuffle : bool
        Draw the order within each build anew in every campaign.
    positions : bool
        False: the stations are alike.
    readings : int
        Readings averaged at each station in each state.

    Returns
    -------
    Drawn
    """
    runs = len(layout.runs)
    stations = len(truth.station_shift)
    centre = layout.centres(truth) if centres is None else centres
    builds = rng.normal(0.0, truth.build_sd, (campaigns, int(layout.build.max()) + 1))
    chance = rng.normal(0.0, truth.run_sd, (campaigns, runs))
    spread = rng.normal(0.0, truth.station_sd, (campaigns, runs, stations))
    at, number = _orders(layout, campaigns, rng if shuffle else None)
    level = (
        centre + builds[:, layout.build] + truth.by_order_in_build * at + truth.by_order_in_campaign * number + chance
    )
    drawn = {}
    for item in held:
        off = np.clip(rng.normal(0.0, item.sd, (campaigns, runs)), -3.0 * item.sd, 3.0 * item.sd)
        off = off + (shift or {}).get(item.name, 0.0)
        drawn[item.name] = item.mean + off
        if truth.scale == "log":
            level = level + item.slope * off
    value = level[:, :, None] + spread + (np.array(truth.station_shift) if positions else 0.0)
    if truth.scale == "log":
        value = np.exp(value) * np.broadcast_to(worn, (runs,))[:, None]
    states = 1 if truth.unworn is None else 2
    gauge = rng.normal(0.0, truth.reading_sd * np.sqrt(states / readings), value.shape)
    return Drawn(value, value + gauge, drawn, builds, chance)


def _orders(layout: Layout, campaigns: int, rng: np.random.Generator | None) -> tuple[np.ndarray, np.ndarray]:
    """Place within build and campaign of each run, drawn anew within builds when a generator is given."""
    if rng is None:
        return layout.in_build, layout.in_campaign
    at = np.tile(layout.in_build, (campaigns, 1))
    for build in range(int(layout.build.max()) + 1):
        mine = np.flatnonzero(layout.build == build)
        at[:, mine] = rng.permuted(at[:, mine], axis=1)
    return at, layout.in_campaign - layout.in_build + at
