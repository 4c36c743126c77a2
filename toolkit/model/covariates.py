"""Comparisons at equal covariates: slopes, adjusted means, and whether adjusting is fair at all (rank 4)."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief.model import Brief, Response
from toolkit.design import strata
from toolkit.errors import Fault, ModelError, nearest, raise_all
from toolkit.model import comparisons
from toolkit.model.fit import Fit, of_strata
from toolkit.numeric import contrasts

ORDER_IN_BUILD = "order_in_build"
SLOPES = (
    "covariate",
    "at",
    "slope",
    "std_error",
    "df",
    "conf_low",
    "conf_high",
    "p_value",
    "change_pct_per_unit",
)
CHECKS = ("covariate", "check", "f", "df", "error_df", "p_value", "result", "sentence")
FINE, LOOK, UNTESTED = "nothing seen", "look at it", "not testable"
_NOT_ONES_OWN = ("planned_order", "below_limit")


@dataclass(frozen=True, eq=False)
class Adjusted:
    """The answers at equal covariates, beside what they rest on.

    Attributes
    ----------
    comparisons, means : DataFrame
        As ``model.comparisons`` gives them, at the reference values.
    slopes : DataFrame
        covariate, at (reference value), slope on the analysis scale per unit, std_error, df, conf_low, conf_high,
        p_value, change_pct_per_unit (log scale).
    checks : DataFrame
        covariate, check (equal slopes, moved by the treatment), f, df, error_df, p_value, result, sentence.
    """

    response: str
    comparisons: pd.DataFrame
    means: pd.DataFrame
    slopes: pd.DataFrame
    checks: pd.DataFrame

    def to_json(self) -> dict[str, Any]:
        """comparisons[], means[], slopes[], checks[]."""
        names = ("comparisons", "means", "slopes", "checks")
        return stamp.plain(
            {"response": self.response, **{name: stamp.records(getattr(self, name)) for name in names}}
        )

    def _repr_html_(self) -> str:
        """The sentences of the checks."""
        return "<ul>" + "".join(f"<li>{html.escape(str(text))}</li>" for text in self.checks["sentence"]) + "</ul>"


def adjusted(fit: Fit, covariates: Sequence[str], *, at: Mapping[str, float] | None = None) -> Adjusted:
    """The comparisons and means as they would be at equal covariates, with slopes and two checks.

    Parameters
    ----------
    fit : Fit
        Without covariates; its runs hold the covariates as columns.
    covariates : sequence of str
        Columns of the runs (held variables, run_time_h, actual_order), or 'order_in_build' for the place of a run
        in its build.
    at : mapping of str to float, optional
        Reference values; left out: the target of a held variable, else the mean of the runs.

    Returns
    -------
    Adjusted

    Raises
    ------
    ModelError
        With every fault: no such column, figures missing, a covariate without spread within builds, one that is
        itself a result of the wear (a response, metal in the oil), or no degrees of freedom left.
    DesignError
        Where builds are the units of a factor.

    Notes
    -----
    One common slope a covariate, beside builds and terms (textbook analysis of covariance: R. A. Fisher, Statistical
    Methods for Research Workers, 1932; J. Neter et al., Applied Linear Statistical Models). The verdict rests on the
    sealed model; this table says what the answer would be at equal covariates.

    Checked against: k11-ancova-anorexia (R 4.2.2 lm, emmeans), tests/unit/model/test_covariates.py.
    """
    brief, response = fit.brief, fit.response
    names = list(dict.fromkeys(covariates))
    runs = _with_place(fit.strata.runs)
    raise_all(ModelError, f"{response.name}: the covariates cannot be used.", _faults(brief, response, runs, names))
    held = {item.name: item.target for item in brief.held}
    if brief.protocol.run_time_h is not None:
        held["run_time_h"] = brief.protocol.run_time_h.target
    where = {name: float((at or {}).get(name, held.get(name, runs[name].astype(float).mean()))) for name in names}
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
    refitted = of_strata(brief, response, laid, fit.y)
    return Adjusted(
        response.name,
        comparisons.comparisons(refitted),
        comparisons.means(refitted),
        _slopes(refitted, where),
        pd.DataFrame(
            [*(_equal_slopes(fit, runs, where, name) for name in names), *(_moved(fit, runs, name) for name in names)],
            columns=list(CHECKS),
            dtype=object,
        ),
    )


def _with_place(runs: pd.DataFrame) -> pd.DataFrame:
    """The runs with their place in the build, where the order is known."""
    order = next((name for name in ("actual_order", "planned_order") if name in runs and runs[name].notna().all()), "")
    if not order or "build_id" not in runs:
        return runs
    return runs.assign(**{ORDER_IN_BUILD: runs.groupby("build_id")[order].rank(method="first")})


def _faults(brief: Brief, response: Response, runs: pd.DataFrame, names: Sequence[str]) -> list[Fault]:
    """Why covariates cannot be used, all of them."""
    made = []
    numbers = [name for name in runs.columns if pd.api.types.is_numeric_dtype(runs[name]) and name != "replicate"]
    results = {item.name for item in brief.responses}
    open_to = [name for name in numbers if name not in results and not name.endswith(("_ppm", *_NOT_ONES_OWN))]
    for name in names:
        where = f"covariate '{name}'"
        if name.endswith("_ppm") and response.source != "oil":
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


def _slopes(fit: Fit, where: Mapping[str, float]) -> pd.DataFrame:
    """One row a covariate: its slope on the analysis scale with its interval."""
    layer = fit.layer("run")
    square, df = fit.mean_squares["run"]
    inverse = np.linalg.pinv(layer.full.T @ layer.full, rcond=1e-12, hermitian=True)
    beta = inverse @ layer.full.T @ layer.y
    first = layer.base.shape[1] - len(where)
    rows = []
    for place, (name, at) in enumerate(where.items(), start=first):
        slope = float(beta[place])
        error = math.sqrt(float(square or 0.0) * float(inverse[place, place])) or None
        half = error * float(special.stdtrit(df, 1.0 - fit.brief.alpha / 2.0)) if error else None
        rows.append((
            name,
            at,
            slope,
            error,
            df,
            slope - half if half else None,
            slope + half if half else None,
            float(special.fdtrc(1.0, df, (slope / error) ** 2)) if error else None,
            100.0 * math.expm1(slope) if fit.response.scale == "log" else None,
        ))
    return pd.DataFrame(rows, columns=list(SLOPES), dtype=object)


def _equal_slopes(fit: Fit, runs: pd.DataFrame, where: Mapping[str, float], name: str) -> dict[str, object]:
    """Whether one slope serves all combinations: the covariate's products with the terms added to the model."""
    laid = strata.of_runs(fit.strata.brief, runs, covariates=where)
    off = (runs[name].to_numpy(dtype=float) - where[name])[:, None]
    terms = np.hstack([laid.columns[:, span] for term, span in laid.spans.items() if term != ()])
    found = _f_test(fit.y, laid.full_columns, off * terms)
    told = {
        FINE: "one slope serves all combinations as far as can be seen",
        LOOK: "the slope differs between combinations: an adjusted comparison holds only at the reference value",
        UNTESTED: "whether the slope is the same everywhere is not testable with these runs",
    }
    return _check(fit, name, "equal slopes", found, told)


