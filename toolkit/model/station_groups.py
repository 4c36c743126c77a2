"""Groups of stations that are alike: what each says of the comparisons, and whether they say the same (rank 4)."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.design import questions
from toolkit.errors import Fault, ModelError, nearest, raise_all
from toolkit.model._estimates import of_row, schema_row, table_of
from toolkit.model.fit import Fit, of_strata

REST = "other stations"


@dataclass(frozen=True, eq=False)
class StationGroups:
    """The groups of stations of one response.

    Attributes
    ----------
    stations : dict
        Group to its stations; 'other stations' holds those of no group.
    comparisons : DataFrame
        group, then the schema of estimates: each comparison by the mean of the group's stations.
    apart : DataFrame
        group, against, then the schema of estimates: how the comparison in a group stands to that in another (a ratio
        of ratios on the log scale).
    sentences : tuple of str
    """

    response: str
    stations: Mapping[str, tuple[str, ...]]
    comparisons: pd.DataFrame
    apart: pd.DataFrame
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """stations, comparisons[], apart[], sentences[]."""
        return stamp.plain(
            {
                "stations": {name: list(ids) for name, ids in self.stations.items()},
                "comparisons": stamp.records(self.comparisons),
                "apart": stamp.records(self.apart),
                "sentences": list(self.sentences),
            }
        )

    def _repr_html_(self) -> str:
        """The sentences."""
        return "<ul>" + "".join(f"<li>{html.escape(line)}</li>" for line in self.sentences) + "</ul>"

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def station_groups(fit: Fit, stations: pd.DataFrame) -> StationGroups | None:
    """Every comparison by each group of stations, and whether the groups answer alike; None without groups.

    Parameters
    ----------
    fit : Fit
        Of a response whose stations have ``groups`` in the brief.
    stations : DataFrame
        run_id, station_id and the response's column (``Records.stations``).

    Returns
    -------
    StationGroups or None

    Raises
    ------
    ModelError
        With every fault: a station of a group that is not on record, or not in every analysed run; or a group whose
        mean wear is at or below nought on the log scale.

    Notes
    -----
    The mean of a group's stations is one value a run, judged as the run value is: stations are sub-samples and add no
    degrees of freedom. Whether groups answer alike is asked of the differences of these values run by run, so that what
    a run shares falls out. Each judged alone; exploratory.

    Checked against: least squares on hand-made means, tests/unit/model/test_station_groups.py.
    """
    asked = fit.response.stations
    if asked is None or not asked.groups:
        return None
    name, log = fit.response.name, fit.response.scale == "log"
    runs = [str(run) for run in fit.strata.runs["run_id"]]
    table = stations[stations["run_id"].astype(str).isin(runs)]
    wide = table.pivot_table(index="run_id", columns="station_id", values=name, aggfunc="mean", sort=True)
    wide = wide.reindex(runs)
    wide.columns = [str(column) for column in wide.columns]
    groups = _groups(name, asked.groups, wide)
    values = {}
    for group, ids in groups.items():
        means = wide[list(ids)].mean(axis=1).to_numpy(dtype=float)
        if log and (means <= 0.0).any():
            run = runs[int(np.argmin(means))]
            raise ModelError(
                f"{name}: the mean wear of group '{group}' in run {run} is at or below nought, which the log scale "
                f"cannot take. Look at its stations; or analyse on the linear scale."
            )
        values[group] = np.log(means) if log else means
    rows = [
        {"group": group, **line}
        for group, y in values.items()
        for line in _lines(of_strata(fit.brief, fit.response, fit.strata, y))
    ]
    first, *others = list(values)
    apart = []
    for group in others:
        made = of_strata(fit.brief, fit.response, fit.strata, values[group] - values[first])
        apart += [{"group": group, "against": first, **line} for line in _lines(made)]
    told = [_told(fit, row) for row in apart]
    return StationGroups(name, groups, _table(rows, ("group",)), _table(apart, ("group", "against")), tuple(told))


def _groups(name: str, given: Mapping[str, tuple[str, ...]], wide: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """The groups with the stations of none, after all of them were looked for."""
    faults = []
    known = list(wide.columns)
    for group, ids in given.items():
        for station in ids:
            where = f"group '{group}', station '{station}'"
            if station not in known:
                faults.append(Fault(where, "not on record", f"one of {', '.join(known)}", nearest(station, known)))
            elif wide[station].isna().any():
                lacking = ", ".join(str(run) for run in wide.index[wide[station].isna()])
                faults.append(Fault(where, f"no wear in {lacking}", "wear in every analysed run"))
    raise_all(ModelError, f"{name}: groups of stations cannot be compared.", faults)
    taken = {station for ids in given.values() for station in ids}
    rest = tuple(station for station in known if station not in taken and wide[station].notna().all())
    return {**{group: tuple(ids) for group, ids in given.items()}, **({REST: rest} if rest else {})}


def _lines(made: Fit) -> list[dict[str, object]]:
    """Every comparison of a fit, judged alone."""
    rows = []
    for item in made.brief.comparisons:
        question = questions.of_comparison(made.brief, item, made.strata.terms)
        rows.append(schema_row(made, of_row(made, question.row), question.contrast, comparison=item.name, planned=True))
    return rows


def _table(rows: list[dict[str, object]], first: tuple[str, ...]) -> pd.DataFrame:
    """A table of estimates with its own columns first."""
    table = table_of(rows, first)
    return table[[*first, *(column for column in table.columns if column not in first)]]


def _told(fit: Fit, row: Mapping[str, Any]) -> str:
    """Whether a comparison is the same in two groups, in words."""
    start = f"{row['comparison']}, {row['group']} against {row['against']}"
    if row["p_value"] is None:
        return f"{start}: not told ({row['note'] or 'no error estimate'})"
    kind = "a ratio of ratios" if fit.response.scale == "log" else "a difference of differences"
    unit = "" if fit.response.scale == "log" else f" {fit.response.measured_in}".rstrip()
    numbers = f"{row['estimate']:.3g}{unit} ({row['conf_low']:.3g} to {row['conf_high']:.3g}, p = {row['p_value']:.2g})"
    shown = float(row["p_value"]) < fit.brief.alpha
    said = "it is another one there" if shown else "no difference between the groups is shown"
    return f"{start}: {kind} of {numbers}: {said}"
