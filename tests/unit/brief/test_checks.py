"""A brief built in Python passes and fails the same checks as one read from a file."""

import dataclasses
import random
from pathlib import Path

import numpy as np
import pytest

from toolkit.brief import checks, reading
from toolkit.brief.check_conditions import inside
from toolkit.brief.model import (
    Brief,
    Comparison,
    CostItem,
    Factor,
    Family,
    Held,
    KnownScatter,
    Level,
    Pilot,
    PlanChoice,
    Response,
    Stations,
)
from toolkit.errors import BriefError, Fault

TEXT = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")
BRIEF = reading.parse(TEXT)


def with_(path, value, brief=BRIEF):
    """A brief with one value put in place of another: ``factors.0.undo``."""
    first, _, rest = path.partition(".")
    if isinstance(brief, tuple):
        items = list(brief)
        items[int(first)] = with_(rest, value, items[int(first)]) if rest else value
        return tuple(items)
    if isinstance(brief, dict):
        return {**brief, first: value}
    return dataclasses.replace(brief, **{first: with_(rest, value, getattr(brief, first)) if rest else value})


# What is changed in Python, and the same change in the file.
SAME = {
    "undo": ("factors.1.undo", "fil", 'undo = "fill"', 'undo = "fil"'),
    "factor name": ("factors.1.name", "oil type", 'name = "oil"\nundo', 'name = "oil type"\nundo'),
    "seed": ("seed", -3, "= 20417", "= -3"),
    "seed of another kind": ("seed", True, "= 20417", "= true"),
    "seed as text": ("seed", "20417", "= 20417", '= "20417"'),
    "alpha": ("alpha", 0.5, "alpha    = 0.05", "alpha    = 0.5"),
    "power": ("power", float("nan"), "power    = 0.80", "power    = nan"),
    "new each run": ("new_each_run", ("part", "fil"), '"part", "fill"]', '"part", "fil"]'),
    "label": ("factors.0.levels.1.label", 3, '"nitride-coated"', "3"),
    "centre": ("factors.0.levels.1.name", "centre", 'P1 = "nitride', 'centre = "nitride'),
    "unit": ("held.1.name", "soot_percent", "soot_pct  ", "soot_percent  "),
    "role": ("responses.1.role", "primary", 'role = "secondary"', 'role = "primary"'),
    "per run": ("responses.1.per_run", "mean", 'name = "fe_ppm"', 'name = "fe_ppm"\nper_run = "mean"'),
    "stations": ("responses.0.stations.count", 0, "count = 10", "count = 0"),
    "states": ("responses.0.stations.states", ("before",), '"before", "after"', '"before"'),
    "worthwhile": ("responses.1.worthwhile_change_pct", 100, "_pct = 25", "_pct = 100"),
    "no worthwhile": ("responses.1.worthwhile_change_pct", None, "worthwhile_change_pct = 25", ""),
    "level": ("comparisons.0.of.pin", "P2", 'of = { pin = "P1" }', 'of = { pin = "P2" }'),
    "direction": ("comparisons.0.direction", "larger", '"smaller"       #', '"larger"       #'),
    "family": ("comparisons.3.family", "later", 'direction = "either"', 'direction = "either"\nfamily = "later"'),
    "promise": ("families.0.promise", "al", 'promise = "each"', 'promise = "al"'),
    "pilot": ("pilot.replicates", 0, "replicates = 2", "replicates = 0"),
    "combination": ("pilot.combinations.1.pin", "P0", '{ pin = "P1", oil = "O0" } ]', '{ pin = "P0", oil = "O0" } ]'),
    "design": ("plan.design", "half", '"full factorial"', '"half"'),
    "blocks": ("block_by", "day", 'by = "build"', 'by = "day"'),
    "nil": ("plan.nil_interactions", (("pin",),), "builds = 3 ", 'nil_interactions = [["pin"]]\nbuilds = 3 '),
    "window": ("held.0.window", (99.0, 98.0), "[98.5, 101.5]", "[99, 98]"),
    "limits": ("held.0.limits", (99.0, 101.0), "[94, 106]", "[99, 101]"),
    "bound": ("protocol.max.si_ppm", -1.0, "si_ppm = 20", "si_ppm = -1"),
    "run time": ("protocol.run_time_h.target", 0.0, "run_time_h = { target = 100", "run_time_h = { target = 0"),
    "budget": ("cost.budget", float("inf"), "240_000", "inf"),
    "lost": ("cost.lost_runs_pct", 95.0, "lost_runs_pct = 8", "lost_runs_pct = 95"),
    "item": ("cost.items.3.where.pin", "P7", 'where = { pin = "P1" }', 'where = { pin = "P7" }'),
    "cv": ("scatter.declared_cv_pct", (20.0, 10.0), "[10, 20]", "[20, 10]"),
    "history": ("scatter.history", "/etc/passwd", '"raw/rig-history.csv"', '"/etc/passwd"'),
}


def told_of(brief):
    """The faults of a brief, one text each."""
    return [str(fault) for fault in checks.check(brief)]