def _moved(fit: Fit, runs: pd.DataFrame, name: str) -> dict[str, object]:
    """Whether the treatments differ in the covariate itself."""
    plain = strata.of_runs(fit.strata.brief, runs)
    base = np.hstack([np.ones((len(runs), 1)), plain.block_columns])
    terms = np.hstack([plain.columns[:, span] for term, span in plain.spans.items() if term != ()])
    found = _f_test(runs[name].to_numpy(dtype=float), base, terms)
    told = {
        FINE: "it does not differ between the treatments as far as can be seen",
        LOOK: "it differs between the treatments: where they cause that, adjusting takes part of their effect away",
        UNTESTED: "whether the treatments move it is not testable with these runs",
    }
    return _check(fit, name, "moved by the treatment", found, told)


def _f_test(y: np.ndarray, base: np.ndarray, more: np.ndarray) -> tuple[float, int, int] | None:
    """F of columns added to a base, with its df and the error's; None without an error."""
    centred = y - y.mean()
    both = np.hstack([base, more])
    df = contrasts.rank(both) - contrasts.rank(base)
    error_df = len(y) - contrasts.rank(both)
    if df < 1 or error_df < 1:
        return None
    rest = [contrasts.least_squares(columns, centred).residual_ss for columns in (base, both)]
    if rest[1] <= 1e-24 * float(centred @ centred):
        return None
    return (rest[0] - rest[1]) / df / (rest[1] / error_df), df, error_df


def _check(
    fit: Fit, name: str, check: str, found: tuple[float, int, int] | None, told: Mapping[str, str]
) -> dict[str, object]:
    """One row of the checks."""
    if found is None:
        values: tuple[object, ...] = (None, None, None, None, UNTESTED, f"{name}: {told[UNTESTED]}")
    else:
        f, df, error_df = found
        p_value = float(special.fdtrc(df, error_df, f))
        result = LOOK if p_value < fit.brief.alpha else FINE
        values = (f, df, error_df, p_value, result, f"{name}: {told[result]} (p = {p_value:.2g})")
    return dict(zip(CHECKS, (name, check, *values), strict=True))
