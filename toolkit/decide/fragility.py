"""How much one run would have to differ for a verdict to change, and what the verdict is without the run (rank 7)."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief.model import gain_sign, worthwhile
from toolkit.decide import verdict
from toolkit.design import questions, strata
from toolkit.errors import DesignError, ModelError
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import comparisons
from toolkit.model import fit as model_fit
from toolkit.model._layers import Layer, in_layer
from toolkit.model.fit import Fit

COLUMNS = (
    "response",
    "comparison",
    "run_id",
    "verdict",
    "shift",
    "shift_in_sd",
    "value",
    "value_needed",
    "verdict_then",
    "verdict_without",
    "note",
)
# A root is an edge touched; the verdict is read this share of the shift beyond it.
_BEYOND = 1e-7
# One value moves the scatter of every stratum there, so that the edges of an interval follow no formula in it.
_LIKELIHOOD = "not told for single runs, since scatter by likelihood moves with each value; left out is told"


def fragility(fit: Fit) -> pd.DataFrame:
    """For each comparison and run: the smallest change of that run's value that would change the verdict.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        One row a comparison and run, the touchiest run of a comparison first: response, comparison, run_id,
        verdict (as it is), shift (on the analysis scale, signed), shift_in_sd (in units of the error SD of a run in
        the comparison's stratum), value and value_needed (run value as it is and as it would have to be, natural
        scale), verdict_then, verdict_without (the verdict when the run is left out), note. None where there is
        no answer: the interval of a comparison judged in two strata, by likelihood (units that are not balanced, among
        them those with centre points beside the corners), or without error, is not a quadratic in one value.
        Comparisons of a family that is judged together are tried alone, which the note says.

    Notes
    -----
    A shift D of one run moves the estimate by g D and the residual sum of squares by 2 e D + r D squared, so that an
    edge m of the interval is touched where (estimate + g D - m)^2 = t^2 v (RSS + 2 e D + r D^2) / df, a
    quadratic in D (own algebra from least squares).

    Checked against: bisection on the whole analysis with the value changed, tests/unit/decide/test_fragility.py.
    """
    rows: list[dict[str, object]] = []
    names = [str(name) for name in fit.strata.runs["run_id"]]
    without = {name: _without(fit, name) for name in names}
    for comparison in fit.brief.comparisons:
        asked = questions.of_comparison(fit.brief, comparison, fit.strata.terms)
        margin = worthwhile(fit.brief, comparison, fit.response)
        found = _shifts(fit, asked.row, margin)
        family = fit.brief.family_of(comparison)
        alone = family is not None and family.adjust != "none"
        made = []
        for at, name in enumerate(names):
            now, shift, then, note = found[at]
            scale = fit.mean_squares[fit.strata.parts(asked.row)[0].stratum][0] if shift is not None else None
            made.append(
                {
                    "response": fit.response.name,
                    "comparison": comparison.name,
                    "run_id": name,
                    "verdict": now,
                    "shift": shift,
                    "shift_in_sd": shift / math.sqrt(scale) if shift is not None and scale else None,
                    "value": _natural(fit, float(fit.y[at])),
                    "value_needed": None if shift is None else _natural(fit, float(fit.y[at]) + shift),
                    "verdict_then": then,
                    "verdict_without": without[name].get(comparison.name),
                    "note": "judged alone here, not with its family" if alone and not note else note,
                }
            )
        made.sort(key=lambda line: math.inf if line["shift"] is None else abs(float(line["shift"])))  # type: ignore[arg-type]
        rows += made
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _shifts(
    fit: Fit, row: np.ndarray, margin: float | None
) -> list[tuple[str | None, float | None, str | None, str]]:
    """Of each run: the verdict now, the smallest shift that changes it, the verdict then, and why there is none."""
    runs = len(fit.y)
    if not fit.strata.estimable(row):
        return [(verdict.NOT_ESTIMABLE, None, None, "not estimable from these runs")] * runs
    if aligned_builds.why_withheld(fit.strata, row):
        return [(None, None, None, "cannot be told apart from builds: no interval to move")] * runs
    if not fit.strata.balanced:
        return [(None, None, None, f"{fit.strata.unbalanced}: {_LIKELIHOOD}")] * runs
    parts = fit.strata.parts(row)
    if len(parts) > 1:
        return [(None, None, None, "judged in two strata: not told for single runs")] * runs
    square, df = fit.mean_squares[parts[0].stratum]
    if not square:
        return [(None, None, None, "no error estimate: no interval to move")] * runs
    layer = fit.layer(parts[0].stratum)
    solve = np.linalg.pinv(layer.full, rcond=1e-10)
    residual = layer.y - layer.full @ (solve @ layer.y)
    # Gains, so that the edges are those of the verdicts.
    weights = gain_sign(fit.response) * in_layer(layer, fit.strata, row) @ solve
    estimate, rss = float(weights @ layer.y), float(residual @ residual)
    factor = float(special.stdtrit(df, 1.0 - fit.brief.alpha / 2.0)) ** 2 * parts[0].unit_variance / df
    units = _unit_shifts(fit, layer)
    moved = units - (units @ layer.full) @ solve
    made: list[tuple[str | None, float | None, str | None, str]] = []
    for value, unit, off in zip(fit.y, units, moved, strict=True):
        g, e, r = float(weights @ unit), float(residual @ off), float(off @ off)

        def name_at(shift: float, g: float = g, e: float = e, r: float = r) -> str:
            """The verdict when this run is shifted."""
            half = math.sqrt(factor * max(rss + 2.0 * e * shift + r * shift**2, 0.0))
            return verdict.name_of(estimate + g * shift - half, estimate + g * shift + half, margin)

        now = name_at(0.0)
        roots = []
        for edge in (0.0,) if margin is None else (0.0, margin, -margin):
            off_edge = estimate - edge
            roots += _roots(g**2 - factor * r, 2.0 * (off_edge * g - factor * e), off_edge**2 - factor * rss)
        then = None
        for root in sorted(roots, key=abs):
            if not _can_be_read(fit, float(value) + root):
                continue
            name = name_at(root + math.copysign(_BEYOND * max(abs(root), 1e-6), root))
            if name != now:
                then = (root, name)
                break
        if then is None:
            made.append((now, None, None, "no change of this one run would change the verdict"))
        else:
            made.append((now, then[0], then[1], ""))
    return made


def _unit_shifts(fit: Fit, layer: Layer) -> np.ndarray:
    """What a shift of 1 in each run does to the values of a layer, shape (runs, units of the layer)."""
    runs = len(fit.y)
    return fit.strata.scaled(layer.stratum, np.eye(runs)).T


def _roots(a: float, b: float, c: float) -> Sequence[float]:
    """The real roots of a x^2 + b x + c other than 0, in a form that loses no digits."""
    if abs(a) < 1e-14 * max(abs(b), abs(c), 1e-300):
        return [-c / b] if b else []
    inside = b * b - 4.0 * a * c
    if inside < 0.0:
        return []
    q = -(b + math.copysign(math.sqrt(inside), b)) / 2.0
    return [root for root in ({q / a, c / q} if q else {0.0}) if root != 0.0]


def _without(fit: Fit, run_id: str) -> dict[str, str]:
    """The verdicts when one run is left out; empty where the rest cannot be analysed."""
    rest = fit.runs[fit.runs["run_id"].astype(str) != run_id]
    if rest.empty:
        return {}
    try:
        laid = strata.again(fit.strata, rest)
        kept = fit.strata.runs["run_id"].astype(str).to_numpy() != run_id
        refitted = model_fit.of_strata(fit.brief, fit.response, laid, fit.y[kept])
        table = verdict.verdicts(comparisons.comparisons(refitted), fit.brief)
    except (ModelError, DesignError):
        return {}
    return {str(row["comparison"]): str(row["verdict"]) for row in stamp.rows(table)}


def _can_be_read(fit: Fit, value: float) -> bool:
    """Whether a value of the analysis scale is a number on the natural one; rounding makes edges at no end of it."""
    return fit.response.scale != "log" or abs(value) < math.log(sys.float_info.max)


def _natural(fit: Fit, value: float) -> float:
    """A value of the analysis scale as it is read."""
    return math.exp(value) if fit.response.scale == "log" else value
