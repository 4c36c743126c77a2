"""[oil] and [[oil_card]] in campaign.toml: read, every fault at once; the seal covers them where they are there."""

from __future__ import annotations

from tests.unit.brief.faults import faults
from tests.unit.campaign import shop
from toolkit.brief import reading
from toolkit.brief.model import Oil, OilCard
from toolkit.brief.oil import card_of
from toolkit.campaign.sealed_brief import covered

TEXT = shop.BRIEF
GOOD = """
[oil]
fill_kg = 4.3
liquid_share = 0.5
marker = "mo_ppm"
most_carry_over_pct = 2
most_rise_ppm = { si_ppm = 15 }
precision = { fe_ppm = { within_batch = [0.1, 0.8] } }
[[oil_card]]
name = "current"
where = { pin = "P0" }
new_ppm = { fe_ppm = 1, mo_ppm = 80 }
kv40_mm2_s = 62
kv100_mm2_s = 11
[[oil_card]]
name = "proposed"
where = { pin = "P1" }
new_ppm = { fe_ppm = 1, mo_ppm = 0 }
"""


def test_what_is_in_order_is_read():
    brief = reading.parse(TEXT + GOOD)
    assert brief.oil == Oil(
        4.3, 0.5, "mo_ppm", 2.0, False, {"si_ppm": 15.0}, {"fe_ppm": {"within_batch": [0.1, 0.8]}}
    )
    assert brief.oil_cards[0] == OilCard(
        "current", {"pin": "P0"}, {"fe_ppm": 1.0, "mo_ppm": 80.0}, 15.0, 62.0, 11.0
    )
    assert card_of(brief.oil_cards, {"pin": "P1", "other": "x"}).name == "proposed"
    assert card_of(brief.oil_cards, {"pin": "P2"}) is None


def test_the_seal_covers_it_and_a_brief_without_keeps_its_seal():
    held = covered(reading.parse(TEXT + GOOD), "main")
    assert held["oil"]["fill_kg"] == 4.3 and [card["name"] for card in held["oil_card"]] == ["current", "proposed"]
    assert not {"oil", "oil_card"} & set(covered(reading.parse(TEXT), "main"))


def test_every_fault_is_told_at_once():
    text = """
[oil]
fill_kg = 0
liquid_share = 1.5
marker = "mo"
most_rise_ppm = { silicon = 15 }
precision = { fe_ppm = { within_batch = [0, 0.8] } }
[[oil_card]]
name = "current"
where = { pin = "P9", drum = "3" }
new_ppm = { fe_ppm = -1 }
kv40_mm2_s = 11
kv100_mm2_s = 62
[[oil_card]]
name = "current"
kv40_mm2_s = 62
"""
    assert faults(TEXT + text) == [
        "[oil] fill_kg: 0; expected a number above 0.",
        "[oil] liquid_share: 1.5; expected a number from 0 to 1.",
        "[oil] marker: 'mo'; expected an element of the oil, such as 'fe_ppm'.",
        "[oil] most_rise_ppm.silicon: 'silicon'; expected an element of the oil, such as 'fe_ppm'.",
        "[oil] precision.fe_ppm.within_batch: [0, 0.8]; expected [a, b] of a limit a * X ** b: a above 0, b from 0 to "
        "2.",
        "oil_card 'current', where.pin: 'P9'; expected 'P0' or 'P1'.",
        "oil_card 'current', where.drum: 'drum' is no factor; expected 'pin' or 'oil'.",
        "oil_card 'current', new_ppm.fe_ppm: -1; expected 0 or a number above 0.",
        "oil_card 'current', kv40_mm2_s: 11, not above kv100_mm2_s; expected the thicker at 40 °C.",
        "oil_card 'current', name: oil card 'current' stands twice; expected each oil card once. Rename or delete one "
        "of them.",
        "oil_card 'current', kv40_mm2_s: without kv100_mm2_s; expected both.",
    ]


def test_what_rests_on_a_marker_asks_for_one_that_tells_the_oils_apart():
    assert faults(TEXT + "\n[oil]\nfill_kg = 4\nmost_carry_over_pct = 2\n") == [
        "[oil] most_carry_over_pct: no marker; expected marker = \"mo_ppm\" or the like."
    ]
    text = """
[oil]
fill_kg = 4
marker = "mo_ppm"
[[oil_card]]
name = "a"
new_ppm = { mo_ppm = 1 }
[[oil_card]]
name = "b"
where = { pin = "P0" }
"""
    assert faults(TEXT + text) == [
        "[oil] marker: 'mo_ppm' tells the oils of [[oil_card]] not apart; expected an element in new_ppm of every "
        "card, and not the same in all.",
        "oil_card 'b', where: the same runs as 'a'; expected one card a run.",
    ]


def test_metal_of_parts_asks_for_responses_of_wear_and_a_band():
    text = """
[oil]
fill_kg = 4
mg_per_unit = { fe_ppm = { wear = 1, WEAR = 0 } }
recovery_band = [3, 0.2]
"""
    found = faults(TEXT + text.replace("WEAR", reading.parse(TEXT).responses[0].name))
    name = reading.parse(TEXT).responses[0].name
    assert found == [
        f"[oil] mg_per_unit.fe_ppm.wear: 'wear' is no response; expected a response of wear: '{name}'. "
        f"Did you mean '{name}'?",
        f"[oil] mg_per_unit.fe_ppm.{name}: 0; expected a number above 0.",
        "[oil] recovery_band: [3, 0.2]; expected two numbers above 0, the lower first.",
    ]


def test_a_run_value_by_the_balance_asks_for_what_it_rests_on():
    iron = '\n[[response]]\nname = "fe_ppm"\nrole = "secondary"\nper_run = "balance"\nworthwhile_change_pct = 20\n'
    assert faults(TEXT + iron) == [
        "response 'fe_ppm', per_run: 'balance' without fill_kg and liquid_share in [oil]; expected both: how much oil "
        "there is, and what consumed oil takes along.",
        "response 'fe_ppm', per_run: 'balance' without fe_ppm of the new oil; expected new_ppm in every [[oil_card]] "
        "to name it.",
    ]
    assert reading.parse(TEXT + iron + GOOD).response("fe_ppm").per_run == "balance"
