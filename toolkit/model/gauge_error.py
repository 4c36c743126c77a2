"""Comparisons that count the gauge's own scatter, for wear that comes near it or below nought (rank 4)."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief, Response
from toolkit.design import questions, strata
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of, with_limits
from toolkit.model._selection import analysed
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import contrasts, two_part_error

# From this share of the variance at the smallest combination on, the gauge is said to matter.
SHARE = 0.1


@dataclass(frozen=True, eq=False)
class GaugeError:
    """The gauge beside the scatter, and the answers that count it.

    Attributes
    ----------
    gauge_sd : float or None
        SD of one run value by the gauge alone, in the response's unit; None where it is not known.
    source : str
        Where it is known from, or why it is not.
    near : bool
        True when values come near the gauge's scatter or lie at or below nought.
    share : float or None
        The gauge's share of the variance at the smallest combination.
    cv_pct : float or None
        The part of the scatter that grows with the wear, in per cent of it.
    comparisons : DataFrame
        In the schema of estimates, ratios of means; empty where it is not near or cannot be told.
    sentence : str
    """

    response: str
    gauge_sd: float | None
    source: str
    near: bool
    share: float | None
    cv_pct: float | None
    comparisons: pd.DataFrame
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """gauge_sd, source, near, share, cv_pct, comparisons[], sentence."""
        return stamp.plain(
            {
                "gauge_sd": self.gauge_sd,
                "source": self.source,
                "near": self.near,
                "share": self.share,
                "cv_pct": self.cv_pct,
                "comparisons": stamp.records(self.comparisons),
                "sentence": self.sentence,
            }
        )

    def _repr_html_(self) -> str:
        """The sentence."""
        return f"<p>{html.escape(self.sentence)}</p>"

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def gauge_error(
    brief: Brief, runs: pd.DataFrame, response: str, *, readings: pd.DataFrame | None = None
) -> GaugeError | None:
    """Whether the gauge's scatter matters for a response on the log scale, and its comparisons with it counted.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts.
    response : str
    readings : DataFrame, optional
        One row a reading: run_id, station_id, state where there are states, and the response (``Records.readings``).

    Returns
    -------
    GaugeError or None
        None for a response on the linear scale.

    Raises
    ------
    ModelError
        When the run values are not in order or a value lies below its detection limit.

    Notes
    -----
    Variance of a run value: gauge^2 + (cv level)^2 (D. M. Rocke and S. Lorenzato, Technometrics 37 (1995) 176-184),
    builds and terms acting in ratio, by quasi-likelihood (``numeric.two_part_error``); t at the degrees of freedom of
    the error, which is on the safe side where the gauge dominates. Values at or below nought stay what they are.

    Checked against: the log analysis where the gauge is negligible, simulation, tests/unit/model/test_gauge_error.py.
    """
    asked = brief.response(response)
    if asked.scale != "log":
        return None
    picked = analysed(runs, replace(asked, scale="linear"), brief)
    values = picked.runs[response].to_numpy(dtype=float)
    used = set(picked.runs["run_id"].astype(str))
    gauge, source = _gauge(asked, readings, used)
    none = table_of([], ("family", "adjust"))
    if gauge is None:
        odd = int((values <= 0.0).sum())
        low = f"{odd} run value{' lies' if odd == 1 else 's lie'} at or below nought"
        told = (
            f"{response}: {low}, which a gauge's scatter can do; {source}"
            if odd
            else f"{response}: whether wear comes near the gauge's scatter is not told: {source}"
        )
        return GaugeError(response, None, source, odd > 0, None, None, none, told)
    laid = strata.of_runs(picked.brief, picked.runs)
    made = of_strata(brief, asked, laid, np.log(np.maximum(values, gauge)))
    near, share = bool(values.min() <= 0.0), None
    smallest = _smallest(laid, values)
    square = made.mean_squares.get("run", (None, 0))[0]
    if smallest <= 0.0:
        near, share = True, 1.0
    elif square or near:
        share = min(1.0, (gauge / smallest) ** 2 / max(float(square or 0.0), (gauge / smallest) ** 2))
        near = near or share >= SHARE
    size = f"gauge SD of a run value {gauge:.2g} {asked.measured_in} ({source})".replace("  ", " ")
    if not near:
        told = f"{response}: {size}, far below the wear: ratios on the log scale stand as they are"
        return GaugeError(response, gauge, source, False, share, None, none, told)
    table, cv, why = _answers(brief, made, laid, values, gauge)
    if cv is None:
        told = f"{response}: wear comes near the {size}, and answers that count it are not told: {why}"
        return GaugeError(response, gauge, source, True, share, None, none, told)
    odd = int((values <= 0.0).sum())
    below = f"; {odd} of {len(values)} run values at or below nought stay what they are" if odd else ""
    told = (
        f"{response}: wear comes near the {size}{below}. Beside it the scatter grows with the wear by {100.0 * cv:.2g} "
        f"% of it. Answers that count both stand beside the others; the declared scale stays the verdict"
    )
    return GaugeError(response, gauge, source, True, share, 100.0 * cv, table, told)


def _gauge(response: Response, readings: pd.DataFrame | None, used: set[str]) -> tuple[float | None, str]:
    """The SD of one run value by the gauge alone, and where it is known from."""
    if response.gauge_sd is not None:
        return response.gauge_sd, "as stated"
    stations = response.stations
    state = "state gauge_sd for the response in campaign.toml"
    if stations is None or readings is None or response.name not in readings:
        return None, f"its scatter is not known: {state}"
    if response.per_run == "max":
        return None, f"the largest of the stations has no scatter of its own that readings tell: {state}"
    keys = ["run_id", "part_id", "station_id", *(["state"] if stations.states else [])]
    known = readings[readings["run_id"].astype(str).isin(used)].dropna(subset=[response.name])
    groups = known.groupby([name for name in keys if name in known], sort=False)[response.name]
    df = int((groups.size() - 1).sum())
    if df < 1:
        return None, f"each station was read once, so its scatter is not known: {state}"
    square = float(((known[response.name] - groups.transform("mean")) ** 2).sum()) / df
    if square <= 0.0:
        return None, f"all repeated readings agree to the last digit: {state}"
    each = square * (2.0 if stations.states else 1.0) / stations.readings
    variance = each * stations.count if response.per_run == "total" else each / stations.count
    return math.sqrt(variance), f"from repeated readings, {df} df, without what clamping and setting add"


def _smallest(laid: strata.Strata, values: np.ndarray) -> float:
    """The smallest mean of a combination."""
    names = list(laid.brief.factor_names)
    return float(laid.runs[names].assign(_y=values).groupby(names, sort=False)["_y"].mean().min())


def _answers(
    brief: Brief, made: Fit, laid: strata.Strata, values: np.ndarray, gauge: float
) -> tuple[pd.DataFrame, float | None, str]:
    """The comparisons, the part of the scatter that grows, and why there are none."""
    none = table_of([], ("family", "adjust"))
    if laid.plots:
        return none, None, "some factor is changed with a unit of several runs"
    columns = laid.full_columns
    left, sizes, right = np.linalg.svd(columns, full_matrices=False)
    kept = sizes > 1e-9 * sizes.max()
    x, back = (left[:, kept] * sizes[kept], right[kept].T) if not kept.all() else (columns, np.eye(columns.shape[1]))
    if len(values) <= contrasts.rank(columns):
        return none, None, "no degrees of freedom are left for the error"
    found = two_part_error.fit(x, values, gauge)
    if found is None:
        return none, None, "the mean of a combination cannot be told from nought, so that no ratio can be named"
    rows = []
    for item in brief.comparisons:
        question = questions.of_comparison(brief, item, laid.terms)
        if laid.estimable(question.row):
            whole = np.concatenate([question.row, np.zeros(laid.block_columns.shape[1])]) @ back
            error = math.sqrt(float(whole @ found.covariance @ whole))
            one = with_limits(
                Estimate(float(whole @ found.beta), error, float(found.df), strata="run", note="ratio of means"),
                brief.conf_level,
            )
        else:
            one = Estimate(None, note=ways_out.why_not(laid, question.row))
        row = schema_row(made, one, question.contrast, comparison=item.name, planned=True)
        rows.append({**row, "family": item.family, "adjust": "none"})
    return table_of(rows, ("family", "adjust")), found.cv, ""