@pytest.mark.parametrize("name", SAME)
def test_python_and_file_are_told_the_same(name):
    path, value, old, new = SAME[name]
    assert TEXT.count(old) == 1
    with pytest.raises(BriefError) as caught:
        reading.parse(TEXT.replace(old, new))
    # Left out here: the file and the line, which a brief built in Python does not have.
    from_file = [line.split(": ", 1)[1] for line in str(caught.value).split("\n")[1:]]
    assert sorted(told_of(with_(path, value))) == sorted(from_file)


def test_a_fault_in_full():
    assert checks.check(with_("factors.1.undo", "fil")) == [
        Fault("factor 'oil', undo", "'fil'", "'build', 'part', 'fill', 'setting' or 'position'", "Did you mean 'fill'?")
    ]


def test_require_raises_with_every_fault():
    with pytest.raises(BriefError) as caught:
        checks.require(with_("seed", -1, with_("alpha", 0.0)))
    assert str(caught.value) == (
        "the brief is not in order (2 faults):\n"
        "  [campaign] seed: -1; expected a whole number from 0 up to 2^63 - 1.\n"
        "  [campaign] alpha: 0; expected more than 0 and less than 0.5."
    )


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (
            "factors.0.levels",
            (Level("P0"), Level("P0"), Level("P1")),
            "factor 'pin', level 'P0': level 'P0' stands twice; expected each level once. "
            "Rename or delete one of them.",
        ),
        (
            "held",
            (Held("soot_pct", 3.0, (2.7, 3.3)), Held("soot_pct", 3.0, (2.5, 3.5))),
            "[held] soot_pct: held variable 'soot_pct' stands twice; expected each held variable once. "
            "Rename or delete one of them.",
        ),
        (
            "families",
            (Family("may we switch"), Family("may we switch")),
            "[families] 'may we switch': family 'may we switch' stands twice; expected each family once. "
            "Rename or delete one of them.",
        ),
        (
            "factors.0.levels",
            (Level("P0", value=1.0), Level("P1")),
            "factor 'pin', levels: levels with and without a number; expected all of them numbers, or none.",
        ),
        (
            "held.0.name",
            None,
            "[held] no. 1: its name is nothing; expected a name in quotes.",
        ),
        (
            "plan.nil_interactions",
            (("pin", "oil"), ("oil", "pin")),
            "[plan] nil_interactions no. 2: oil × pin stands twice; expected each interaction once.",
        ),
        (
            "comparisons.0.worthwhile_change",
            -2.0,
            "comparison 'coating', worthwhile_change: -2; expected a number above 0. Give its size without a sign.",
        ),
        ("factors", {"pin": 1}, "[[factor]]: a table; expected a tuple of Factor."),
        ("plan", {"builds": 3}, "[plan]: a table; expected a PlanChoice."),
        (
            "plan",
            None,
            '[plan]: nothing; expected a section [plan] with design = "full factorial".',
        ),
        (
            "question",
            7,
            '[campaign] question: the number 7; expected the question in a sentence, in quotes. Write "7".',
        ),
    ],
)
def test_what_only_python_can_get_wrong(path, value, told):
    assert told in told_of(with_(path, value))


def test_a_numeric_level_is_named_by_its_number():
    load = Factor("load_Nm", "setting", (Level("low", value=80.0), Level("120", value=120.0)))
    brief = Brief("a", "b?", 1, (load,), (Response("wear_um", worthwhile_change_pct=20),))
    assert told_of(brief) == [
        "factor 'load_Nm', level 'low': 'low'; expected '80'. A numeric level is named by its number."
    ]


def test_a_brief_built_in_python_needs_no_folder():
    load = Factor("load_Nm", "setting", (Level("80", value=80), Level("120", value=120)))
    brief = Brief(
        id="loads",
        question="Which load?",
        seed=np.int64(3),
        factors=(load,),
        responses=(Response("wear_um", stations=Stations("tooth", 4), worthwhile_change_pct=np.float64(20)),),
        comparisons=(Comparison("load", {"load_Nm": "120"}, {"load_Nm": "80"}),),
        plan=PlanChoice(replicates=4, centre_points=2),
        pilot=Pilot(({"load_Nm": "80"},), replicates=4),
        scatter=KnownScatter((10, 20)),
    )
    assert checks.check(brief) == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("levels = [0.5, inf]", "factor 'gap_mm', level 'inf': the number inf; expected a finite number."),
        (
            "levels = [0.5, nan]",
            "factor 'gap_mm', level 'nan': the number nan; expected a finite number. "
            "Leave the key out where there is no number.",
        ),
        (
            "levels = [0.5, true]",
            "factor 'gap_mm', levels: a list not all of numbers; expected levels = "
            '{ P0 = "what it means", P1 = "..." }, or numbers: levels = [0.5, 3.0].',
        ),
        (
            "levels = []",
            "factor 'gap_mm', levels: an empty list; expected levels = "
            '{ P0 = "what it means", P1 = "..." }, or numbers: levels = [0.5, 3.0].',
        ),
        (
            "levels = [0.5]",
            "factor 'gap_mm', levels: 1 level; expected 2 to 12 levels. Hold a variable with one level in [held].",
        ),
    ],
)
def test_odd_numeric_levels(text, told):
    whole = (
        '[campaign]\nid = "a"\nquestion = "b?"\nseed = 1\n[[factor]]\nname = "gap_mm"\nundo = "setting"\n'
        f'{text}\n[[response]]\nname = "wear_um"\nworthwhile_change_pct = 20\n'
    )
    with pytest.raises(BriefError) as caught:
        reading.parse(whole)
    assert str(caught.value).split("\n")[1:] == [f"  campaign.toml line 8: {told}"]


