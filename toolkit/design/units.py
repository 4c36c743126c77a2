"""The units that levels are assigned to, from what must be undone to change them; which run belongs to which.

Rank 3. Units lie within each other: a build holds parts, a part that is kept over several runs holds fills, a fill
that is kept holds runs, and a run holds positions where several parts run side by side. The one place that says so.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence

import numpy as np
import pandas as pd

from toolkit.brief import by_position, positions
from toolkit.brief.model import CENTRE, Brief, Factor
from toolkit.errors import DesignError, Fault, raise_all

RUN = "run"
POSITION = positions.POSITION
# The coarser ones first; each with the column of a run table that tells its units apart.
COLUMNS = {"build": "build_id", "part": "part_set_id", "fill": "fill_id"}
NAMES = {"build": "build", "part": "set of parts", "fill": "fill", "run": "run", "position": "position"}
_SHOWN = 4
PLURALS = {"build": "builds", "part": "sets of parts", "fill": "fills", "run": "runs", "position": "positions"}


def unit_of(brief: Brief, factor: Factor) -> str:
    """The unit a factor is assigned to: what must be undone to change it, or the run where that is new in every run.

    Returns
    -------
    str
        build, part, fill, run or position.
    """
    return RUN if factor.undo in brief.new_each_run or factor.undo == "setting" else factor.undo


def kept(brief: Brief) -> tuple[str, ...]:
    """Of part and fill, those that are kept over several runs and carry a factor: the coarser first."""
    held = {unit_of(brief, factor) for factor in brief.factors}
    return tuple(unit for unit in ("part", "fill") if unit in held)


def of_brief(brief: Brief) -> tuple[str, ...]:
    """The units whose scatter can be an error, the coarsest first; last the run, or the position in a run.

    Builds are among them where a factor is changed with the build; where they are blocks they are not.
    """
    held = {unit_of(brief, factor) for factor in brief.factors}
    finer = (POSITION,) if by_position.divided(brief) else ()
    return (*(("build",) if "build" in held else ()), *kept(brief), RUN, *finer)


def id_columns(brief: Brief) -> tuple[str, ...]:
    """The columns of a run table that say which unit a run belongs to: build_id, then those of kept parts and fills."""
    return ("build_id", *(COLUMNS[unit] for unit in kept(brief)))


def codes(brief: Brief, runs: pd.DataFrame, unit: str) -> np.ndarray:
    """The number of the unit that each run belongs to, from 0 in order of their first run.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        With the columns of ``id_columns``. A label counts within the coarser unit: set 1 of build B2 is another set
        than set 1 of build B1.
    unit : str
        build, part, fill, run or position.

    Returns
    -------
    ndarray of int, shape (runs,)
    """
    if unit == RUN and POSITION in runs.columns:
        return pd.factorize(runs["run"])[0]
    if unit in (RUN, POSITION):
        return np.arange(len(runs))
    index: dict[tuple[str, ...], int] = {}
    found = zip(*(runs[name].astype(str) for name in _columns(brief, unit)), strict=True)
    return np.array([index.setdefault(label, len(index)) for label in found], dtype=np.intp)


def numbered(brief: Brief, runs: pd.DataFrame, turns: Sequence[int] | None = None) -> pd.DataFrame:
    """The runs with the columns of kept parts and fills filled in: within a build, a unit for each set of its levels.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        build_id, replicate and one column per factor. Each replicate has units of its own.
    turns : sequence of int, optional
        The replicate whose units each run goes into, where that is another than its own: centre points in which nothing
        kept is at its centre lie in the units of the corners, the others in units of their own.

    Returns
    -------
    DataFrame
        With part_set_id and fill_id (as the brief keeps them) behind build_id, numbered within builds from 1 in order
        of their first run.
    """
    made, below = runs.copy(), []
    for unit in kept(brief):
        below = [*below, *(item.name for item in brief.factors if unit_of(brief, item) == unit)]
        own = (runs[below] == CENTRE).any(axis=1)
        turn = runs["replicate"] if turns is None else runs["replicate"].where(own, pd.Series(turns, index=runs.index))
        levels = (runs[name].astype(str) for name in below)
        found = within_builds(runs["build_id"], zip(turn.tolist(), *levels, strict=True))
        if COLUMNS[unit] in made:
            made = made.drop(columns=COLUMNS[unit])
        behind = "part_set_id" if unit == "fill" and "part_set_id" in made else "build_id"
        made.insert(list(made.columns).index(behind) + 1, COLUMNS[unit], found)
    return made


def within_builds(builds: Iterable[object], of: Iterable[Hashable]) -> list[str]:
    """Numbers of units from 1 up within each build, in order of their first run; ``of`` tells units apart.

    Notes
    -----
    Checked against: tests/unit/design/test_units.py.
    """
    held: dict[str, dict[Hashable, int]] = {}
    found = []
    for build, key in zip(builds, of, strict=True):
        inside = held.setdefault(str(build), {})
        found.append(str(inside.setdefault(key, len(inside) + 1)))
    return found


def labels(brief: Brief, runs: pd.DataFrame, unit: str) -> pd.Series:
    """A name for the unit each run belongs to: 'B1', or 'B1/2' for set 2 of build B1; of positions the run."""
    if unit == RUN:
        return runs["run"].astype(str) if POSITION in runs.columns else runs["run_id"].astype(str)
    found = zip(*(runs[name].astype(str) for name in _columns(brief, unit)), strict=True)
    return pd.Series(["/".join(label) for label in found], index=runs.index, dtype=object)


def check(brief: Brief, runs: pd.DataFrame) -> None:
    """Refuse a run table that does not say which unit a run belongs to, or changes a factor within its unit.

    Raises
    ------
    DesignError
    """
    lacking = [name for name in id_columns(brief) if name not in runs.columns or runs[name].isna().any()]
    if lacking:
        faults = [
            Fault(
                name,
                "not told for every run",
                "the unit of each run, since it is kept over several runs and carries a factor",
            )
            for name in lacking
        ]
        raise_all(DesignError, "The runs do not say which unit they belong to.", faults)
    for factor in brief.factors:
        unit = unit_of(brief, factor)
        if unit in (RUN, POSITION):
            continue
        for _, part in runs.groupby(codes(brief, runs, unit)):
            if part[factor.name].nunique() > 1:
                label = labels(brief, part, unit).iloc[0]
                raise DesignError(
                    f"{NAMES[unit]} '{label}': factor '{factor.name}' changes within the {NAMES[unit]} "
                    f"({' and '.join(part[factor.name].unique())}) though changing it means a new {NAMES[unit]}. Give "
                    f"the runs after the change a {COLUMNS[unit]} of their own."
                )


def means(values: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Means of rows by unit, shape (units,) or (units, columns)."""
    count = np.bincount(codes).astype(float)
    total = np.zeros((len(count), *values.shape[1:]))
    np.add.at(total, codes, values)
    return (total.T / count).T


def listed(unit: str, labels: Sequence[str]) -> str:
    """Units by name: 'build B1', 'sets of parts 1, 2'; at most four, then a count."""
    more = f" and {len(labels) - _SHOWN} more" if len(labels) > _SHOWN else ""
    return f"{NAMES[unit] if len(labels) == 1 else PLURALS[unit]} {', '.join(map(str, labels[:_SHOWN]))}{more}"


def _columns(brief: Brief, unit: str) -> list[str]:
    """The columns that tell one kind of unit apart: its own and those of the coarser ones."""
    columns = list(id_columns(brief))
    return columns[: columns.index(COLUMNS[unit]) + 1]
