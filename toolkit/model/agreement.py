"""Whether two responses tell the same story run by run, the treatments and builds taken out (rank 4)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import special

from toolkit.brief import by_position
from toolkit.design import strata
from toolkit.design.strata import Strata
from toolkit.model._layers import within_units
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts

COLUMNS = ("response", "other", "correlation", "conf_low", "conf_high", "conf_level", "runs", "df", "sentence")
FEWEST_DF = 4


def agreement(fits: Sequence[Fit]) -> pd.DataFrame:
    """The correlation of each pair of responses within treatments and builds, with its interval.

    Parameters
    ----------
    fits : sequence of Fit
        Of different responses over the same runs, as far as they have values; the first is the primary one.

    Returns
    -------
    DataFrame
        response, other, correlation, conf_low, conf_high, conf_level, runs (that have both), df (of the residuals),
        sentence. None where fewer than 4 degrees of freedom are left.

    Notes
    -----
    The correlation of the residuals of both responses over the runs that have both (a partial correlation); its
    interval by the inverse hyperbolic tangent with SE 1 / sqrt(df - 2) (R. A. Fisher, Metron 3 (1924) 329-332). Beside
    a response with one value a run, one that is measured in each position of a run counts with its mean over them. A
    correlation says that runs that wore more also shed more metal; it neither says that both measure the same nor
    does it sharpen the comparison of treatments.

    Checked against: statsmodels residuals with scipy's pearsonr, coverage by simulation,
    tests/unit/model/test_agreement.py.
    """
    rows = []
    for at, one in enumerate(fits):
        rows += [_pair(one, other) for other in fits[at + 1 :]]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _pair(one: Fit, other: Fit) -> dict[str, object]:
    """One pair of responses."""
    judged, sides = _side_by_side(one, other)
    named = [str(name) for name in judged.runs["run_id"]]
    common = [at for at, name in enumerate(named) if all(name in side for side in sides)]
    level = one.brief.conf_level
    names = f"{one.response.name} and {other.response.name}"

    def line(told: str, df: int, values: tuple[float, float, float] | None) -> dict[str, object]:
        found = values or (None, None, None)
        return dict(
            zip(COLUMNS, (one.response.name, other.response.name, *found, level, len(common), df, told), strict=True)
        )

    if len(common) < 3:
        return line(f"{names}: too few runs have both", 0, None)
    laid = strata.of_runs(judged.brief, judged.runs.iloc[common])
    columns = within_units(laid)
    basis = contrasts.spanned(columns)
    df = len(common) - basis.shape[1]
    if df < FEWEST_DF:
        return line(f"{names}: whether they go together run by run is not told with {df} degrees of freedom", df, None)
    rest = []
    for side in sides:
        values = np.array([side[named[at]] for at in common])
        centred = values - values.mean()
        rest.append(centred - basis @ (basis.T @ centred))
    sizes_of = [float(values @ values) for values in rest]
    if min(sizes_of) <= 1e-20:
        return line(f"{names}: not told, the repeats of one agree to the last digit", df, None)
    r = float(np.clip(rest[0] @ rest[1] / math.sqrt(sizes_of[0] * sizes_of[1]), -1.0, 1.0))
    half = float(special.ndtri(0.5 + level / 2.0)) / math.sqrt(df - 2)
    middle = math.atanh(min(max(r, -1.0 + 1e-15), 1.0 - 1e-15))
    low, high = math.tanh(middle - half), math.tanh(middle + half)
    if low > 0.0:
        said = "runs with more of the one have more of the other"
    elif high < 0.0:
        said = "runs with more of the one have less of the other: look for a mix-up"
    else:
        said = "whether they go together run by run is not known from these runs"
    told = (
        f"{names}: within treatments r = {r:.2f} ({100 * level:g} % interval {low:.2f} to {high:.2f}, {len(common)} "
        f"{'positions' if by_position.divided(judged.brief) else 'runs'}); {said}"
    )
    return line(told, df, (r, low, high))


def _side_by_side(one: Fit, other: Fit) -> tuple[Strata, list[dict[str, float]]]:
    """What both are judged by, and the values of each by name of the row; of runs where one has a value a run."""
    divided = [by_position.divided(fit.strata.brief) for fit in (one, other)]
    if divided[0] == divided[1]:
        values = [dict(zip(fit.strata.runs["run_id"].astype(str), fit.y, strict=True)) for fit in (one, other)]
        return one.strata, values
    whole = other if divided[0] else one
    values = [
        _of_runs(fit) if lies else dict(zip(fit.strata.runs["run_id"].astype(str), fit.y, strict=True))
        for fit, lies in zip((one, other), divided, strict=True)
    ]
    return whole.strata, values


def _of_runs(fit: Fit) -> dict[str, float]:
    """The mean over the positions of each run that has a value in all of them, less what was told of what lay there."""
    runs, laid = fit.strata.runs, fit.strata
    every = len(laid.brief.positions.names)
    own = laid.columns_of()[laid.finest]
    left = pd.Series(fit.y - laid.columns[:, own] @ fit.beta[own], index=runs.index)
    means = left.groupby(runs["run"].astype(str), sort=False).agg(["mean", "size"])
    return {str(name): float(row["mean"]) for name, row in means.iterrows() if row["size"] == every}
