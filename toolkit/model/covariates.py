"""Comparisons at equal covariates: slopes, adjusted means, and whether adjusting is fair at all (rank 4)."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.design import strata
from toolkit.errors import ModelError
from toolkit.model import anova, comparisons
from toolkit.model.at_equal import at_equal
from toolkit.model.fit import Fit, of_strata
from toolkit.model.mixed import Mixed
from toolkit.numeric import contrasts, kenward_roger

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
# F, its df, those of its error, p.
Found = tuple[float, float, float, float]
FINE, LOOK, UNTESTED = "nothing seen", "look at it", "not testable"


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

    def __repr__(self) -> str:
        """The sentences of the checks."""
        return "\n".join(map(str, self.checks["sentence"]))


def adjusted(fit: Fit, covariates: Sequence[str], *, at: Mapping[str, float] | None = None) -> Adjusted:
    """The comparisons and means as they would be at equal covariates, with slopes and two checks.

    Parameters
    ----------
    fit : Fit
        Without covariates; its runs hold the covariates as columns.
    covariates : sequence of str
        Columns of the runs (held variables, run_time_h, actual_order), 'run_order' for the place of a run in the order
        as made (as planned where that is not known), or 'order_in_build' for its place in its build.
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
        Where positions of a run are the units of a factor.

    Notes
    -----
    One common slope a covariate, beside builds and terms (textbook analysis of covariance: R. A. Fisher, Statistical
    Methods for Research Workers, 1932; J. Neter et al., Applied Linear Statistical Models). Where units of several
    runs carry a factor that slope holds between units and within them, and everything is judged by Kenward and Roger.
    The verdict rests on the sealed model; this table says what the answer would be at equal covariates.

    Checked against: k11-ancova-anorexia (R 4.2.2 lm, emmeans), Kenward and Roger's formulas on the covariance matrix
    of all runs, tests/unit/model/test_covariates.py.
    """
    refitted = at_equal(fit, covariates, at=at)
    where, response, runs = dict(refitted.strata.covariates), fit.response, refitted.strata.runs
    names = list(where)
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


def _slopes(fit: Fit, where: Mapping[str, float]) -> pd.DataFrame:
    """One row a covariate: its slope on the analysis scale with its interval."""
    if fit.mixed is not None:
        return _slopes_between_units(fit, fit.mixed, where)
    layer = fit.layer("run")
    square, df = fit.mean_squares["run"]
    inverse = np.linalg.pinv(layer.full.T @ layer.full, rcond=1e-12, hermitian=True)
    beta = inverse @ layer.full.T @ layer.y
    first = layer.base.shape[1] - len(where)
    rows = []
    for place, (name, at) in enumerate(where.items(), start=first):
        error = math.sqrt(float(square or 0.0) * float(inverse[place, place])) or None
        rows.append(_slope(fit, name, at, float(beta[place]), error, df))
    return pd.DataFrame(rows, columns=list(SLOPES), dtype=object)


def _slopes_between_units(fit: Fit, made: Mixed, where: Mapping[str, float]) -> pd.DataFrame:
    """The slopes where units of several runs are random, by Kenward and Roger."""
    # Covariates are the last of the columns, and each says something of its own.
    rows = np.eye(len(made.kept))[len(made.kept) - len(where) :]
    found = kenward_roger.contrasts(made.adjusted, made.fit.beta, rows)
    told = zip(where.items(), found.estimate, found.std_error, found.df, strict=True)
    of_each = [_slope(fit, name, at, float(slope), float(error), float(df)) for (name, at), slope, error, df in told]
    return pd.DataFrame(of_each, columns=list(SLOPES), dtype=object)


def _slope(fit: Fit, name: str, at: float, slope: float, error: float | None, df: float) -> tuple[object, ...]:
    """One row of the slopes."""
    half = error * float(special.stdtrit(df, 1.0 - fit.brief.alpha / 2.0)) if error else None
    return (
        name,
        at,
        slope,
        error,
        df,
        slope - half if half else None,
        slope + half if half else None,
        float(special.fdtrc(1.0, df, (slope / error) ** 2)) if error else None,
        100.0 * math.expm1(slope) if fit.response.scale == "log" else None,
    )


def _equal_slopes(fit: Fit, runs: pd.DataFrame, where: Mapping[str, float], name: str) -> dict[str, object]:
    """Whether one slope serves all combinations: the covariate's products with the terms added to the model."""
    laid = strata.of_runs(fit.strata.brief, runs, covariates=where)
    off = (runs[name].to_numpy(dtype=float) - where[name])[:, None]
    terms = np.hstack([laid.columns[:, span] for term, span in laid.spans.items() if term != ()])
    # Units of several runs go before: what is left between runs of a unit has one scatter.
    found = _f_test(fit.y, np.hstack([laid.full_columns, _marks(laid)]), off * terms)
    told = {
        FINE: "one slope serves all combinations as far as can be seen",
        LOOK: "the slope differs between combinations: an adjusted comparison holds only at the reference value",
        UNTESTED: "whether the slope is the same everywhere is not testable with these runs",
    }
    return _check(fit, name, "equal slopes", found, told)


