"""One-way analysis of variance against the eleven certified data sets of NIST StRD.

`pytest tests/reference/test_strd.py -s` prints the table of matching digits.
"""

import csv
from fractions import Fraction

import numpy as np
import pytest

from tests.reference.loader import HERE, Case, close, load, matching_digits
from tests.reference.nist_strd import exact_digits, exact_oneway
from toolkit.numeric import contrasts

CASES = (
    "k01-strd-atmwtag",
    "k01-strd-sirstv",
    "k01-strd-smls01",
    "k01-strd-smls02",
    "k01-strd-smls03",
    "k01-strd-smls04",
    "k01-strd-smls05",
    "k01-strd-smls06",
    "k01-strd-smls07",
    "k01-strd-smls08",
    "k01-strd-smls09",
)
KEYS = ("F", "ss_between", "ss_within", "r_squared")
# What exact arithmetic on the float64 values reaches stands in [digits] of each case (see nist_strd.py).
# Summing the 18,009 values of SmLs03 in float64 may cost the last of its 15 digits.
SUMMATION = {"k01-strd-smls03": 14.2}


def one_way(case: Case) -> dict[str, float]:
    """The one-way ANOVA of a case by our own sums of squares."""
    y = case.data["y"].to_numpy()
    levels, group = np.unique(case.data["group"].to_numpy(), return_inverse=True)
    constant = np.ones((len(y), 1))
    coded = contrasts.sum_coded(len(levels))[group]
    between, df_between = contrasts.projection_ss(y, constant, coded)
    fit = contrasts.least_squares(np.hstack([constant, coded]), y)
    return {
        "df_between": df_between,
        "ss_between": between,
        "ms_between": between / df_between,
        "F": (between / df_between) / (fit.residual_ss / fit.df),
        "df_within": fit.df,
        "ss_within": fit.residual_ss,
        "ms_within": fit.residual_ss / fit.df,
        "r_squared": between / (between + fit.residual_ss),
        "residual_sd": (fit.residual_ss / fit.df) ** 0.5,
    }


def ceiling(case: Case, key: str) -> float:
    """The digits of a quantity that float64 input allows."""
    return min(case.case["digits"][key], SUMMATION.get(case.id, 15.0))


def test_digits_of_all_certified_sets() -> None:
    """F, both sums of squares and R-squared: no more than 0.3 digits below what float64 input allows."""
    short = []
    print("\nmatching digits (what float64 allows)\n" + " " * 18 + "".join(f"{key:>16}" for key in KEYS))
    for case_id in CASES:
        case = load(case_id)
        found = one_way(case)
        line = f"{case_id:18}"
        for key in KEYS:
            digits, allowed = matching_digits(found[key], case.expected(key)), ceiling(case, key)
            line += f"{digits:9.1f} ({allowed:4.1f})"
            if digits < allowed - 0.3:
                short.append(f"{case_id} {key}: {digits:.2f} digits, {allowed} are possible")
        print(line)
    assert not short, "\n".join(short)


@pytest.mark.parametrize("case_id", CASES)
def test_every_certified_value(case_id: str) -> None:
    """All nine certified values of each set within the tolerance of its case; degrees of freedom exactly."""
    case = load(case_id)
    found = one_way(case)
    assert set(found) == set(case.values)
    for key, value in found.items():
        if key.startswith("df"):
            assert value == case.expected(key), key
        else:
            assert close(value, case.expected(key), case), key


@pytest.mark.parametrize("case_id", CASES)
def test_certified_values_follow_from_the_data_without_rounding(case_id: str) -> None:
    """Data and certified values belong together: exact fractions of the decimals give 14 digits or more."""
    case = load(case_id)
    groups: dict[str, list[Fraction]] = {}
    with (HERE / case_id / "data.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            groups.setdefault(row["group"], []).append(Fraction(row["y"]))
    exact = exact_oneway(list(groups.values()))
    assert set(exact) == set(KEYS)
    for key, value in exact.items():
        assert exact_digits(value, case.text(key)) >= 14, key
    assert case.expected("df_between") == len(groups) - 1
    assert case.expected("df_within") == sum(map(len, groups.values())) - len(groups)
