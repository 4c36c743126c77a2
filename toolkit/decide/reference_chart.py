"""The reference runs of a campaign in their order: what the rig does while nothing is changed on purpose (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.model import PHASES, Brief
from toolkit.errors import Fault, ModelError, listing, raise_all
from toolkit.numeric import reference_chart, reference_trend
from toolkit.numeric.reference_trend import Change

# Levels of surprise, two-sided: 80, 90 and 95 of 100 points stay below them if nothing changed.
LEVELS = (1.2816, 1.6449, 1.9600)
EARLIER = "earlier"
COLUMNS = (
    *("place", "run_id", "phase", "build_id", "value", "low", "high", "outside", "score", "smoothed"),
    *("smoothed_limit", "smoothed_outside", "surprise", "level", "provisional"),
)


@dataclass(frozen=True, eq=False)
class ReferenceChart:
    """The chart of one response over the reference runs.

    Attributes
    ----------
    response : str
    scale : str
        log or linear: on which charts, slope and steps were worked out.
    combination : mapping of str to str
        The levels of a reference run.
    table : DataFrame
        One row a reference run, in order: place, run_id, phase, build_id, value, low and high (where it lies if nothing
        changed, told by the runs before it; in the response's own unit), outside, score (standard normal if nothing
        changed), smoothed, smoothed_limit, smoothed_outside, surprise, level (0 to 3: beyond 80, 90, 95 of 100),
        provisional. Empty places None.
    slope : Change or None
        Per reference run, within builds; on the log scale of ln.
    steps : list of (str, str, Change)
        At each rebuild.
    adjusted : DataFrame or None
        Only where it was asked for: run_id, value, adjustment, adjusted, references, variance_added.
    covariance : DataFrame or None
        Of the adjusted runs and the references together, in units of the variance of one run, runs by runs.
    conf_level : float
        Of each point by itself.
    notes : tuple of str
    """

    response: str
    scale: str
    combination: Mapping[str, str]
    table: pd.DataFrame
    slope: Change | None
    steps: list[tuple[str, str, Change]]
    adjusted: pd.DataFrame | None
    covariance: pd.DataFrame | None
    conf_level: float
    notes: tuple[str, ...]

    @property
    def finding(self) -> str:
        """What the chart shows, in a sentence."""
        named = [(str(row["run_id"]), bool(row["outside"]), bool(row["smoothed_outside"]))
                 for row in self.table.to_dict("records")]  # fmt: skip
        single, moved = [run for run, out, _ in named if out], [run for run, _, out in named if out]
        count = f"{len(named)} reference run{'s' * (len(named) != 1)}"
        if len(named) < 3:
            return f"{count}: too few to judge the rig by"
        parts = []
        if single:
            parts.append(f"{' and '.join(single)} outside its limits" if len(single) == 1
                         else f"{', '.join(single)} outside their limits")  # fmt: skip
        if moved:
            parts.append(f"the level has moved by {moved[0]}")
        if not parts:
            parts = ["no sign of a change"]
        provisional = "" if len(named) >= reference_chart.SETTLED else " (provisional)"
        return f"{count}: {'; '.join(parts)}{provisional}"

    def to_json(self) -> dict[str, object]:
        """The chart as plain data; what is missing is null."""
        return stamp.plain(
            {
                **{"response": self.response, "scale": self.scale, "combination": dict(self.combination)},
                **{"finding": self.finding, "conf_level": self.conf_level, "points": stamp.records(self.table)},
                "slope": None if self.slope is None else vars(self.slope),
                "steps": [{"before": one, "after": other, **vars(step)} for one, other, step in self.steps],
                "adjusted": None if self.adjusted is None else stamp.records(self.adjusted),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """What the chart shows, in a sentence, then what there is to know of it."""
        return "\n".join([f"{self.response}: {self.finding}", *self.notes])


def chart(
    brief: Brief,
    runs: pd.DataFrame,
    response: str,
    *,
    combination: Mapping[str, str] | None = None,
    conf_level: float = 0.9973,
    adjust: bool = False,
    earlier: pd.DataFrame | None = None,
) -> ReferenceChart:
    """The chart of a response over the valid runs of one combination, in the order they were made.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``records.Records.runs``: all phases and verdicts; the order of its rows does not matter.
    response : str
    combination : mapping of str to str, optional
        A level of every factor; left out, the baseline: the first level of each.
    conf_level : float
        How often a point lies within its limits if nothing changed.
    adjust : bool
        True: other valid runs are adjusted by the references near them, and the variance this adds is told. Nothing is
        adjusted unless asked for.
    earlier : DataFrame, optional
        Reference runs made before the campaign, in their order: run_id, build_id and responses. They are on the chart
        and adjust nothing.

    Returns
    -------
    ReferenceChart

    Raises
    ------
    ModelError
        When the response or a level is not known, or no reference run has a value.

    Notes
    -----
    Phases follow each other (pilot, main, extension), runs their actual order within one. Limits come from
    ``numeric.reference_chart.self_starting``: they count the start-up and the unknown scatter.

    Examples
    --------
    The runs of the baseline in the order they were made, and what they say of the rig:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> chart(campaign.brief, runs, "elongation_um")
    elongation_um: 4 reference runs: no sign of a change (provisional)
    Provisional: limits settle with 10 reference runs, and there are 4.
    One reference run in each build: a rebuild and the scatter from run to run cannot be told apart.
    """
    asked = next((item for item in brief.responses if item.name == response), None)
    levels = dict(combination) if combination is not None else {item.name: item.names[0] for item in brief.factors}
    faults = _faults(brief, response, levels)
    raise_all(ModelError, "The reference chart cannot be made.", faults)
    log = asked is not None and asked.scale == "log"
    ordered, notes = _in_order(runs)
    valid = ordered[(ordered["verdict"] == "valid") & ordered[response].notna()].reset_index(drop=True)
    marked = valid[f"{response}_below_limit"].astype(bool) if f"{response}_below_limit" in valid else None
    if marked is not None and bool(marked.any()):
        notes.append(f"Left out, as below the limit of the laboratory: {', '.join(valid.loc[marked, 'run_id'])}.")
        valid = valid[~marked].reset_index(drop=True)
    if log and bool((valid[response] <= 0.0).any()):
        low = valid.loc[valid[response] <= 0.0, "run_id"]
        notes.append(f"Left out, as at or below 0 on the log scale: {', '.join(low)}.")
        valid = valid[valid[response] > 0.0].reset_index(drop=True)
    is_reference = np.logical_and.reduce([valid[name] == level for name, level in levels.items()] or [[]])
    references = pd.concat([_earlier(earlier, response, log, notes), valid[is_reference]], ignore_index=True)
    if references.empty:
        named = ", ".join(f"{name} {level}" for name, level in levels.items())
        raise ModelError(
            f"{response}: no valid run of {named} has a value yet. Judge its runs first, or name another combination."
        )
    values = np.log(references[response]) if log else references[response].astype(float)
    found = reference_chart.self_starting(values, conf_level=conf_level)
    builds = [str(name) for name in references["build_id"]]
    table = _table(references, response, found, log)
    if len(table) < reference_chart.SETTLED:
        notes.append(f"Provisional: limits settle with {reference_chart.SETTLED} reference runs, and there are "
                     f"{len(table)}.")  # fmt: skip
    steps = reference_trend.steps(values, builds)
    if steps and steps[0][2].std_error is None:
        notes.append("One reference run in each build: a rebuild and the scatter from run to run cannot be told apart.")
    trend = reference_trend.slope(np.arange(len(values)), values, builds)
    adjusted, covariance = (None, None)
    if adjust:
        adjusted, covariance = _adjusted(valid, is_reference, response, log)
        notes.append("Adjusted by the nearest reference run before and after; the variance this adds is in the table.")
    return ReferenceChart(
        response, "log" if log else "linear", levels, table, trend,
        [(str(one), str(other), step) for one, other, step in steps], adjusted, covariance, conf_level, tuple(notes),
    )  # fmt: skip


def _earlier(earlier: pd.DataFrame | None, response: str, log: bool, notes: list[str]) -> pd.DataFrame:
    """Reference runs made before the campaign that have a value; those that the scale cannot hold are told."""
    none = pd.DataFrame({"run_id": [], "phase": [], "build_id": [], response: []})
    if earlier is None or response not in earlier:
        return none
    known = earlier[earlier[response].notna()].assign(phase=EARLIER)[list(none)]
    if log and bool((known[response] <= 0.0).any()):
        low = known.loc[known[response] <= 0.0, "run_id"]
        notes.append(f"Left out, as at or below 0 on the log scale: {', '.join(low)}.")
        known = known[known[response] > 0.0]
    return known


def _faults(brief: Brief, response: str, levels: Mapping[str, str]) -> list[Fault]:
    """What is wrong with what was asked."""
    names = [item.name for item in brief.responses]
    faults = [] if response in names else [Fault("response", f"'{response}'", listing(names))]
    factors = {item.name: item.names for item in brief.factors}
    if set(levels) != set(factors):
        faults.append(Fault("combination", listing(list(levels)), f"a level of each of {listing(list(factors))}"))
    for name, level in levels.items():
        if name in factors and level not in factors[name]:
            faults.append(Fault(f"combination, {name}", f"'{level}'", listing(factors[name])))
    return faults


def _in_order(runs: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The runs as they were made: phase by phase, by their actual order; the planned one where that is missing."""
    order = runs["actual_order"].astype(float)
    unknown = order.isna() & (runs["verdict"] == "valid")
    notes = []
    if bool(unknown.any()):
        names = ", ".join(runs.loc[unknown, "run_id"])
        notes.append(f"Taken in the order planned, as the actual one is not known: {names}.")
    made = runs.assign(
        _phase=[PHASES.index(phase) if phase in PHASES else len(PHASES) for phase in runs["phase"]],
        _order=order.fillna(runs["planned_order"].astype(float)),
    )
    return made.sort_values(["_phase", "_order", "run_id"], kind="stable").reset_index(drop=True), notes


