"""Metal in the oil against metal lost by the parts, against a chain worked by hand; every amount INVENTED."""

from __future__ import annotations

import json
import math

import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.model import Factor, KnownScatter, Level, Oil, OilCard, Protocol, Response
from toolkit.decide import mass_balance

# A chain of 130 pitches of 8 mm: 1 % longer is 10.4 mm over joints of 10 mm2, of steel with 7.85 mg/mm3.
PER_PCT = 130 * 8 * 0.01 * 10 * 7.85


def brief(**oil):
    return material.brief(
        factors=(Factor("pin", "part", (Level("P0"), Level("P1"))),),
        responses=(Response("elongation_pct"), Response("fe_ppm", role="secondary")), held=(),
        scatter=KnownScatter(), protocol=Protocol(),
        oil=Oil(4.3, mg_per_unit={"fe_ppm": {"elongation_pct": PER_PCT}}, **oil),
        oil_cards=(OilCard("current", {}, {"fe_ppm": 1.0}),),
    )  # fmt: skip


def runs(*wear):
    return pd.DataFrame(
        [{"run_id": f"R{at}", "pin": "P0", "verdict": "valid", "elongation_pct": value}
         for at, value in enumerate(wear, start=1)]
    )  # fmt: skip


def samples(*ends, **masses):
    rows = [
        {"run_id": f"R{at}", "sample_id": f"R{at}-{hour}", "at_h": hour, "fe_ppm": iron, "fe_ppm_below_limit": False}
        for at, end in enumerate(ends, start=1)
        for hour, iron in ((0.0, 1.5), (100.0, end))
    ]
    return pd.DataFrame(rows).assign(**masses)


def test_a_chain_worked_by_hand():
    # 0.09 % of 1040 mm is 0.936 mm: 9.36 mm3, 73.5 mg, 17.1 mg/kg in 4.3 kg.
    assert PER_PCT * 0.09 == pytest.approx(73.5, abs=0.05) and 73.476 / 4.3 == pytest.approx(17.1, abs=0.05)
    none = {"sampled_kg": 0.0, "topped_up_kg": 0.0, "consumed_kg": 0.0}
    found = mass_balance.balance(brief(), runs(0.09), samples(1.5 + 73.476 / 4.3, **none))
    row = found.table.iloc[0].to_dict()
    assert row["parts_mg"] == pytest.approx(73.476, rel=1e-12)
    assert (row["recovery_low"], row["recovery_high"]) == pytest.approx((1.0, 1.0), rel=1e-9)
    assert (row["inside"], row["causes"], row["note"]) == (True, None, "")
    assert found.notes == ("1 of 1 balances of 1 valid run could be told; none outside the band.",)


def test_outside_only_where_both_bounds_are_and_the_causes_follow_the_side():
    # 10 kg consumed as vapour or liquid would not be 4.3 kg: 2 kg are, and leave both bounds apart.
    masses = {"sampled_kg": 0.0, "topped_up_kg": 0.0, "consumed_kg": 2.0}
    found = mass_balance.balance(brief(), runs(0.09, 0.009, 0.5), samples(18.6, 60.0, 6.0, **masses))
    table = found.table
    assert table["inside"].tolist() == [True, False, False]
    assert table["causes"][1].startswith("other parts that wear and are not measured; ")
    assert table["causes"][2].startswith("metal in filter, sludge or particles too large for the plasma to see; ")
    assert table["oil_low_mg"][0] < table["oil_high_mg"][0]
    assert found.outside["run_id"].tolist() == ["R2", "R3"]
    assert found.notes == (
        "3 of 3 balances of 3 valid runs could be told; outside the band: R2 (fe_ppm), R3 (fe_ppm).",
    )
    low, high = table["recovery_low"][0], table["recovery_high"][0]
    wide = mass_balance.balance(brief(recovery_band=((low + high) / 2, 9.0)), runs(0.09), samples(18.6, **masses))
    assert wide.table["inside"].tolist() == [True]
    above = mass_balance.balance(brief(recovery_band=(high * 1.01, 9.0)), runs(0.09), samples(18.6, **masses))
    assert above.table["inside"].tolist() == [False]


def test_without_an_account_the_plain_increase_is_taken_and_said():
    found = mass_balance.balance(brief(), runs(0.09), samples(18.6))
    row = found.table.iloc[0].to_dict()
    assert row["oil_low_mg"] == row["oil_high_mg"] == pytest.approx(17.1 * 4.3)
    assert row["note"] == (
        "plain increase times the fill: no account of samples, top-ups and consumption (oil.csv has no column "
        "sampled_kg, topped_up_kg, consumed_kg)"
    )


def test_what_cannot_be_told_is_said_and_is_no_number():
    found = mass_balance.balance(brief(), runs(math.nan, -0.01, 0.05), samples(18.6, 18.6))
    assert found.table["note"][0].endswith("; no value of elongation_pct")
    assert found.table["note"][1].endswith("; the parts lost nothing that could be measured: no recovery")
    assert found.table["note"][2] == "no fe_ppm of this run"
    assert found.table["inside"].tolist() == [None, None, None]
    assert json.loads(json.dumps(found.to_json(), allow_nan=False))["runs"][0]["parts_mg"] is None
    void = runs(0.09).assign(verdict="invalid")
    assert mass_balance.balance(brief(), void, samples(18.6)).table.empty
    assert mass_balance.balance(material.brief(), runs(0.09), None) is None
    assert mass_balance.balance(brief(), runs(0.09), None).table["note"].tolist() == ["no fe_ppm in the oil samples"]
