"""The account of metals in the oil beside the plain increase, and what oil samples tell; every amount INVENTED."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.model import Oil, OilCard, Response
from toolkit.errors import IntakeError
from toolkit.intake import oil_checks, oil_corrections, records
from toolkit.intake.unjudged import hidden

CARDS = (
    OilCard("current", {"oil": "O0"}, {"fe_ppm": 1.0, "ca_ppm": 2000.0, "mo_ppm": 80.0, "si_ppm": 5.0}),
    OilCard("proposed", {"oil": "O1"}, {"fe_ppm": 1.0, "ca_ppm": 2400.0, "mo_ppm": 0.0, "si_ppm": 5.0}),
)
# The account of five samples worked by hand in tests/unit/numeric/test_oil_balance.py.
WORKED = {
    "at_h": [0, 20, 40, 60, 80, 100],
    "fe_ppm": [2.0, 9.0, 14.5, 19.8, 24.6, 29.9],
    "sampled_kg": [0.05] * 6,
    "topped_up_kg": [0, 0.10, 0.10, 0.10, 0.10, 0],
    "consumed_kg": [0, 0.12, 0.10, 0.15, 0.11, 0.13],
}


def brief(per_run="balance", **oil):
    return material.brief(
        factors=(material.Factor("oil", "fill", (material.Level("O0"), material.Level("O1"))),),
        responses=(Response("fe_ppm", per_run=per_run),), held=(), scatter=material.KnownScatter(),
        protocol=material.Protocol(), oil=Oil(**{"fill_kg": 4.30, "liquid_share": 0.5, "marker": "mo_ppm", **oil}),
        oil_cards=CARDS,
    )  # fmt: skip


def runs(*levels):
    return pd.DataFrame(
        [
            {"run_id": f"R{at:02d}", "phase": "main", "build_id": "B1", "planned_order": at, "actual_order": at,
             "oil": level, "run_time_h": 100, "verdict": "valid", "reason": None, "role": None}
            for at, level in enumerate(levels or ("O0",), start=1)
        ]
    )  # fmt: skip


def samples(run="R01", **table):
    made = pd.DataFrame({**WORKED, **table})
    return made.assign(run_id=run, sample_id=[f"{run}-{at}" for at in range(len(made))])


def read(oil, *levels, asked=None):
    return records.from_tables(asked or brief(), runs=runs(*levels), oil=oil)


def told(found, *rules):
    return [
        (row["run_id"], row["column"], row["rule"], row["found"], row["expected"], row["action"])
        for row in found.findings.to_dict("records")
        if not rules or row["rule"] in rules
    ]


def test_the_run_value_by_the_balance_with_the_plain_increase_beside_it():
    found = read(samples())
    # 121.00 mg and 110.71 mg by hand, half of the oil leaving as a liquid: 115.85 mg in 4.30 kg.
    assert found.runs["fe_ppm"].iloc[0] == pytest.approx(115.8534 / 4.30, abs=1e-4)
    assert told(found) == [
        ("R01", "fe_ppm", "oil account", "increase: 27.9 as sampled", "the account of 4.3 kg",
         "26.943 is taken, at liquid_share = 0.5 (25.746 to 28.14 whatever it is)")
    ]  # fmt: skip
    plain = read(samples(), asked=brief("increase"))
    assert plain.runs["fe_ppm"].iloc[0] == pytest.approx(27.9) and told(plain) == []


def test_raw_and_corrected_figures_side_by_side_in_any_order_of_the_rows():
    one, mixed = (read(oil) for oil in (samples(), samples().iloc[[3, 0, 5, 2, 1, 4]]))
    row, other = (oil_corrections.accounts(brief(), made.runs, made.oil).iloc[0].to_dict() for made in (one, mixed))
    assert row == other
    assert one.oil_accounts.iloc[0].to_dict() == row
    assert (row["run_id"], row["element"], row["hours"], row["note"]) == ("R01", "fe_ppm", 100.0, "")
    numbers = {"increase_ppm": 27.9, "corrected_ppm": 26.9426, "corrected_low_ppm": 25.7456,
               "corrected_high_ppm": 28.1397, "low_mg": 110.706, "high_mg": 121.0008, "rate_low_mg_h": 1.10706,
               "rate_high_mg_h": 1.210008, "drawn_kg": 0.25, "topped_up_kg": 0.4, "consumed_kg": 0.61}  # fmt: skip
    assert {key: row[key] for key in numbers} == pytest.approx(numbers, abs=1e-4)


@pytest.mark.parametrize(
    ("table", "note"),
    [
        ({"consumed_kg": [0, 0.12, None, 0.15, None, 0.13]}, "blank: consumed_kg at 40 h, consumed_kg at 80 h"),
        ({"fe_ppm": [None, 9.0, 14.5, 19.8, 24.6, 29.9]}, "no zero-hour sample with a figure"),
        ({"consumed_kg": [0, 4.5, 0.1, 0.1, 0.1, 0.1]},
         "sump at 20 h: -0.25 kg left; expected some oil. Check fill, samples and consumption"),
    ],
)  # fmt: skip
def test_an_account_that_cannot_be_made_says_why(table, note):
    found = read(samples(**table))
    assert math.isnan(found.runs["fe_ppm"].iloc[0])
    row = oil_corrections.accounts(brief(), found.runs, found.oil).iloc[0]
    assert (row["note"], row["corrected_ppm"], row["low_mg"]) == (note, None, None)


def test_without_the_columns_or_the_card_the_account_says_so():
    found = read(samples().drop(columns=["consumed_kg"]))
    assert told(found) == [
        ("R01", "fe_ppm", "oil account", "oil.csv has no column consumed_kg", "an account of the metal",
         "complete oil.csv or campaign.toml; the run has no value of this response until then")
    ]  # fmt: skip


def test_samples_of_one_hour_count_as_one_and_consumption_stands_in_one_of_them():
    twin = samples().iloc[[3]].assign(sample_id="twin", topped_up_kg=0.0, consumed_kg=0.0, fe_ppm=20.2)
    found = read(pd.concat([samples(), twin]), asked=brief())
    one = read(samples(fe_ppm=[2.0, 9.0, 14.5, 20.0, 24.6, 29.9], sampled_kg=[0.05] * 3 + [0.1] + [0.05] * 2))
    assert found.runs["fe_ppm"].iloc[0] == pytest.approx(one.runs["fe_ppm"].iloc[0], rel=1e-12)
    both = read(pd.concat([samples(), twin.assign(consumed_kg=0.15)]))
    assert oil_corrections.accounts(brief(), both.runs, both.oil)["note"].iloc[0] == (
        "consumed_kg at 60 h stands in several samples: write it once, and 0 in the others"
    )


def test_a_lost_figure_between_two_lies_between_them():
    found = read(samples(fe_ppm=[2.0, 9.0, 14.5, "lost", 24.6, 29.9]))
    assert told(found, "oil account")[0][-1].endswith(
        "; the figure at 60 h is lost and lies between 14.5 and 24.6 for the account"
    )
    # Only what was drawn and consumed around 60 h depends on it: 0.05 + 0.5 * (0.15 + 0.11) / 2 kg of about 0.25 mg/kg.
    assert found.runs["fe_ppm"].iloc[0] == pytest.approx(26.943, abs=0.02)


def test_a_zero_hour_sample_below_its_limit_keeps_both_ends():
    found = read(samples(fe_ppm=["<2", 9.0, 14.5, 19.8, 24.6, 29.9])).runs.iloc[0]
    ends = [read(samples(fe_ppm=[zero, 9.0, 14.5, 19.8, 24.6, 29.9])).runs["fe_ppm"].iloc[0] for zero in (0, 2)]
    assert [found["fe_ppm"], found["fe_ppm_at_least"]] == pytest.approx(ends, rel=1e-9)
    assert found["fe_ppm_below_limit"]


def two_fills(marker=1.6, iron=3.0, **oil):
    first = samples("R01", mo_ppm=[80.0] * 6)
    second = samples("R02", mo_ppm=[marker] * 6, fe_ppm=[iron, 9.0, 14.5, 19.8, 24.6, 29.9])
    return read(pd.concat([first, second]), "O0", "O1", asked=brief("increase", most_carry_over_pct=1.0, **oil))


def test_carry_over_is_a_check_and_nothing_is_subtracted():
    found = two_fills()
    # 2 % of a fill with 80 mg/kg molybdenum in an oil without: 1.6 mg/kg.
    assert told(found) == [
        ("R02", "mo_ppm", "carry-over", "2 % of the fill of run R01", "at most 1 %",
         "flush again next time, and judge the run; the zero-hour sample already holds the metal carried over, so "
         "nothing is subtracted")
    ]  # fmt: skip
    assert found.runs["fe_ppm"].iloc[1] == pytest.approx(26.9)
    assert told(two_fills(marker=0.7)) == []


def test_a_missing_zero_hour_figure_is_worked_out_only_where_asked_for():
    without = two_fills(iron=None)
    assert math.isnan(without.runs["fe_ppm"].iloc[1])
    found = two_fills(iron=None, zero_from_carry_over=True)
    # 0.98 * 1.0 + 0.02 * 29.9 = 1.578 by hand.
    assert found.runs["fe_ppm"].iloc[1] == pytest.approx(29.9 - 1.578)
    assert told(found, "zero-hour figure") == [
        ("R02", "fe_ppm", "zero-hour figure", "none", "one at at_h = 0",
         "1.578 mg/kg is taken: 2 % of the fill before (R01: 29.9) in new oil (1), by mo_ppm")
    ]  # fmt: skip
    assert found.oil["fe_ppm"].isna().sum() == 1


def test_a_zero_hour_sample_that_was_never_drawn_takes_the_marker_of_the_first():
    first = samples("R01", mo_ppm=[80.0] * 6)
    second = samples("R02", mo_ppm=[1.6] * 6).iloc[1:]
    asked = brief("increase", zero_from_carry_over=True)
    found = read(pd.concat([first, second]), "O0", "O1", asked=asked)
    assert found.runs["fe_ppm"].iloc[1] == pytest.approx(29.9 - 1.578)
    assert len(found.oil) == 11 and "worked out" not in set(found.oil["sample_id"])


def test_a_run_without_one_before_it_keeps_its_gap():
    found = read(
        samples(fe_ppm=[None, 9.0, 14.5, 19.8, 24.6, 29.9]), asked=brief("increase", zero_from_carry_over=True)
    )
    assert told(found, "zero-hour figure")[0][-1] == "it cannot be worked out: no run before it in its build"


def test_the_fingerprint_names_the_oil_that_was_filled():
    oil = samples(ca_ppm=[2390.0] * 6, mo_ppm=[2.0] * 6)
    assert told(read(oil), "fingerprint") == [
        ("R01", "ca_ppm", "fingerprint", "ca_ppm 2390 against 2000, mo_ppm 2 against 80",
         "within 15 % of the card of current", "it is like proposed: find out what was filled, then judge the run")
    ]  # fmt: skip
    assert told(read(samples(ca_ppm=[2100.0] * 6, mo_ppm=[76.0] * 6)), "fingerprint") == []
    other = told(read(samples(ca_ppm=[900.0] * 6)), "fingerprint")
    assert other[0][-1] == "it is like no other card: find out what was filled, then judge the run"


def test_dirt_is_a_rise_above_the_card():
    oil = samples(si_ppm=[6, 7, 9, 45, 40, 38])
    found = read(oil, asked=brief(most_rise_ppm={"si_ppm": 15.0}))
    assert told(found, "contamination") == [
        ("R01", "si_ppm", "contamination", "45 mg/kg at 60 h, 40 above new oil", "a rise of at most 15",
         "look for dirt or sealant, then judge the run")
    ]  # fmt: skip


def test_coolant_is_a_rise_above_the_card_too_and_each_element_is_told():
    cards = tuple(replace(card, new_ppm={**card.new_ppm, "na_ppm": 3.0, "k_ppm": 1.0}) for card in CARDS)
    asked = replace(brief(most_rise_ppm={"na_ppm": 20.0, "k_ppm": 10.0}), oil_cards=cards)
    found = read(samples(na_ppm=[3, 4, 60, 58, 57, 55], k_ppm=[1, 1, "<2", 9, 12, 11]), asked=asked)
    assert told(found, "contamination") == [
        ("R01", "na_ppm", "contamination", "60 mg/kg at 40 h, 57 above new oil", "a rise of at most 20",
         "look for coolant, then judge the run"),
        ("R01", "k_ppm", "contamination", "12 mg/kg at 80 h, 11 above new oil", "a rise of at most 10",
         "look for coolant, then judge the run"),
    ]  # fmt: skip


def pair(first, second, *, labs=("L1", "L1"), batches=("b1", "b1"), **oil):
    made = samples(lab_id="L1", lab_batch="b1")
    again = made.iloc[[5]].assign(sample_id="again", fe_ppm=second, lab_id=labs[1], lab_batch=batches[1])
    made.loc[5, ["fe_ppm", "lab_id", "lab_batch"]] = [first, labs[0], batches[0]]
    asked = brief("increase", **oil)
    found = read(pd.concat([made, again]), asked=asked)
    return told(found, "duplicates"), oil_checks.duplicates(asked, found.oil).iloc[0].to_dict()


def test_duplicates_are_judged_by_the_precision_they_were_found_under():
    # Limits at 30 mg/kg by hand: 0.13 * 30 ** 0.8 = 1.975, 0.52 * 30 ** 0.8 = 7.90.
    memory = "from memory of ASTM D5185: check against your copy"
    again = "ask for both to be analysed again; their mean is taken"
    assert pair(29.0, 31.0)[0] == [
        ("R01", "fe_ppm", "duplicates", "29 and 31 at 100 h", f"at most 1.975 apart within a batch ({memory})", again)
    ]
    assert pair(29.5, 30.5)[0] == []
    findings, row = pair(28.0, 32.0, labs=("L1", "L2"))
    assert findings == [] and (row["compared"], row["agree"]) == ("between laboratories", True)
    assert row["limit_ppm"] == pytest.approx(7.90, abs=0.01)
    findings, row = pair(28.0, 32.0, batches=("b1", "b2"))
    assert findings == [
        ("R01", "fe_ppm", "duplicates", "28 and 32 at 100 h", "a limit between batches in [oil] precision",
         "enter your laboratory's: that within a batch is too strict, that between laboratories too wide")
    ]  # fmt: skip
    assert row["agree"] is None
    own = {"fe_ppm": {"between_batches": (0.2, 0.8)}}
    assert pair(28.0, 32.0, batches=("b1", "b2"), precision=own)[0][0][4] == (
        "at most 3.039 apart between batches ([oil] precision)"
    )
    assert pair(28.0, 32.0, batches=("b1", ""))[0][0][5] == (
        "enter lab_id and lab_batch in oil.csv; their mean is taken"
    )


def test_an_index_that_is_high_for_its_iron_tells_of_coarse_debris():
    index = [4, 18, 29, 40, 49, 60]
    both = pd.concat([samples("R01", ferrous_index=index), samples("R02", ferrous_index=[*index[:5], 240])])
    assert told(read(both, "O0", "O0"), "coarse debris") == [
        ("R02", "ferrous_index", "coarse debris", "index 240 with 29.9 mg/kg iron at 100 h",
         "about 59.8, as the iron of these samples goes with",
         "look at filter and parts for severe wear; the index is no amount of metal")
    ]  # fmt: skip


def test_a_run_that_is_not_judged_keeps_its_metals_to_itself():
    index = [4, 18, 29, 40, 49, 240]
    oil = pd.concat([samples("R01", ferrous_index=index, ca_ppm=2500.0), samples("R02", ferrous_index=[4] * 6)])
    table = runs("O0", "O0").assign(verdict=["pending", "valid"])
    found = records.from_tables(brief(), runs=table, oil=oil)
    assert {row[2] for row in told(found) if row[0] == "R01"} == {"coarse debris", "oil account", "fingerprint"}
    # What was filled is needed to judge the run; what it wore is not.
    assert {row[2] for row in told(hidden(found)) if row[0] == "R01"} == {"fingerprint"}


def test_amounts_of_oil_are_read_strictly():
    with pytest.raises(IntakeError) as caught:
        read(samples(consumed_kg=["0", "0,12", "-1", "0.1", "0.1", "0.1 kg"]))
    text = str(caught.value)
    assert "oil row 2, column consumed_kg: '0,12'; expected a number with a decimal point. Write 0.12." in text
    assert "oil row 3, column consumed_kg: '-1'; expected a number not below 0." in text
    assert "oil row 6, column consumed_kg: '0.1 kg'; expected a number alone (the column is in kg)." in text
