"""A fit at equal covariates, and what may not be a covariate (rank 4)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from toolkit import measured_in
from toolkit.brief.covariate import RUN_ORDER, metal_in_oil
from toolkit.brief.model import Brief, Response
from toolkit.design import strata
from toolkit.errors import Fault, ModelError, nearest, raise_all
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import contrasts

ORDER_IN_BUILD = "order_in_build"
_NOT_ONES_OWN = ("planned_order", "below_limit", "_at_least")


def at_equal(fit: Fit, covariates: Sequence[str], *, at: Mapping[str, float] | None = None) -> Fit:
    """The same runs fitted with the covariates taken out first, so that everything is told at their reference values.

    Parameters
    ----------
    fit, covariates, at
        As for ``adjusted``.

    Returns
    -------
    Fit
        With the findings of ``fit``, and a note that says at which values it is told.

    Raises
    ------
    ModelError, DesignError
        As ``adjusted``.

    Notes
    -----
    Checked against: as ``adjusted``.
    """
    brief, response = fit.brief, fit.response
    names = list(dict.fromkeys(covariates))
    runs = _with_place(fit.strata.runs)
    raise_all(ModelError, f"{response.name}: the covariates cannot be used.", _faults(brief, response, runs, names))
    held = {item.name: item.target for item in brief.held}
    if brief.protocol.run_time_h is not None:
        held["run_time_h"] = brief.protocol.run_time_h.target
    given = {key: value for key, value in (at or {}).items() if value is not None}
    where = {name: float(given.get(name, held.get(name, runs[name].astype(float).mean()))) for name in names}
    laid = strata.of_runs(fit.strata.brief, runs, covariates=where)
    plain = strata.of_runs(fit.strata.brief, runs)
    known, before = contrasts.rank(laid.full_columns), contrasts.rank(plain.full_columns)
    if known < before + len(names):
        raise ModelError(
            f"{response.name}: {', '.join(names)} cannot be told from builds, terms or each other in these runs. Take "
            f"fewer covariates."
        )
    if len(runs) <= known:
        raise ModelError(
            f"{response.name}: {len(names)} covariates leave no degrees of freedom for the error ({len(runs)} runs). "
            f"Take fewer, or more runs."
        )
    told = ", ".join(f"{measured_in.label(name)} {value_words(name, value)}" for name, value in where.items())
    made = of_strata(brief, response, laid, fit.y)
    return replace(made, findings=fit.findings, notes=(*fit.notes, f"told at equal covariates: {told}"))


def value_words(name: str, value: float) -> str:
    """A value of a covariate with its unit: '3 %'."""
    return f"{value:.4g} {measured_in.shown(name)}".rstrip()


def _with_place(runs: pd.DataFrame) -> pd.DataFrame:
    """The runs with their place in the order and in the build, where the order is known."""
    order = next((name for name in ("actual_order", "planned_order") if name in runs and runs[name].notna().all()), "")
    if not order:
        return runs
    made = runs.assign(**{RUN_ORDER: runs[order].astype(float)})
    if "build_id" not in runs:
        return made
    return made.assign(**{ORDER_IN_BUILD: runs.groupby("build_id")[order].rank(method="first")})


def _faults(brief: Brief, response: Response, runs: pd.DataFrame, names: Sequence[str]) -> list[Fault]:
    """Why covariates cannot be used, all of them."""
    made = []
    numbers = [name for name in runs.columns if pd.api.types.is_numeric_dtype(runs[name]) and name != "replicate"]
    results = {item.name for item in brief.responses}
    open_to = [name for name in numbers if name not in results and not name.endswith(("_ppm", *_NOT_ONES_OWN))]
    for name in names:
        where = f"covariate '{name}'"
        if metal_in_oil(name) and response.source != "oil":
            made.append(
                Fault(
                    where,
                    "metal in the oil",
                    "something that the treatment does not act on",
                    "It is worn metal: taking it out would take out the treatment's own effect. Analyse it as a "
                    "response beside the wear.",
                )
            )
        elif name in results or name in brief.factor_names:
            what = "a response" if name in results else "a factor"
            made.append(Fault(where, what, "something that is neither asked about nor its result", "Leave it out."))
        elif name not in numbers:
            near = nearest(name, open_to)
            made.append(Fault(where, "no such column of numbers", f"one of {', '.join(open_to)}", near))
        elif runs[name].isna().any():
            lacking = ", ".join(str(run) for run in runs.loc[runs[name].isna(), "run_id"])
            made.append(Fault(where, f"no figure for {lacking}", "a figure for every run analysed", "Enter it."))
        else:
            by = runs["build_id"] if strata.layout_of_builds(brief) == strata.BLOCKS else pd.Series(0, index=runs.index)
            within = runs[name] - runs.groupby(by)[name].transform("mean")
            if float(within.abs().max()) <= 1e-12 * max(1.0, float(runs[name].abs().max())):
                told = "within every build" if strata.layout_of_builds(brief) == strata.BLOCKS else "in all runs"
                made.append(Fault(where, f"the same {told}", "some spread to draw a slope from", "Leave it out."))
    return made
