"""What can be wrong with fold-overs, axial points, freeing and make-up runs, each with the nearest that can be."""

from __future__ import annotations

import pytest

from toolkit.brief import extension_lines, reading
from toolkit.brief.model import Extension
from toolkit.errors import BriefError

HEAD = """[campaign]
id = "small"
question = "INVENTED: which of them changes wear?"
seed = 7
new_each_run = ["part", "fill"]

[[response]]
name = "wear_mg"
worthwhile_change_pct = 20
"""
NAMED = tuple(
    f'[[factor]]\nname = "{name}"\nundo = "part"\nlevels = {{ {name}0 = "old", {name}1 = "new" }}\n'
    for name in ("aa", "bb", "cc", "dd")
)
ALL = "".join(NAMED)
NUMBERS = '[[factor]]\nname = "speed_rpm"\nundo = "setting"\nlevels = [2000, 4000]\n' \
          '[[factor]]\nname = "soot_pct"\nundo = "setting"\nlevels = [0, 4]\n'  # fmt: skip
FRACTION = 'design = "two-level fraction"\nruns = 8\nreplicates = 1\n'
ASKED = '[[comparison]]\nname = "a"\nof = { aa = "aa1" }\nagainst = { aa = "aa0" }\n'


def brief(section, *, factors=ALL, plan=FRACTION, more=""):
    """A brief with an extension."""
    return f"{HEAD}{factors}{more}[plan]\n{plan}[extension]\n{section}\n"


def faults(section, **others):
    """The faults of the extension, without file and line."""
    with pytest.raises(BriefError) as told:
        reading.parse(brief(section, **others))
    return [line.split(": ", 1)[1] for line in str(told.value).split("\n")[1:]]


@pytest.mark.parametrize(
    "section, expected",
    [
        ('design = "fold-over"\nswap = ["aa"]', Extension(design="fold-over", swap=("aa",))),
        (
            'design = "semifold"\nswap = ["aa"]\nhalf = { bb = "bb1" }',
            Extension(design="semifold", swap=("aa",), half={"bb": "bb1"}),
        ),
        ('design = "freeing runs"\nfree = [["aa", "bb"]]', Extension(design="freeing runs", free=(("aa", "bb"),))),
        ("replicates = 2", Extension(replicates=2)),
        (
            'design = "make-up runs"\ncombinations = [ { aa = "aa0", bb = "bb0", cc = "cc0", dd = "dd0" } ]',
            Extension(
                design="make-up runs", combinations=({"aa": "aa0", "bb": "bb0", "cc": "cc0", "dd": "dd0"},)
            ),
        ),
    ],
)
def test_what_is_in_order_is_read_and_written_again(section, expected):
    found = reading.parse(brief(section)).extension
    assert found == expected
    lines = extension_lines.toml(expected)
    assert lines.startswith("[extension]\n")
    assert reading.parse(brief(lines.removeprefix("[extension]\n"))).extension == expected


def test_a_word_that_is_none_is_told_with_the_nearest():
    assert faults('design = "foldover"') == [
        "[extension] design: 'foldover'; expected 'more of the same', 'fold-over', 'semifold', 'axial points', "
        "'make-up runs' or 'freeing runs'. Did you mean 'fold-over'?"
    ]


def test_every_fault_is_told_at_once():
    section = (
        'design = "fold-over"\nswap = ["aa", "ee"]\nhalf = { aa = "aa1" }\naxial = "rotatable"\nbuilds = 2\n'
        'detectable_ratio = 1.2\ncomparison = "b"'
    )
    assert faults(section, more=ASKED) == [
        "[extension] swap no. 2: there is no factor 'ee'; expected 'aa', 'bb', 'cc' or 'dd'.",
        "[extension] half: given, though design is 'fold-over'; expected left out. It belongs to design = 'semifold'.",
        "[extension] axial: given, though design is 'fold-over'; expected left out. It belongs to design = 'axial "
        "points'.",
        "[extension] builds: 2 though there are no blocks; expected replicates. Give replicates.",
        "[extension] detectable_ratio: given, though design is 'fold-over'; expected left out. It belongs to design = "
        "'more of the same'.",
        "[extension] comparison: given, though design is 'fold-over'; expected left out. It belongs to design = 'more "
        "of the same'.",
        "[extension] comparison: 'b'; expected 'a'.",
    ]


def test_a_mirror_image_that_runs_the_same_again():
    # 2^(4-1) of resolution IV: its one word has four letters, so that all factors swapped give the same runs.
    assert faults('design = "fold-over"') == [
        "[extension] swap: every factor swapped gives the combinations that the main phase ran already; expected "
        'factors whose swap gives other combinations. Write swap = ["aa"], which frees aa and all its interactions of '
        "two."
    ]


