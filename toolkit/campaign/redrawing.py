"""Remaining runs drawn anew within the limits that the brief sets to the run order (rank 9)."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from toolkit.brief.model import Brief
from toolkit.campaign.in_force import InForce
from toolkit.design import strata
from toolkit.design.changed import Change
from toolkit.design.followed import ROOM, followed
from toolkit.design.remaining import Redrawn

# Draws of the runs that are left before the nearest one is taken.
MOST_TRIED = 200


def redrawn(
    state: InForce, brief: Brief, change: Change, given_up: Collection[str], seed: Sequence[int]
) -> tuple[Redrawn, list[int], tuple[str, ...]]:
    """The run list with remaining runs drawn anew, the seed that drew it, and what must be known of it.

    Parameters
    ----------
    state : InForce
    brief : Brief
        As it is sealed from now on.
    change : Change
    given_up : collection of str
        Lost runs, which count no more.
    seed : sequence of int

    Notes
    -----
    Runs that were made keep their places. Where the brief has limits, draws are thrown away until one keeps them, so
    that every order of the others within them has the same chance.
    """
    fixed = state.standing.fixed
    made = change.redrawn(fixed=fixed, seed=seed)
    if brief.order is None or state.phase == "pilot" or not made.drawn_anew:
        return made, list(seed), ()
    nearest: tuple[float, Redrawn, list[int]] | None = None
    for turn in range(MOST_TRIED):
        own = [*seed, turn] if turn else list(seed)
        made = change.redrawn(fixed=fixed, seed=own) if turn else made
        beyond = _beyond(state, brief, made, given_up)
        if beyond <= ROOM:
            return made, own, ()
        if nearest is None or beyond < nearest[0]:
            nearest = (beyond, made, own)
    beyond, made, own = nearest if nearest is not None else (0.0, made, list(seed))
    note = (
        f"none of {MOST_TRIED} orders drawn for the remaining runs keeps the limits of [order], since the runs made "
        f"already stay where they are: the nearest of them is taken, {beyond:.2f} beyond"
    )
    return made, own, (note,)


def _beyond(state: InForce, brief: Brief, made: Redrawn, given_up: Collection[str]) -> float:
    """By how much the runs that would count exceed the limits; 0 or less: they keep them."""
    table = made.table
    counting = state.counting(table[~table["run_id"].isin(given_up)])
    laid = strata.of_runs(brief, counting)
    places = counting["planned_order"].to_numpy(dtype=float)
    found = followed(laid, brief.order, places)
    sums = np.abs(found.correlations(np.arange(len(counting))[None, :])[0])
    return float((sums - found.limits[:, None]).max())