def _moved(fit: Fit, runs: pd.DataFrame, name: str) -> dict[str, object]:
    """Whether the treatments differ in the covariate itself."""
    plain = strata.of_runs(fit.strata.brief, runs)
    values = runs[name].to_numpy(dtype=float)
    if plain.plots:
        found = _least_of_strata(fit, plain, values)
    else:
        base = np.hstack([np.ones((len(runs), 1)), plain.block_columns])
        terms = np.hstack([plain.columns[:, span] for term, span in plain.spans.items() if term != ()])
        found = _f_test(values, base, terms)
    told = {
        FINE: "it does not differ between the treatments as far as can be seen",
        LOOK: "it differs between the treatments: where they cause that, adjusting takes part of their effect away",
        UNTESTED: "whether the treatments move it is not testable with these runs",
    }
    return _check(fit, name, "moved by the treatment", found, told)


def _f_test(y: np.ndarray, base: np.ndarray, more: np.ndarray) -> Found | None:
    """F of columns added to a base, with its df, the error's and p; None without an error."""
    centred = y - y.mean()
    both = np.hstack([base, more])
    df = contrasts.rank(both) - contrasts.rank(base)
    error_df = len(y) - contrasts.rank(both)
    if df < 1 or error_df < 1:
        return None
    rest = [contrasts.least_squares(columns, centred).residual_ss for columns in (base, both)]
    if rest[1] <= 1e-24 * float(centred @ centred):
        return None
    f = (rest[0] - rest[1]) / df / (rest[1] / error_df)
    return f, df, error_df, float(special.fdtrc(df, error_df, f))


def _marks(laid: strata.Strata) -> np.ndarray:
    """A column for each unit of several runs, shape (runs, units)."""
    coarser = [codes for unit, codes in laid.members.items() if unit != laid.finest]
    return np.hstack([np.zeros((len(laid.runs), 0)), *(np.eye(int(codes.max()) + 1)[codes] for codes in coarser)])


def _least_of_strata(fit: Fit, plain: strata.Strata, values: np.ndarray) -> Found | None:
    """Of the terms' tests of a covariate, each by the error of its stratum, the one with the least p, by Bonferroni."""
    try:
        table = anova.table(of_strata(fit.brief, replace(fit.response, scale="linear"), plain, values))
    except ModelError:
        return None
    tested = table[(table["term"] != "lack of fit") & table["p_value"].notna()]
    if tested.empty:
        return None
    least = tested.loc[tested["p_value"].astype(float).idxmin()]
    p_value = min(1.0, float(least["p_value"]) * len(tested))
    return float(least["f"]), float(least["df"]), float(least["error_df"]), p_value


def _check(
    fit: Fit, name: str, check: str, found: Found | None, told: Mapping[str, str]
) -> dict[str, object]:
    """One row of the checks."""
    if found is None:
        values: tuple[object, ...] = (None, None, None, None, UNTESTED, f"{name}: {told[UNTESTED]}")
    else:
        f, df, error_df, p_value = found
        result = LOOK if p_value < fit.brief.alpha else FINE
        values = (f, df, error_df, p_value, result, f"{name}: {told[result]} (p = {p_value:.2g})")
    return dict(zip(CHECKS, (name, check, *values), strict=True))
