"""[[covariate]] and groups of stations in campaign.toml: every fault with its line; the main seal covers them."""

from __future__ import annotations

from pathlib import Path

from tests.unit.brief.faults import faults
from tests.unit.campaign import shop
from toolkit.brief import reading
from toolkit.brief.model import Covariate
from toolkit.campaign.sealed_brief import covered
from toolkit.intake import columns

TEXT = shop.BRIEF
GOOD = '\n[[covariate]]\nname = "hardness_HV"\nbefore_run = true\n[[covariate]]\nname = "run_order"\nat = 5\n'


def test_what_is_in_order_is_read_and_has_a_column_of_its_own():
    brief = reading.parse(TEXT + GOOD)
    assert brief.covariates == (Covariate("hardness_HV", None, True), Covariate("run_order", 5.0, False))
    assert [item.unmoved for item in brief.covariates] == [True, True]
    assert columns.covariates(brief) == ("hardness_HV",)
    assert not Covariate("soot_pct").unmoved


def test_the_main_seal_covers_them_and_a_brief_without_keeps_its_seal():
    with_them, without = reading.parse(TEXT + GOOD), reading.parse(TEXT)
    assert [item["name"] for item in covered(with_them, "main")["covariate"]] == ["hardness_HV", "run_order"]
    assert "covariate" not in covered(with_them, "pilot")
    assert "covariate" not in covered(without, "main")
    assert all("groups" not in (item["stations"] or {}) for item in covered(without, "main")["response"])


def test_every_name_that_cannot_be_one_is_told_at_once():
    names = ("fe_ppm", "cu_ppm", "pin", "soot", "hardness_HV", "hardness_HV")
    found = faults(TEXT + "".join(f'\n[[covariate]]\nname = "{name}"\n' for name in names))
    metal = (
        "It is worn metal: taking it out would take out the treatment's own effect. Analyse it as a response beside "
        "the wear."
    )
    expected = "something that the treatment does not act on"
    assert found[:3] == [
        f"covariate 'fe_ppm', name: 'fe_ppm' is metal in the oil; expected {expected}. {metal}",
        f"covariate 'cu_ppm', name: 'cu_ppm' is metal in the oil; expected {expected}. {metal}",
        "covariate 'pin', name: 'pin' is a factor; expected something that is neither asked about nor its result. "
        "Leave it out.",
    ]
    assert found[3].startswith(
        "covariate 'soot', name: 'soot' does not end in what it is measured in; expected a covariate that ends in _ and"
    )
    assert found[4] == (
        "covariate 'hardness_HV', name: covariate 'hardness_HV' stands twice; expected each covariate once. Rename or "
        "delete one of them."
    )
    assert len(found) == 5


def test_builds_as_units_take_them_too():
    text = TEXT.replace('undo = "part"', 'undo = "build"').replace('[blocks]\nby = "build"\n', "")
    assert [item.name for item in reading.parse(text + GOOD).covariates] == ["hardness_HV", "run_order"]


def test_single_brackets_and_a_wrong_kind_are_told():
    assert faults(TEXT + '\n[covariate]\nname = "soot_pct"\n') == [
        "[[covariate]]: [covariate] in single brackets; expected [[covariate]]. Write [[covariate]] in "
        "double brackets, once for each covariate."
    ]
    assert faults(TEXT + '\n[[covariate]]\nname = "soot_pct"\nat = "3"\nbefore_run = "yes"\n') == [
        "covariate 'soot_pct', at: the text '3'; expected a number. Write 3 without quotes.",
        "covariate 'soot_pct', before_run: the text 'yes'; expected true or false.",
    ]


def test_the_gauge_of_a_response_is_read_and_sealed_where_it_is_stated():
    text = TEXT.replace('name = "wear_mg"', 'name = "wear_mg"\ngauge_sd = 0.4')
    brief = reading.parse(text)
    assert brief.responses[0].gauge_sd == 0.4
    assert covered(brief, "main")["response"][0]["gauge_sd"] == 0.4
    assert "gauge_sd" not in covered(reading.parse(TEXT), "main")["response"][0]
    assert faults(text.replace("0.4", "0.0")) == ["response 'wear_mg', gauge_sd: 0; expected a number above 0."]


EXAMPLE = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")
STATIONS = 'stations = { kind = "segment", count = 3'


def test_groups_of_stations():
    text = EXAMPLE.replace(next(line for line in EXAMPLE.split("\n") if line.startswith("stations")), "@")
    good = text.replace("@", STATIONS + ', groups = { ends = ["S1", "S3"], middle = ["S2"] } }')
    stations = next(item.stations for item in reading.parse(good).responses if item.stations)
    assert stations.groups == {"ends": ("S1", "S3"), "middle": ("S2",)}
    held = next(item["stations"] for item in covered(reading.parse(good), "main")["response"] if item["stations"])
    assert held["groups"] == {"ends": ["S1", "S3"], "middle": ["S2"]}
    odd = text.replace("@", STATIONS + ', groups = { ends = ["S1", "S3"], middle = ["S3", "S2", "S4"], none = [] } }')
    assert faults(odd) == [
        "response 'elongation_pct', stations.groups.middle no. 1: 'S3' is in group 'ends' too; expected each station "
        "once.",
        "response 'elongation_pct', stations.groups.none: a group without stations; expected the ids of its stations.",
        "response 'elongation_pct', stations.groups: 4 stations in groups; expected 3 at most, as count says.",
    ]
