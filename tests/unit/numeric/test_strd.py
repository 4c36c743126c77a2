"""Sums of squares by rank against the eleven certified one-way analyses of NIST StRD.

The digits asked are those that float64 can hold of the numbers in the files (exact arithmetic on the values
as read agrees with the certified F to so many digits), less 0.3.
"""

import numpy as np
import pytest

from tests.reference.loader import load, matching_digits
from toolkit.numeric import contrasts

CEILING = {
    "atmwtag": 10.2,
    "sirstv": 13.1,
    "smls01": 15.0,
    "smls02": 15.0,
    "smls03": 14.2,
    "smls04": 10.4,
    "smls05": 10.2,
    "smls06": 10.2,
    "smls07": 4.4,
    "smls08": 4.2,
    "smls09": 4.2,
}


@pytest.mark.parametrize("name", CEILING)
def test_certified_f(name: str) -> None:
    """F from the projection on the groups and the residuals of the fit."""
    case = load(f"k01-strd-{name}")
    levels, group = np.unique(case.data["group"].to_numpy(), return_inverse=True)
    y = case.data["y"].to_numpy(float)
    ones, columns = np.ones((len(y), 1)), contrasts.sum_coded(len(levels))[group]
    ss, df = contrasts.projection_ss(y, ones, columns)
    fit = contrasts.least_squares(np.hstack([ones, columns]), y)
    assert (df, fit.df) == (case.expected("df_between"), case.expected("df_within"))
    f = (ss / df) / (fit.residual_ss / fit.df)
    assert matching_digits(f, case.expected("F")) >= CEILING[name] - 0.3
    digits = case.case["digits"]
    assert matching_digits(ss, case.expected("ss_between")) >= digits["ss_between"] - 0.3
    assert matching_digits(fit.residual_ss, case.expected("ss_within")) >= digits["ss_within"] - 0.3
