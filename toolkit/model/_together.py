"""The members of a family with the intervals and p values that the family asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from toolkit.brief.model import Brief, Family
from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model._estimates import Estimate, unit_covariance, with_limits
from toolkit.model.families import holm, joint_critical, joint_p, refusals
from toolkit.model.fit import Fit


def refuse(brief: Brief, strata: Strata) -> None:
    """Stop when a family cannot be judged as it asks.

    Raises
    ------
    ModelError
        When a joint interval is asked for across strata.
    """
    faults = refusals(brief, strata)
    if faults:
        raise ModelError("\n".join(str(fault) for fault in faults))


def adjusted(fit: Fit, family: Family, rows: np.ndarray, members: Sequence[Estimate]) -> list[Estimate]:
    """The members of a family with intervals and p values as the family asks.

    Parameters
    ----------
    fit : Fit
    family : Family
    rows : ndarray, shape (members, parameters)
    members : sequence of Estimate
        Those that have an interval, as judged alone.

    Returns
    -------
    list of Estimate
        As they were where the family asks for nothing or has one member left.
    """
    if family.adjust == "none" or len(members) < 2:
        return list(members)
    if family.adjust == "holm":
        return _by_holm(fit, family.name, members)
    return _joint(fit, family.name, rows, members)


def _joint(fit: Fit, family: str, rows: np.ndarray, members: Sequence[Estimate]) -> list[Estimate]:
    """The members with intervals that hold together, and p values that count the family."""
    df = float(members[0].df or 0.0)
    covariance = unit_covariance(fit, rows, members[0].strata)
    scale = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(scale, scale)
    critical = joint_critical(correlation, df, fit.brief.alpha)
    middles = np.array([float(one.value or 0.0) for one in members])
    errors = np.array([float(one.std_error or 0.0) for one in members])
    note = (f"interval and p value count the {len(members)} comparisons of '{family}' together "
            f"(multivariate t, critical value {critical:.3f})")
    return [replace(one, low=float(middle - critical * error), high=float(middle + critical * error),
                    p_value=p).noted(note)
            for one, middle, error, p in zip(members, middles, errors,
                                             joint_p(list(middles / errors), correlation, df), strict=True)]


def _by_holm(fit: Fit, family: str, members: Sequence[Estimate]) -> list[Estimate]:
    """The members with Holm's p values and intervals at the Bonferroni level."""
    count = len(members)
    note = (f"p value by Holm over the {count} comparisons of '{family}'; interval at 1 - "
            f"{fit.brief.alpha:g}/{count} each (Bonferroni), so that all {count} hold together; the "
            f"verdict rests on the interval, which can include no change where Holm's p does not")
    level = 1.0 - fit.brief.alpha / count
    return [replace(with_limits(one, level), p_value=p).noted(note)
            for one, p in zip(members, holm([float(one.p_value or 0.0) for one in members]), strict=True)]