def test_plans_that_hold_every_combination_or_other_levels():
    whole = 'design = "full factorial"\nreplicates = 2\n'
    assert faults('design = "fold-over"', plan=whole) == [
        "[extension] design: 'fold-over' of a full factorial plan; expected 'two-level fraction' or 'Plackett-Burman'. "
        "It holds every combination already: repeat them with design = 'more of the same'."
    ]
    assert faults('design = "freeing runs"\nfree = [["aa"]]', plan=FRACTION.replace("8", "16")) == [
        "[extension] design: 'freeing runs' of a plan that holds every combination; expected a plan that runs a part "
        "of the combinations. Nothing is aliased in it: repeat it with design = 'more of the same'."
    ]


def test_effects_that_stand_clear_already():
    assert faults('design = "freeing runs"\nfree = [["aa"], ["bb", "cc"]]') == [
        "[extension] free no. 1: aa is aliased with no main effect and no interaction of two; expected effects of "
        "these chains: aa × bb = cc × dd; aa × cc = bb × dd; aa × dd = bb × cc."
    ]
    assert faults('design = "freeing runs"') == [
        "[extension] free: no effect named; expected the effects to be told apart. Name one effect of each alias "
        'chain, such as free = [["pin", "oil"]].'
    ]


def test_a_semifold_without_its_half_and_make_up_runs_without_combinations():
    assert faults('design = "semifold"\nswap = ["aa"]') == [
        "[extension] half: left out of a semifold; expected a level of one factor. Write half = { dd = \"dd1\" }, for "
        "example."
    ]
    assert faults('design = "make-up runs"') == [
        "[extension] combinations: none named; expected the combinations to make up. `wearbook next` lists the lines, "
        "with a run that ties them to the runs made."
    ]


def test_axial_points_need_numbers_a_distance_centre_points_and_room():
    plan = "replicates = 2\n"
    assert faults('design = "axial points"', factors=NUMBERS + NAMED[0], plan=plan) == [
        "factor 'aa', levels: names, though [extension] adds axial points; expected two numbers. Without numbers there "
        "is no axial point: design = 'more of the same' makes further runs.",
        "[extension] axial: left out; expected 'face-centred', 'rotatable' or 'orthogonal blocking'.",
        "[extension] centre_points: 0, and the main phase has none: squares could not be told from the difference "
        "between the phases; expected 1 or more.",
    ]
    section = 'design = "axial points"\naxial = "rotatable"\ncentre_points = 3'
    # 8 two-level runs: 8^(1/4) = 1.68179 times 2 from the middle 2.
    assert faults(section, factors=NUMBERS, plan=plan) == [
        "[extension] axial: the axial points of 'soot_pct' would lie at -1.36359, below nought; expected levels that "
        "can be set. Write axial = 'face-centred': it keeps to the levels of the main phase."
    ]
    assert reading.parse(brief(section.replace("rotatable", "face-centred"), factors=NUMBERS, plan=plan)).extension


def test_kept_parts_and_builds_that_do_not_divide():
    text = brief('design = "make-up runs"\ncombinations = [ { aa = "aa0", bb = "bb0", cc = "cc0", dd = "dd0" } ]',
                 plan="replicates = 2\n").replace('["part", "fill"]', '["fill"]')  # fmt: skip
    with pytest.raises(BriefError) as told:
        reading.parse(text)
    assert str(told.value).endswith(
        "[extension] design: 'make-up runs' though factor 'aa' is kept with its part; expected factors that change "
        "from run to run. Each part of such runs would hold another part of the combinations than those of the main "
        "phase. Further sets as they were are design = 'more of the same'."
    )
    blocks = '[blocks]\nby = "build"\n'
    split = FRACTION.replace("replicates = 1", "split_over = 2\nbuilds = 2")
    assert faults('design = "fold-over"\nswap = ["aa"]\nbuilds = 3', plan=split, more=blocks) == [
        "[extension] builds: 3, though one set is spread over 2 builds; expected 2 or 4."
    ]


def test_a_ratio_without_its_comparison_and_on_the_linear_scale():
    assert faults("detectable_ratio = 1.2", more=ASKED) == [
        "[extension] comparison: left out though a detectable ratio is given; expected 'a'."
    ]
    assert faults('comparison = "a"\ndetectable_ratio = 1.0', more=ASKED) == [
        "[extension] detectable_ratio: 1; expected a ratio other than 1, from 0.01 to 100."
    ]
    linear = brief('comparison = "a"\ndetectable_ratio = 1.2', more=ASKED).replace(
        "worthwhile_change_pct = 20", 'scale = "linear"\nworthwhile_change = 2'
    )
    with pytest.raises(BriefError) as told:
        reading.parse(linear)
    assert str(told.value).endswith(
        "[extension] detectable_ratio: given, though wear_mg is judged by differences (scale = 'linear'); expected "
        "left out. `wearbook size` tells the detectable difference of each plan."
    )


def test_levels_that_a_later_phase_adds_are_told_with_their_unit():
    speed = reading.parse(brief("replicates = 1", factors=NUMBERS, plan="replicates = 2\n")).factor("speed_rpm")
    assert speed.label_of("4414.21") == "4414.21 r/min"
    assert speed.label_of("centre") == "3000 r/min"
    assert speed.label_of("2000") == "2000 r/min"
