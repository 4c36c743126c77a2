"""The comparisons told three ways: as a ratio, in per cent, and as a change in the unit of the response."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit.design import terms as model_terms
from toolkit.model._estimates import covariance
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import Fit
from toolkit.numeric import medians

COLUMNS = (
    "response",
    "comparison",
    "contrast",
    "conf_level",
    "value",
    "baseline",
    "ratio",
    "ratio_low",
    "ratio_high",
    "change_pct",
    "change_low_pct",
    "change_high_pct",
    "change",
    "change_low",
    "change_high",
    "measured_in",
    "note",
)


def presented(fit: Fit) -> pd.DataFrame:
    """Each comparison of the brief as a ratio, as a change in per cent, and as a change in the response's unit.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        response, comparison, contrast, conf_level; value and baseline (medians on the log scale, means on the linear
        one, in the unit of the response); ratio, change_pct and change with their limits; measured_in (of value,
        baseline and change); note. None where there is none: an interaction is a ratio on the log scale and a
        difference on the linear one and nothing else; a ratio to a mean that may be 0 has no limits.

    Notes
    -----
    All intervals are those of ``comparisons`` (with what its family asks for), told another way: what one of them
    excludes the others exclude too. Log scale: the change of medians by ``numeric.medians.difference_limits``, which
    counts the doubt in the baseline as well. Linear scale: the ratio of means by E. C. Fieller 1954.

    Checked against: drawn differences, Fieller's definition, k03-paired-shoe-wear, tests/unit/model/test_presented.py.
    """
    table = comparisons(fit).to_dict("records")
    rows = [_line(fit, line, at) for at, line in enumerate(table)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _line(fit: Fit, line: dict[str, Any], place: int) -> dict[str, object]:
    """One comparison in all three ways."""
    made: dict[str, object] = dict.fromkeys(COLUMNS)
    made |= {name: line[name] for name in ("response", "comparison", "contrast", "conf_level")}
    made |= {"measured_in": fit.response.measured_in, "note": line["note"] if line["estimate"] is None else ""}
    if line["estimate"] is None:
        return made
    log = fit.response.scale == "log"
    own = [line["estimate"], line["conf_low"], line["conf_high"]]
    if log:
        made |= dict(zip(("ratio", "ratio_low", "ratio_high"), own, strict=True))
        made |= {name: line[name] for name in ("change_pct", "change_low_pct", "change_high_pct")}
    else:
        made |= dict(zip(("change", "change_low", "change_high"), own, strict=True))
    asked = fit.brief.comparisons[place]
    if asked.interaction:
        made["note"] = f"an interaction is told as {'a ratio of ratios' if log else 'a difference of differences'} only"
        return made
    rows = np.array([model_terms.row(fit.brief, fit.strata.terms, levels) for levels in (asked.of, asked.against)])
    if fit.within or not all(fit.strata.estimable(row) for row in rows):
        made["note"] = "neither side has a mean of its own that these runs can tell"
        return made
    one, base = (float(value) for value in rows @ fit.beta)
    spread = None if line["conf_low"] is None else covariance(fit, rows)
    return made | (_of_medians if log else _of_means)(line, one, base, spread)


def _of_medians(line: dict[str, Any], one: float, base: float, spread: np.ndarray | None) -> dict[str, object]:
    """The change of medians in their unit."""
    value, baseline = math.exp(one), math.exp(base)
    made: dict[str, object] = {"value": value, "baseline": baseline, "change": value - baseline}
    if spread is None:
        return made
    low, high = medians.difference_limits((one, base), spread, float(line["df"]), tail=_tail(line, log=True))
    return made | {"change_low": _finite(low), "change_high": _finite(high)}


def _of_means(line: dict[str, Any], one: float, base: float, spread: np.ndarray | None) -> dict[str, object]:
    """The ratio of means and the change in per cent."""
    made: dict[str, object] = {"value": one, "baseline": base}
    if spread is None:
        if base != 0.0:
            made |= {"ratio": one / base, "change_pct": 100.0 * (one / base - 1.0)}
        return made
    limits = medians.ratio_limits((one, base), spread, float(line["df"]), tail=_tail(line, log=False))
    if limits is None:
        return made | {"note": "the baseline's own interval holds 0: no ratio and no per cent"}
    told = (one / base, *limits)
    made |= dict(zip(("ratio", "ratio_low", "ratio_high"), told, strict=True))
    percent = (100.0 * (value - 1.0) for value in told)
    return made | dict(zip(("change_pct", "change_low_pct", "change_high_pct"), percent, strict=True))


def _tail(line: dict[str, Any], *, log: bool) -> float:
    """The share left out on each side by the interval of a comparison, whatever its family made of it."""
    high, middle = (float(line[name]) for name in ("conf_high", "estimate"))
    half = math.log(high) - math.log(middle) if log else high - middle
    return float(special.stdtr(float(line["df"]), -half / float(line["std_error"])))


def _finite(value: float) -> float | None:
    """The number, or None where there is no limit."""
    return float(value) if math.isfinite(value) else None
