"""Latin squares over builds: every combination once in each build and equally often at each place in it (rank 3).

Builds and places are both taken out before any level is compared: what a build is worn by its first, second, third run
touches no comparison.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.brief.designs import LATIN
from toolkit.brief.model import Brief
from toolkit.numeric import latin_squares

# No factor can be called so.
PLACE = "place in build"
_PILOT = r"PB\d+"


def used(brief: Brief) -> bool:
    """True where the brief's design is a Latin square."""
    return brief.plan.design == LATIN


def builds_in_set(brief: Brief) -> int:
    """Builds of one square; of two where an odd number of levels is to be followed equally often.

    Notes
    -----
    Checked against: tests/unit/design/test_latin.py.
    """
    count = len(brief.combinations)
    return count * (1 + count % 2) if brief.plan.balance_carry_over else count


def rows(brief: Brief, draw: np.random.Generator) -> list[list[int]]:
    """The combination at each place of each build of a set, by its number.

    Notes
    -----
    Checked against: tests/unit/design/test_latin.py.
    """
    make = latin_squares.followed_equally if brief.plan.balance_carry_over else latin_squares.square
    return make(len(brief.combinations), draw).tolist()


def with_places(brief: Brief, runs: pd.DataFrame) -> pd.DataFrame:
    """The runs with the place of each in its build, from 1 up, where the design is a Latin square.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        build_id; phase, planned_order, actual_order as far as they are known. Places that stand there already are kept.

    Returns
    -------
    DataFrame
        The places as planned (as listed where there is no planned order). Runs of a build that were made in another
        order share out its places in the order as made. Runs of a pilot have none (nought).

    Notes
    -----
    Checked against: tests/unit/design/test_latin.py.
    """
    if not used(brief) or PLACE in runs or runs.empty:
        return runs
    builds = runs["build_id"].astype(str)
    pilot = runs["phase"] == "pilot" if "phase" in runs else builds.str.fullmatch(_PILOT)
    place = _as_planned(brief, runs)
    if "actual_order" in runs:
        order = runs["actual_order"].astype(float)
        for _, part in order[order.notna()].groupby(builds):
            place[part.sort_values(kind="stable").index] = sorted(place[part.index])
    return runs.assign(**{PLACE: place.where(~pilot, 0).astype(int)})


def place_columns(brief: Brief, runs: pd.DataFrame) -> np.ndarray:
    """Sum-coded columns of the places, shape (runs, places - 1); none for other designs.

    Notes
    -----
    Checked against: tests/unit/design/test_latin.py.
    """
    if not used(brief):
        return np.zeros((len(runs), 0))
    places = with_places(brief, runs)[PLACE].to_numpy(dtype=int)
    held = sorted({*places.tolist()} - {0})
    if len(held) < 2:
        return np.zeros((len(runs), 0))
    coded = np.vstack([np.eye(len(held) - 1), -np.ones(len(held) - 1)])
    coding = {0: np.zeros(len(held) - 1), **dict(zip(held, coded, strict=True))}
    return np.array([coding[place] for place in places.tolist()])


def _as_planned(brief: Brief, runs: pd.DataFrame) -> pd.Series:
    """Places as planned: builds of as many runs as there are combinations, one after the other."""
    if "planned_order" in runs and runs["planned_order"].notna().all():
        return (runs["planned_order"].astype(int) - 1) % len(brief.combinations) + 1
    return runs.groupby(runs["build_id"].astype(str)).cumcount() + 1
