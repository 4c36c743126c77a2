"""A guess of the scatter, averaged over its range (rank 5)."""

from __future__ import annotations

import numpy as np

from toolkit.size.scatter import Scatter


def over_range(scatter: Scatter) -> list[tuple[float, float]]:
    """Weights and factors on the mean squares over a declared range; one of weight 1 where the scatter was seen."""
    if scatter.declared is None:
        return [(1.0, 1.0)]
    place, weight = np.polynomial.legendre.leggauss(9)
    low, high = scatter.declared
    sd = low + (high - low) * (place + 1.0) / 2.0
    return list(zip((weight / 2.0).tolist(), ((sd / scatter.sd) ** 2).tolist(), strict=True))


def upper_end(scatter: Scatter) -> float:
    """The factor on the mean squares at the upper end of a declared range; 1 where the scatter was seen."""
    return 1.0 if scatter.declared is None else (scatter.declared[1] / scatter.sd) ** 2
