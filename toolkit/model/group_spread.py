"""Whether runs scatter alike at all levels, and the comparisons judged without a common scatter (rank 4)."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.design import questions
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of, with_limits
from toolkit.model._layers import within_units
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts, spread

TESTS = ("by", "statistic", "p_value", "levels", "ratio", "result", "sentence")
FEWEST_DF, FEWEST_RUNS = 3, 3
BUILD = "build"
DRAWS = 1_999
_STREAM = 11
NOTHING, LOOK, UNTESTED = "nothing seen", "look at it", "not testable"
_MIRRORED = 1e-9


@dataclass(frozen=True, eq=False)
class GroupSpread:
    """The scatter of each level, and the answers that take no common scatter.

    Attributes
    ----------
    tests : DataFrame
        by (a factor, or build), statistic (F of absolute residuals), p_value, levels (level to its SD on the analysis
        scale), ratio (largest SD over smallest), result, sentence.
    comparisons : DataFrame
        In the schema of estimates, each by its own scatter; empty where nothing was flagged.
    notes : tuple of str
        How they were judged.
    """

    response: str
    tests: pd.DataFrame
    comparisons: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def flagged(self) -> bool:
        """True when the levels of a factor do not scatter alike."""
        return bool((self.tests["result"] == LOOK).any())

    def to_json(self) -> dict[str, Any]:
        """tests[], comparisons[], notes[]."""
        return stamp.plain(
            {
                "tests": stamp.records(self.tests),
                "comparisons": stamp.records(self.comparisons),
                "notes": list(self.notes),
            }
        )

    def _repr_html_(self) -> str:
        """The sentences."""
        lines = [*self.tests["sentence"], *self.notes]
        return "<ul>" + "".join(f"<li>{html.escape(str(line))}</li>" for line in lines) + "</ul>"

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join([*map(str, self.tests["sentence"]), *self.notes])


def group_spread(fit: Fit) -> GroupSpread:
    """Whether levels of each factor, and builds, scatter alike; where not, comparisons by the scatter of each group.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    GroupSpread

    Notes
    -----
    Test: F of absolute residuals between levels (after H. Levene, 1960), each over the root of one less its leverage;
    its p is the share of 1,999 campaigns of the same layout with normal errors of one size that differ as much, so
    that it holds its level with few runs too (drawn from the brief's seed). Flagged at the brief's alpha over the
    number of tests.

    Comparisons: in complete builds each build makes the comparison by itself, and t is that of these differences;
    elsewhere every combination has its own variance (B. L. Welch, Biometrika 34 (1947) 28-35).

    Checked against: scipy's ttest_ind without equal variances, the paired t of build differences, size by
    simulation, tests/unit/model/test_group_spread.py; with one factor and no builds the statistic is Levene's
    (k11-levene-bartlett-gear).
    """
    checked = spread_tests(fit)
    flagged = (checked["result"] == LOOK).any()
    made, notes = _separate(fit) if flagged else (table_of([], ("family", "adjust")), ())
    return GroupSpread(fit.response.name, checked, made, notes)


def spread_tests(fit: Fit) -> pd.DataFrame:
    """The tests alone: a row a factor, then one for the builds where there are several; see ``group_spread``.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame

    Notes
    -----
    Checked against: as ``group_spread``.
    """
    columns = within_units(fit.strata)
    basis = contrasts.spanned(columns)
    free = 1.0 - (basis**2).sum(axis=1)
    residual = fit.y - fit.y.mean()
    residual = residual - basis @ (basis.T @ residual)
    df = len(fit.y) - basis.shape[1]
    usable = free > 1e-9
    groups = {factor.name: list(factor.names) for factor in fit.brief.factors}
    builds = list(dict.fromkeys(fit.strata.runs["build_id"].astype(str))) if "build_id" in fit.strata.runs else []
    if len(builds) > 1:
        groups[BUILD] = builds
    told = [_levels(fit, name, levels, usable) for name, levels in groups.items()]
    count = sum(item is not None for item in told)
    alike = float(residual @ residual) <= 1e-24 * max(1.0, float(fit.y @ fit.y))
    rows = []
    for (name, levels), codes in zip(groups.items(), told, strict=True):
        if codes is None or df < FEWEST_DF or alike:
            why = (
                f"{df} df of error"
                if df < FEWEST_DF
                else "repeats that agree to the last digit"
                if alike
                else f"fewer than {FEWEST_RUNS} runs of each"
            )
            rows.append(_row(name, f"scatter by {name}: not testable with {why}"))
            continue
        place = list(groups).index(name)
        rows.append(_tested(fit, name, levels, place, codes, basis, residual, free, count))
    return pd.DataFrame(rows, columns=list(TESTS), dtype=object)


def _row(by: str, sentence: str, **values: object) -> dict[str, object]:
    """One row of the tests."""
    made = dict.fromkeys(TESTS) | {"by": by, "sentence": sentence, "result": UNTESTED}
    return {**made, **values}


def _levels(fit: Fit, name: str, levels: Sequence[str], usable: np.ndarray) -> np.ndarray | None:
    """The level of each run as a number, -1 for those that cannot be told; None where a level has too few."""
    given = fit.strata.runs["build_id" if name == BUILD else name].astype(str).tolist()
    codes = np.array([levels.index(level) if level in levels else -1 for level in given])
    codes = np.where(usable, codes, -1)
    counts = np.bincount(codes[codes >= 0], minlength=len(levels))
    return codes if counts.min() >= FEWEST_RUNS else None


def _tested(
    fit: Fit,
    name: str,
    levels: Sequence[str],
    place: int,
    codes: np.ndarray,
    basis: np.ndarray,
    residual: np.ndarray,
    free: np.ndarray,
    count: int,
) -> dict[str, object]:
    """The test of one factor, or of the builds."""
    kept = codes >= 0
    own = float(_statistics(residual[None, :], codes, free)[0])
    draw = np.random.default_rng([fit.brief.seed, _STREAM, place])
    drawn = draw.standard_normal((DRAWS, len(residual)))
    drawn -= (drawn @ basis) @ basis.T
    others = _statistics(drawn, codes, free)
    # Where every unit holds one run of each level, what is left of the one is what is left of the other.
    if float(np.median(others)) < _MIRRORED:
        return _row(name, f"scatter by {name}: not testable, because the model leaves every level the same scatter")
    far = int((others >= own * (1.0 - 1e-9)).sum())
    p_value = (1 + far) / (1 + DRAWS)
    sds = {
        level: math.sqrt(
            float(residual[kept & (codes == at)] @ residual[kept & (codes == at)])
            / float(free[kept & (codes == at)].sum())
        )
        for at, level in enumerate(levels)
    }
    low, high = min(sds, key=sds.__getitem__), max(sds, key=sds.__getitem__)
    ratio = sds[high] / sds[low] if sds[low] > 0.0 else None
    look = p_value < fit.brief.alpha / count
    size = f"{ratio:.1f} times" if ratio is not None else "far more than"
    said = (
        f"{high} scatters {size} as much as {low}: see the answers without a common scatter beside the verdicts"
        if look
        else "no more than chance allows"
    )
    sentence = f"scatter by {name}: SD {', '.join(f'{level} {_sd(fit, sd)}' for level, sd in sds.items())} "
    return _row(
        name,
        f"{sentence}(p = {p_value:.2g}): {said}",
        statistic=own,
        p_value=p_value,
        levels=sds,
        ratio=ratio,
        result=LOOK if look else NOTHING,
    )


def _sd(fit: Fit, sd: float) -> str:
    """An SD as people read it."""
    return f"{100.0 * sd:.2g} %" if fit.response.scale == "log" else f"{sd:.2g} {fit.response.measured_in}".rstrip()


def _statistics(residuals: np.ndarray, codes: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The F of absolute residuals between levels, for each line of residuals."""
    kept = codes >= 0
    z = np.abs(residuals[:, kept]) / np.sqrt(free[kept])
    member = np.eye(int(codes.max()) + 1)[codes[kept]]
    counts = member.sum(axis=0)
    means = z @ member / counts
    between = ((means - z.mean(axis=1, keepdims=True)) ** 2) @ counts
    within = ((z - means @ member.T) ** 2).sum(axis=1)
    df, error_df = len(counts) - 1, int(kept.sum()) - len(counts)
    return between / df / np.maximum(within / error_df, 1e-300)


def _separate(fit: Fit) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The comparisons without a common scatter, and how they were judged."""
    if fit.strata.plots or fit.strata.covariates:
        why = "units of several runs" if fit.strata.plots else "equal covariates"
        return table_of([], ("family", "adjust")), (f"answers without a common scatter are not told at {why}",)
    builds = fit.strata.runs["build_id"].astype(str).to_numpy()
    blocked = fit.strata.blocked and len(set(builds)) > 1
    cells, codes = _cells(fit)
    rows = []
    for item in fit.brief.comparisons:
        question = questions.of_comparison(fit.brief, item, fit.strata.terms)
        if not fit.strata.estimable(question.row):
            one = Estimate(None, note=ways_out.why_not(fit.strata, question.row))
        else:
            weights = question.row @ np.linalg.pinv(cells)
            known = np.allclose(weights @ cells, question.row, atol=1e-9)
            weights = np.where(np.abs(weights) > 1e-9, weights, 0.0)
            samples = [fit.y[codes == at] for at in range(len(cells))]
            if not known:
                one = Estimate(None, note="a combination that it needs was not run")
            elif blocked:
                one = _of_builds(fit, weights, codes, builds)
            else:
                one = _of_cells(fit, weights, samples)
        row = schema_row(fit, one, question.contrast, comparison=item.name, planned=True)
        rows.append({**row, "family": item.family, "adjust": "none"})
    how = (
        "each build makes the comparison by itself; t is that of the differences between builds"
        if blocked
        else "every combination has a variance of its own; degrees of freedom by Welch"
    )
    return table_of(rows, ("family", "adjust")), (f"without a common scatter: {how}; each judged alone",)


def _cells(fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """The model's columns of every combination that was run, and the combination of each run."""
    names = list(fit.brief.factor_names)
    keys = [tuple(line) for line in fit.strata.runs[names].itertuples(index=False, name=None)]
    distinct = list(dict.fromkeys(keys))
    codes = np.array([distinct.index(key) for key in keys])
    first = [int(np.flatnonzero(codes == at)[0]) for at in range(len(distinct))]
    return fit.strata.columns[first], codes


def _of_cells(fit: Fit, weights: np.ndarray, samples: Sequence[np.ndarray]) -> Estimate:
    """One comparison by the variance of each combination."""
    if any(weight and len(sample) < 2 for weight, sample in zip(weights, samples, strict=True)):
        return Estimate(None, note="a combination was run once only, so that its own scatter is not known")
    try:
        found = spread.separate(weights, samples)
    except ValueError:
        return Estimate(None, note="the repeats agree to the last digit: no interval can be stated")
    return _estimate(fit, found.estimate, found.std_error, found.df, "run")


def _of_builds(fit: Fit, weights: np.ndarray, codes: np.ndarray, builds: np.ndarray) -> Estimate:
    """One comparison made in each build by itself."""
    made = []
    for build in dict.fromkeys(builds):
        here = builds == build
        if all(np.any(here & (codes == at)) for at in np.flatnonzero(weights)):
            made.append(sum(weights[at] * fit.y[here & (codes == at)].mean() for at in np.flatnonzero(weights)))
    if len(made) < 2:
        count = len(set(builds))
        return Estimate(None, note=f"{len(made)} of {count} builds hold all that it compares; two are needed")
    values = np.array(made)
    error = float(values.std(ddof=1)) / math.sqrt(len(values))
    if error <= 0.0:
        return Estimate(None, note="the repeats agree to the last digit: no interval can be stated")
    left = len(set(builds)) - len(made)
    one = _estimate(fit, float(values.mean()), error, float(len(values) - 1), "build by build")
    return one.noted(f"{left} builds left out, which lack a combination" if left else "")


def _estimate(fit: Fit, value: float, error: float, df: float, strata: str) -> Estimate:
    """An estimate with its t interval."""
    return with_limits(Estimate(value, error, df, strata=strata), fit.brief.conf_level)