def _table(references: pd.DataFrame, response: str, found: reference_chart.SelfStarting, log: bool) -> pd.DataFrame:
    """The points of a chart as a table."""

    def natural(value: float) -> float | None:
        if math.isnan(value):
            return None
        # Limits of a handful of runs on the log scale can lie beyond any number.
        return (math.exp(value) if value < 700.0 else None) if log else value

    rows: list[dict[str, Any]] = []
    for at in range(len(references)):
        surprise = float(found.surprise[at])
        rows.append(
            {
                **{"place": at + 1, **{key: references.at[at, key] for key in ("run_id", "phase", "build_id")}},
                "value": float(references.at[at, response]),
                "low": natural(float(found.low[at])),
                "high": natural(float(found.high[at])),
                "outside": None if math.isnan(found.score[at]) else bool(found.outside[at]),
                "score": _known(found.score[at]),
                "smoothed": _known(found.smoothed[at]),
                "smoothed_limit": _known(found.smoothed_limit[at]),
                "smoothed_outside": None if math.isnan(found.smoothed[at]) else bool(found.smoothed_outside[at]),
                "surprise": _known(surprise),
                "level": None if math.isnan(surprise) else sum(abs(surprise) > edge for edge in LEVELS),
                "provisional": at + 1 < reference_chart.SETTLED,
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _adjusted(valid: pd.DataFrame, is_reference: Any, response: str, log: bool) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Every other run with what its neighbours take off it."""
    others, references = valid[~is_reference], valid[is_reference]
    place = {run: at for at, run in enumerate(valid["run_id"])}
    scale = (lambda part: np.log(part.to_numpy(dtype=float))) if log else (lambda part: part.to_numpy(dtype=float))
    found = reference_trend.adjustment(
        [place[run] for run in others["run_id"]],
        [place[run] for run in references["run_id"]],
        scale(references[response]),
        groups=list(others["build_id"]),
        reference_groups=list(references["build_id"]),
    )
    names, rows = list(references["run_id"]), []
    for at, (run, value) in enumerate(zip(others["run_id"], others[response].astype(float), strict=True)):
        amount = float(found.amount[at])
        used = [name for name, weight in zip(names, found.weights[at] + 1.0 / len(names), strict=True) if weight > 1e-9]
        rows.append(
            {
                **{"run_id": run, "value": value, "adjustment": math.exp(-amount) if log else -amount},
                "adjusted": value * math.exp(-amount) if log else value - amount,
                **{"references": ", ".join(used), "variance_added": float(found.added[at])},
            }
        )
    heads = ["run_id", "value", "adjustment", "adjusted", "references", "variance_added"]
    # Each adjusted run is itself less weights times the references, which stay what they are.
    every = [*others["run_id"], *names]
    moved = np.eye(len(every))
    moved[: len(others), len(others) :] = -found.weights
    joint = pd.DataFrame(moved @ moved.T, index=every, columns=every)
    return pd.DataFrame(rows, columns=heads, dtype=object), joint


def _known(value: float) -> float | None:
    """None for a number that is not there."""
    return None if math.isnan(value) else float(value)
