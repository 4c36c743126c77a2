"""campaign.toml from a person's first answers: commented, valid at once, and every answer that does not fit is told."""

from __future__ import annotations

import pytest

from toolkit import shipped
from toolkit.brief import reading
from toolkit.campaign.first_answers import FirstAnswers, FirstFactor, doubt, factor_of, text
from toolkit.errors import BriefError, CampaignError

PIN = factor_of("pin: part: P0 = ground steel, P1 = nitride-coated")

UNASKED = '# not asked: as better above; "either" if a change both ways is of interest'


def test_without_answers_it_is_the_template():
    template = (shipped.folder("templates") / "campaign" / "campaign.toml").read_text(encoding="utf-8")
    assert text(FirstAnswers("my-campaign")) == template


def test_a_factor_reads_from_one_line():
    assert PIN == FirstFactor("pin", "part", (("P0", "ground steel"), ("P1", "nitride-coated")))
    assert factor_of("oil:fill:O0,O1") == FirstFactor("oil", "fill", (("O0", "O0"), ("O1", "O1")))
    assert factor_of("oil") == FirstFactor("oil", "", ())


def test_answers_stand_where_the_template_had_placeholders():
    oil = factor_of("oil: fill: O0 = now, O1 = new, O2 = other")
    made = text(FirstAnswers("trial-7", 'Does "hard" coating cut wear by 30 %?', 4711, (PIN, oil), "loss_mg", 0, 30.0))
    brief = reading.parse(made)
    assert (brief.id, brief.question, brief.seed) == ("trial-7", 'Does "hard" coating cut wear by 30 %?', 4711)
    assert [(item.name, item.undo, item.names) for item in brief.factors] == [
        ("pin", "part", ("P0", "P1")), ("oil", "fill", ("O0", "O1", "O2"))
    ]  # fmt: skip
    assert [item.name for item in brief.comparisons] == ["pin P1", "oil O1", "oil O2"]
    primary = brief.responses[0]
    assert (primary.name, primary.stations, primary.per_run, primary.worthwhile_change_pct) == (
        "loss_mg", None, "value", 30.0
    )  # fmt: skip
    assert brief.pilot.combinations == ({"pin": "P0", "oil": "O0"}, {"pin": "P1", "oil": "O0"})
    # What was not asked says so.
    assert [line for line in made.splitlines() if line.startswith(("better", "direction"))] == [
        'better = "smaller"                    # not asked: "larger" where more of it is better',
        'better = "smaller"',
        *3 * [f'direction = "smaller"                 {UNASKED}'],
    ]
    # Every remark of the template is still there, its examples with the names of these factors.
    assert made.count("\n#") > 100
    assert '\n# [positions]\n# names = ["cyl 1"' in made
    assert '# factor = "pin"' in made and '# factor = "factor_a"' not in made


def test_numbers_of_a_factor_with_a_unit_are_written_as_numbers():
    made = text(FirstAnswers("x", factors=(PIN, factor_of("soot_pct: fill: 0, 2.5"))))
    assert "levels = [0, 2.5]" in made and "of = { soot_pct = 2.5 }" in made
    soot = reading.parse(made).factors[1]
    assert (soot.numeric, [level.value for level in soot.levels]) == (True, [0.0, 2.5])
    # Said to mean something, or without a unit, they are names.
    for line in ("soot_pct: fill: 0 = clean, 2 = sooty", "batch: part: 1, 2"):
        assert not reading.parse(text(FirstAnswers("x", factors=(factor_of(line), PIN)))).factors[0].numeric


def test_a_factor_of_the_build_takes_the_blocks_away():
    brief = reading.parse(text(FirstAnswers("x", factors=(factor_of("guide: build: G0, G1"), PIN))))
    assert brief.block_by is None
    assert [item.name for item in brief.comparisons] == ["guide G1", "pin P1", "does guide need pin"]
    assert (brief.pilot.builds, brief.pilot.combinations[1]) == (2, {"guide": "G0", "pin": "P1"})


def test_iron_in_the_oil_is_asked_for_once():
    brief = reading.parse(text(FirstAnswers("x", response="fe_ppm", stations=0)))
    assert [(item.name, item.role, item.per_run) for item in brief.responses] == [("fe_ppm", "primary", "increase")]


def test_seven_factors_with_long_names_are_in_order():
    many = tuple(factor_of(f"name_of_20_letters_{at}: part: L{at}, H{at}") for at in range(7))
    assert {len(item.name) for item in many} == {20}
    assert len(reading.parse(text(FirstAnswers("x", factors=many))).factors) == 7


def test_answers_that_do_not_fit_are_told_all_at_once():
    odd = (factor_of("Kühlmittel: part: K0, K1"), factor_of("oil: flush: O0"))
    with pytest.raises(BriefError) as error:
        text(FirstAnswers("no blanks please", factors=odd, response="wear", worthwhile_change_pct=-5.0))
    told = [f"{fault.where.partition(': ')[2]}: {fault.found}" for fault in error.value.faults]
    assert told[0] == "[campaign] id: 'no blanks please'"
    assert "factor 'Kühlmittel', name: 'Kühlmittel' is not a plain name" in told
    assert "factor 'oil', undo: 'flush'" in told
    assert [line for line in told if line.startswith("response 'wear', name: ")] != []


def test_a_factor_without_levels_is_told_with_what_else_is_wrong():
    with pytest.raises(BriefError) as caught:
        text(FirstAnswers("trial", factors=(factor_of("pin part P0"), factor_of("oil: fill: O0, O1"))))
    assert [(fault.where, fault.found) for fault in caught.value.faults] == [
        ("campaign.toml line 25: factor 'pin part P0', name", "'pin part P0' is not a plain name"),
        ("campaign.toml line 26: factor 'pin part P0', undo", "''"),
        ("campaign.toml line 27: factor 'pin part P0', levels", "0 levels"),
        ("campaign.toml line 111: [pilot] combinations no. 1", "no level of 'pin part P0' (here and in 1 more place)"),
    ]


@pytest.mark.parametrize(
    ("levels", "told"),
    [
        (
            "90,5, 120",
            "'90,5' is one number or two; write a point in a number (90.5), or a blank after a comma that parts levels "
            "(90, 5).",
        ),
        (
            "P0 = Ra 0,4, P1 = Ra 0,1",
            "'0,4' is one number or two; write a point in a number (0.4), or a blank after a comma that parts levels "
            "(0, 4).",
        ),
        (
            "P0 = ground, coarse, P1 = coated",
            "'coarse' stands without its meaning among levels that have one; write 'coarse = coarse' if it is a level, "
            "and no comma within a meaning.",
        ),
        (
            "= ground, P1",
            "'= ground' names no level; write levels with a comma between them, as P0 = ground, P1 = coated.",
        ),
        ("P0, , P1", "'' names no level; write levels with a comma between them, as P0 = ground, P1 = coated."),
    ],
)
def test_a_comma_that_would_make_a_level_nobody_asked_for_is_told(levels, told):
    assert doubt(levels) == told
    with pytest.raises(CampaignError) as error:
        factor_of(f"pin: part: {levels}")
    assert str(error.value) == f"--factor pin: {told}"


def test_levels_without_doubt():
    assert [doubt(line) for line in ("", "0, 2.5", "O0,O1", "P0, P1,", "P0 = a = b, P1 = c")] == [None] * 5


def test_a_worthwhile_change_is_written_as_it_was_given():
    made = reading.parse(text(FirstAnswers("x", worthwhile_change_pct=12.3456789)))
    assert made.responses[0].worthwhile_change_pct == 12.3456789
