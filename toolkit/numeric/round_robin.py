"""Repeatability and reproducibility from figures of one material found by several laboratories or batches.

May import numpy and the error classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _guards as guards
from toolkit.numeric._bases import Floats

# ASTM E691 and ISO 5725 round 1.96 times the root of 2 to 2.8.
TO_LIMIT = 2.8


@dataclass(frozen=True, eq=False)
class RoundRobin:
    """What figures of one material say of the method.

    Attributes
    ----------
    groups : tuple
        Laboratories (or batches), in the order met.
    mean : float
    sd_of_means : float
        SD of the means of the groups.
    repeatability_sd : float
        Within a group.
    between_sd : float
        Between groups beyond what repeats explain; 0 where there is none.
    reproducibility_sd : float
        Of single figures of two groups; never below the one within.
    repeatability_limit, reproducibility_limit : float
        2.8 times the SDs: two figures lie nearer than that 95 times of 100.
    h : ndarray, shape (groups,)
        How far the mean of each group lies from that of all, in SDs of means.
    k : ndarray, shape (groups,)
        The SD within each group over the common one.
    """

    groups: tuple[object, ...]
    mean: float
    sd_of_means: float
    repeatability_sd: float
    between_sd: float
    reproducibility_sd: float
    repeatability_limit: float
    reproducibility_limit: float
    h: Floats
    k: Floats


def precision(values: ArrayLike, groups: Sequence[object]) -> RoundRobin:
    """Give back repeatability and reproducibility of a method from one material, and what stands out.

    Parameters
    ----------
    values : array_like, shape (figures,)
    groups : sequence, shape (figures,)
        The laboratory or batch of each figure; two groups at least, of equal size, two figures at least.

    Returns
    -------
    RoundRobin

    Raises
    ------
    ModelError
        When a figure is missing, or the groups are too few or not alike in size.

    Notes
    -----
    s_R^2 = s_L^2 + s_r^2 with s_L^2 = s_xbar^2 - s_r^2 / n, floored at 0; h and k by ASTM E691 and ISO 5725-2.

    Checked against: k12-repeatability-reproducibility-glucose, tests/reference/test_gauge_cases.py.
    """
    given = np.atleast_1d(np.asarray(values, dtype=float))
    faults = guards.finite("figure", given)
    if len(groups) != len(given):
        faults.append(Fault("groups", f"{len(groups)}", f"{len(given)}, one a figure"))
    raise_all(ModelError, _HEADLINE, faults)
    names = tuple(dict.fromkeys(groups))
    parts = [given[[name == group for group in groups]] for name in names]
    sizes = {len(part) for part in parts}
    if len(names) < 2:
        faults.append(Fault("groups", f"{len(names)}", "two laboratories or batches at least"))
    if len(sizes) != 1 or min(sizes, default=0) < 2:
        faults.append(Fault("figures of a group", f"{sorted(sizes)}", "as many in each, two at least"))
    raise_all(ModelError, _HEADLINE, faults)
    means = np.array([part.mean() for part in parts])
    scatter = np.array([part.std(ddof=1) for part in parts])
    each = len(parts[0])
    of_means, within = float(means.std(ddof=1)), float(np.sqrt(np.mean(scatter**2)))
    between = float(np.sqrt(max(of_means**2 - within**2 / each, 0.0)))
    both = float(np.hypot(between, within))
    h = (means - means.mean()) / of_means if of_means > 0.0 else np.zeros(len(means))
    k = scatter / within if within > 0.0 else np.zeros(len(means))
    return RoundRobin(
        names, float(given.mean()), of_means, within, between, both, TO_LIMIT * within, TO_LIMIT * both, h, k
    )


_HEADLINE = "The precision cannot be worked out."
