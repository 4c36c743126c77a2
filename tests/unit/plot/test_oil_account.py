"""The picture of a metal's account says what it comes to beside the plain increase; INVENTED."""

from __future__ import annotations

import numpy as np

from tests.unit.intake.test_oil_account import brief, runs, samples
from toolkit.intake import oil_corrections
from toolkit.plot import oil_account


def account(**table):
    taken = samples(**table).assign(fe_ppm_below_limit=False)
    return oil_corrections.account(brief(), runs().iloc[0], taken, "fe_ppm")


def test_the_band_is_the_account_and_the_title_its_finding():
    found = account()
    ax = oil_account.oil_account(found, "R01", "fe_ppm")
    assert ax.figure.get_suptitle().replace("\n", " ") == (
        "R01: 111 to 121 mg Fe in 100 h; plain increase: 120 mg"
    )
    low, high, plain = (line.get_ydata() for line in ax.lines)
    assert np.array_equal(low, found.balance.low_mg) and np.array_equal(high, found.balance.high_mg)
    # 14.5 less 2.0 mg/kg in 4.3 kg at 40 hours.
    assert plain[2] == 12.5 * 4.3
    text = oil_account.alt_oil_account(found, "R01", "fe_ppm")
    assert text.startswith("R01: 111 to 121 mg Fe in 100 h; plain increase: 120 mg. By hours: 0 h 0 to 0 mg")
    assert text.endswith("100 h 111 to 121 mg (plain 120).")


def test_without_an_account_the_picture_says_why():
    found = account(consumed_kg=[0, 0.12, None, 0.15, 0.1, 0.13])
    ax = oil_account.oil_account(found, "R01", "fe_ppm")
    told = "R01: no account of Fe (blank: consumed_kg at 40 h)"
    assert ax.figure.get_suptitle().replace("\n", " ") == told
    assert oil_account.alt_oil_account(found, "R01", "fe_ppm") == f"{told}."
