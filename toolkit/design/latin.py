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
        build_id; phase, actual_order, planned_order as far as they are known. Void runs must be among them: a run that
        was broken off had its place. Places that stand there already are kept.

    Returns
    -------
    DataFrame
        As made where the order as made is known of every run that was made, else as planned, else as listed. Runs of a
        pilot have none (nought).

    Notes
    -----
    Checked against: tests/unit/design/test_latin.py.
    """
    if not used(brief) or PLACE in runs or runs.empty:
        return runs
    builds = runs["build_id"].astype(str)
    pilot = runs["phase"] == "pilot" if "phase" in runs else builds.str.fullmatch(_PILOT)
    made = _as_made(runs)
    if made is not None:
        place = made.groupby(builds).rank(method="first")
        # Runs that are still to be made come where they were planned.
        place = place.fillna(_as_planned(brief, runs))
    else:
        place = _as_planned(brief, runs)
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


def _as_made(runs: pd.DataFrame) -> pd.Series | None:
    """The order as made; None where it is not known of every run with a verdict."""
    if "actual_order" not in runs or runs["actual_order"].isna().all():
        return None
    order = runs["actual_order"].astype(float)
    if "verdict" in runs and order[runs["verdict"] != "pending"].isna().any():
        return None
    return order


def _as_planned(brief: Brief, runs: pd.DataFrame) -> pd.Series:
    """Places as planned: builds of as many runs as there are combinations, one after the other."""
    if "planned_order" in runs and runs["planned_order"].notna().all():
        return (runs["planned_order"].astype(int) - 1) % len(brief.combinations) + 1
    return runs.groupby(runs["build_id"].astype(str)).cumcount() + 1
