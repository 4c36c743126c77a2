"""The members of a family with the intervals and p values that the family asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from toolkit.brief.model import Family
from toolkit.model import families
from toolkit.model._estimates import Estimate, covariance, with_limits
from toolkit.model.fit import Fit

# For all pairs of means only; the two of the brief are 'holm' and 'multivariate_t'.
RANGE = "studentised_range"
ADJUSTMENTS = ("none", "holm", "multivariate_t")


def adjusted(
    fit: Fit, family: Family, rows: np.ndarray, members: Sequence[Estimate], *, groups: int = 0
) -> list[Estimate]:
    """The members of a family with intervals and p values as the family asks.

    Parameters
    ----------
    fit : Fit
    family : Family
    rows : ndarray, shape (members, parameters)
    members : sequence of Estimate
        Those that have an interval, as judged alone.
    groups : int
        Number of means, where the members are their pairs.

    Returns
    -------
    list of Estimate
        As they were where the family asks for nothing or has one member left.
    """
    if family.adjust == "none" or len(members) < 2:
        return list(members)
    if family.adjust == "holm":
        return _by_holm(fit, family.name, members)
    return _joint(fit, family, rows, members, groups)


def _joint(
    fit: Fit, family: Family, rows: np.ndarray, members: Sequence[Estimate], groups: int
) -> list[Estimate]:
    """The members with intervals that hold together, and p values that count the family."""
    df = min(float(one.df or 0.0) for one in members)
    middles = np.array([float(one.value or 0.0) for one in members])
    errors = np.array([float(one.std_error or 0.0) for one in members])
    if family.adjust == RANGE:
        critical = families.range_critical(groups, df, fit.brief.alpha)
        p_values, law = families.range_p(list(middles / errors), groups, df), "studentised range"
    else:
        correlation = _correlation(fit, rows)
        critical = families.joint_critical(correlation, df, fit.brief.alpha)
        p_values, law = families.joint_p(list(middles / errors), correlation, df), "multivariate t"
    note = (
        f"interval and p value count the {len(members)} comparisons of '{family.name}' together ({law}, critical "
        f"value {critical:.3f})"
    )
    across = len({one.strata for one in members}) > 1
    checks = families.holm([float(one.p_value or 0.0) for one in members])
    return [
        replace(
            one, df=df, low=float(middle - critical * error), high=float(middle + critical * error), p_value=p
        ).noted(note + (f", at {df:.4g} df, the fewest of its strata; by Holm p = {check:.3g}" if across else ""))
        for one, middle, error, p, check in zip(members, middles, errors, p_values, checks, strict=True)
    ]


def _correlation(fit: Fit, rows: np.ndarray) -> np.ndarray:
    """Correlations of the contrasts."""
    spread = covariance(fit, rows)
    scale = np.sqrt(np.diag(spread))
    return spread / np.outer(scale, scale)


def _by_holm(fit: Fit, family: str, members: Sequence[Estimate]) -> list[Estimate]:
    """The members with Holm's p values and intervals at the Bonferroni level."""
    count = len(members)
    note = (
        f"p value by Holm over the {count} comparisons of '{family}'; interval at 1 - {fit.brief.alpha:g}/{count} each "
        f"(Bonferroni), so that all {count} hold together; the verdict rests on the interval, which can include no "
        f"change where Holm's p does not"
    )
    level = 1.0 - fit.brief.alpha / count
    return [
        replace(with_limits(one, level), p_value=p).noted(note)
        for one, p in zip(members, families.holm([float(one.p_value or 0.0) for one in members]), strict=True)
    ]
