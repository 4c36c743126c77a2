"""Checks of the residuals at run level: one odd run, a trend with the order, scatter that is not alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from toolkit.model._layers import within_units
from toolkit.model._selection import finding, findings_table
from toolkit.model.fit import Fit
from toolkit.model.group_spread import spread_tests
from toolkit.numeric import contrasts
from toolkit.numeric.odd_one import OddOne, odd_one
from toolkit.wording import joined

CHECKS = ("check", "run_id", "statistic", "df", "p_value", "result", "sentence")
RESIDUALS = ("run_id", "fitted", "residual", "studentised", "order", "build", "combination")
# Fewer error df than this and a check could find nothing.
FEWEST_DF = 3
NOTHING = "nothing seen"
LOOK = "look at it"
UNTESTED = "not testable"


@dataclass(frozen=True, eq=False)
class Checks:
    """What the residuals say.

    Attributes
    ----------
    table : DataFrame
        check, run_id, statistic, df, p_value, result (nothing seen, look at it, not testable), sentence.
    residuals : DataFrame
        run_id, fitted and residual on the analysis scale, studentised (externally; None where it cannot be
        told), order, build, combination.
    findings : DataFrame
        severity, run_id, part_id, column, rule, found, expected, action: what asks for a look.
    """

    table: pd.DataFrame
    residuals: pd.DataFrame
    findings: pd.DataFrame

    def __repr__(self) -> str:
        """The sentences of the checks."""
        return "\n".join(self.table["sentence"])


def checks(fit: Fit) -> Checks:
    """The checks of the residuals of a fit; a run is never left out for them.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    Checks

    Notes
    -----
    Odd run: the largest externally studentised residual, t on one df fewer than the error, with Bonferroni
    over the runs that can be tested (R. D. Cook and S. Weisberg, Residuals and Influence in Regression,
    1982). Trend: t of the order added to the model, so that what the order shares with the terms is not
    counted. Both at the brief's alpha. Below 3 df of error neither is made. Scatter of levels and of builds: see
    ``model.group_spread``.

    Checked against: least squares with each run left out, statsmodels outlier_test, false alarms by
    simulation, tests/unit/model/test_diagnostics.py.
    """
    error, df = fit.mean_squares[fit.strata.finest]
    basis = _basis(fit)
    leverage = (basis**2).sum(axis=1)
    order, order_name = _order(fit.runs)
    judged = odd_one(fit.residuals, leverage, df) if error and df >= FEWEST_DF else None
    studentised = [None] * len(leverage) if judged is None else list(judged.studentised)
    if judged is None:
        why = (
            f"not testable with {df} df of error"
            if error or not df
            else "not testable: the repeats agree to the last digit"
        )
        rows = [_line("odd run", UNTESTED, f"odd run: {why}"), _line("trend", UNTESTED, f"trend: {why}")]
    else:
        rows = [_odd_run(fit, judged), _trend(fit, basis, order, order_name, df)]
    rows += _scatter(fit)
    table = pd.DataFrame(rows, columns=list(CHECKS), dtype=object)
    return Checks(table, _residuals(fit, studentised, order), _findings(fit, rows))


def _line(
    check: str,
    result: str,
    sentence: str,
    *,
    run_id: str | None = None,
    statistic: float | None = None,
    df: float | None = None,
    p_value: float | None = None,
) -> dict[str, object]:
    """One row of the checks."""
    return dict(zip(CHECKS, (check, run_id, statistic, df, p_value, result, sentence), strict=True))


def _basis(fit: Fit) -> np.ndarray:
    """Orthonormal columns of all that is taken out of the runs: terms, and builds where they matter."""
    return contrasts.spanned(within_units(fit.strata))


def _odd_run(fit: Fit, judged: OddOne) -> dict[str, object]:
    """The run with the largest studentised residual."""
    at, p_value = judged.place, judged.p_value
    if at is None or p_value is None:
        return _line("odd run", UNTESTED, "odd run: no run can be told from the rest")
    value = float(judged.studentised[at] or 0.0)
    name = str(fit.strata.runs["run_id"].iloc[at])
    odd = p_value < fit.brief.alpha
    told = (
        "look at its log before anything else; it stays in unless its log shows it void"
        if odd
        else "no more than chance allows"
    )
    sentence = (
        f"odd run: {name} has the largest residual ({abs(value):.2f} standard errors without it; p = {p_value:.2g} "
        f"over {judged.tested} runs): {told}"
    )
    return _line(
        "odd run",
        LOOK if odd else NOTHING,
        sentence,
        run_id=name,
        statistic=value,
        df=judged.df,
        p_value=p_value,
    )


def _trend(
    fit: Fit, basis: np.ndarray, order: np.ndarray | None, order_name: str, df: int
) -> dict[str, object]:
    """The slope of the residuals with the order of the runs, the terms taken out of both."""
    if order is None:
        return _line("trend", UNTESTED, "trend: not testable without the order of the runs")
    moved = order - order.mean()
    moved = moved - basis @ (basis.T @ moved)
    size = float(moved @ moved)
    if size < 1e-9 * max(1.0, float((order - order.mean()) @ (order - order.mean()))):
        return _line(
            "trend", UNTESTED, "trend: not testable, the order of the runs follows the terms or the builds"
        )
    slope = float(moved @ fit.residuals) / size
    rest = float(fit.residuals @ fit.residuals) - slope**2 * size
    t = slope / np.sqrt(max(rest, 1e-300) / (df - 1) / size)
    p_value = float(special.fdtrc(1.0, df - 1, t**2))
    seen = p_value < fit.brief.alpha
    per_run = (
        f"{100.0 * np.expm1(slope):+.2g} % a run"
        if fit.response.scale == "log"
        else f"{slope:+.3g} {fit.response.measured_in} a run".replace("  ", " ")
    )
    told = "look for drift of the rig, the oil or the gauge" if seen else "no more than chance allows"
    return _line(
        "trend",
        LOOK if seen else NOTHING,
        f"trend with {order_name}: {per_run} (p = {p_value:.2g}): {told}",
        statistic=float(t),
        df=df - 1,
        p_value=p_value,
    )


def _scatter(fit: Fit) -> list[dict[str, object]]:
    """Whether levels and builds scatter alike: a row each, and one a reason for those that cannot be tested."""
    rows, lacking = [], {}
    for row in spread_tests(fit).to_dict("records"):
        if row["result"] == UNTESTED:
            lacking.setdefault(str(row["sentence"]).split(": ", 1)[1], []).append(str(row["by"]))
            continue
        rows.append(
            _line(
                f"scatter by {row['by']}",
                row["result"],
                row["sentence"],
                statistic=row["statistic"],
                p_value=row["p_value"],
            )
        )
    for why, names in lacking.items():
        said = joined(names)
        rows.append(_line(f"scatter by {said}", UNTESTED, f"scatter by {said}: {why}"))
    return rows


def _order(runs: pd.DataFrame) -> tuple[np.ndarray | None, str]:
    """The order of the runs as made, else as planned, with its name; None when neither is known for all."""
    for column, name in (("actual_order", "run order"), ("planned_order", "planned order")):
        if column in runs.columns and runs[column].notna().all():
            return runs[column].to_numpy(dtype=float), name
    return None, ""


def _residuals(fit: Fit, studentised: list[float | None], order: np.ndarray | None) -> pd.DataFrame:
    """The table of the residuals."""
    runs = fit.strata.runs
    factors = runs[list(fit.brief.factor_names)].to_dict("records")
    rows = [
        dict(
            zip(
                RESIDUALS,
                (
                    str(runs["run_id"].iloc[at]),
                    float(fit.y[at] - fit.residuals[at]),
                    float(fit.residuals[at]),
                    studentised[at],
                    None if order is None else float(order[at]),
                    str(runs["build_id"].iloc[at]),
                    ", ".join(f"{name} {level}" for name, level in factors[at].items()),
                ),
                strict=True,
            )
        )
        for at in range(len(runs))
    ]
    return pd.DataFrame(rows, columns=list(RESIDUALS), dtype=object)


def _findings(fit: Fit, rows: list[dict[str, object]]) -> pd.DataFrame:
    """The checks that ask for a look, as findings."""
    told = {
        "odd run": (
            "odd residual",
            "residuals that only chance orders",
            "look at the run's log, sheet and readings; see the answers with and without it",
        ),
        "trend": (
            "trend with order",
            "residuals that only chance orders",
            "look for drift; see whether comparisons follow the order",
        ),
    }
    uneven = (
        "unequal scatter",
        "one scatter throughout",
        "look for what was run or measured otherwise there; see the answers without a common scatter",
    )
    made = []
    for row in rows:
        if row["result"] == LOOK:
            rule, expected, action = told.get(str(row["check"]), uneven)
            made.append(
                finding(
                    "note",
                    rule,
                    str(row["sentence"]),
                    expected,
                    action,
                    run_id=row["run_id"],
                    column=fit.response.name,
                )  # type: ignore[arg-type]
            )
    return findings_table(made)