def test_limits_of_what_is_taken():
    many = tuple(Comparison(f"c{at}", {"pin": "P1"}, {"pin": "P0"}) for at in range(41))
    assert "[[comparison]]: 41 comparisons; expected 40 at most." in told_of(
        dataclasses.replace(BRIEF, comparisons=many, families=())
    )
    responses = tuple(
        Response(f"r{at}_um", "secondary" if at else "primary", worthwhile_change_pct=20) for at in range(13)
    )
    assert told_of(dataclasses.replace(BRIEF, responses=responses)) == [
        "[[response]]: 13 responses; expected 12 at most."
    ]
    items = tuple(CostItem("run", "fuel", amount=1.0) for _ in range(201))
    assert told_of(with_("cost.items", items)) == ["[cost] items: 201 lines; expected 200 at most."]
    held = tuple(Held(f"h{at}_K", 1.0, (0.0, 2.0)) for at in range(41))
    assert told_of(dataclasses.replace(BRIEF, held=held)) == ["[held]: 41 held variables; expected 40 at most."]


def test_a_build_level_factor_may_have_builds_and_replicates():
    brief = with_("factors.0.undo", "build", dataclasses.replace(BRIEF, block_by=None))
    assert told_of(with_("plan.replicates", 2, brief)) == []
    assert told_of(with_("plan.centre_points", 2, brief)) == [
        "[plan] centre_points: 2; expected 0, because factor 'pin' is changed with the build."
    ]


# Ten hostile forms of a path, and more.
HOSTILE_PATHS = (
    "../rig.csv",
    "raw/../../rig.csv",
    "/etc/passwd",
    "/raw/rig.csv",
    "~/rig.csv",
    "~root/rig.csv",
    "C:\\rig.csv",
    "C:rig.csv",
    "raw\\rig.csv",
    "\\\\server\\share\\rig.csv",
    "raw/rig\x00.csv",
    "raw/rig.csv\n",
    "file:///raw/rig.csv",
    "https://example.org/rig.csv",
    "$HOME/rig.csv",
    "%TEMP%/rig.csv",
    "raw//rig.csv",
    "./rig.csv",
    "raw/.rig.csv",
    "raw/rig.csv.",
    "raw /rig.csv",
    "raw/rig.csv/",
    "raw/rig.xlsx",
    ".csv",
    "",
    "-rf.csv",
    "a" * 200 + ".csv",
    "raw/ri\u202eg.csv",
)


@pytest.mark.parametrize("path", HOSTILE_PATHS, ids=range(len(HOSTILE_PATHS)))
def test_hostile_paths_are_refused_with_the_name_of_the_key(path):
    (fault,) = checks.check(with_("scatter.history", path))
    assert fault.where == "[scatter] history"
    assert fault.found.endswith("is not a plain path to a .csv file in the campaign folder")
    assert "\n" not in str(fault) and "\x00" not in str(fault)


def test_plain_paths_are_taken():
    for path in ("rig.csv", "raw/rig-history.csv", "raw/2024/rig history.csv", "raw/v1.2/rig_history.csv"):
        assert inside(path)
        assert checks.check(with_("scatter.history", path)) == []


JUNK = (
    None,
    True,
    -1,
    0,
    3,
    10**400,
    2.5,
    float("nan"),
    float("inf"),
    "",
    " ",
    "x",
    "P0",
    "pin",
    b"x",
    "\ud800",
    (),
    (None,),
    (1, 2),
    ("x", None),
    [],
    ["x"],
    {},
    {"x": 1},
    {"pin": None},
    {1: 2},
    object(),
    Level("a"),
    PlanChoice(),
    np.nan,
    np.int64(2),
    np.array([1.0, 2.0]),
    lambda: None,
    Path("x"),
)


def slots(value, path=()):
    """Every attribute and item of a brief that something else can be put into."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield (*path, field.name)
            yield from slots(getattr(value, field.name), (*path, field.name))
    elif isinstance(value, tuple):
        for at, item in enumerate(value):
            yield (*path, str(at))
            yield from slots(item, (*path, str(at)))
    elif isinstance(value, dict):
        for key in value:
            yield (*path, key)


def test_junk_in_any_place_is_told_and_never_raises():
    draw = random.Random(3)
    places = [".".join(path) for path in slots(BRIEF)]
    assert len(places) > 150
    told = 0
    for place in places:
        for junk in draw.sample(JUNK, 6):
            faults = checks.check(with_(place, junk))
            assert all(isinstance(fault, Fault) for fault in faults)
            text = "\n".join(map(str, faults))
            assert "object at 0x" not in text and "Input should" not in text
            told += bool(faults)
    assert told > 4 * len(places)
