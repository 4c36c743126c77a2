"""From a file to a brief: what it holds, how it may be written, and what cannot be read at all."""

import json
import os
import random
import re
import tomllib
from pathlib import Path

import pytest

from toolkit import stamp
from toolkit.brief import checks, reading
from toolkit.brief.model import (
    BestOf,
    Brief,
    Comparison,
    Cost,
    CostItem,
    Covariate,
    Extension,
    Factor,
    Family,
    Held,
    KnownScatter,
    Level,
    OrderLimits,
    Pilot,
    PlanChoice,
    Positions,
    Protocol,
    Response,
    Sizing,
    Stations,
)
from toolkit.errors import BriefError

HERE = Path(__file__).parent
EXAMPLE = (HERE / "example.toml").read_text(encoding="utf-8")
TEMPLATE = HERE.parents[2] / "templates" / "campaign" / "campaign.toml"

SMALL = """\
[campaign]
id = "small"
question = "Is the load or the grade to blame?"
seed = 7
[[factor]]
name = "load_Nm"
undo = "setting"
levels = [80, 120.5]
[[factor]]
name = "grade"
undo = "setting"
levels = { G0 = "", G1 = "new" }
[[response]]
name = "mass_loss_mg"
scale = "linear"
worthwhile_change = 2
[[response]]
name = "cu_ppm"
role = "secondary"
per_run = "end"
worthwhile_change_pct = 30
[[comparison]]
name = "load"
of = { load_Nm = 120.5 }
against = { load_Nm = "80.0" }
worthwhile_change = 1.5
assumed_change = 3
[pilot]
combinations = [{ load_Nm = 80, grade = "G0" }, { load_Nm = "120.5", grade = "G1" }]
[plan]
replicates = 2
centre_points = 3
nil_interactions = [["load_Nm", "grade"]]
[cost]
items = [{ per = "run", what = "high load", amount = 5, where = { load_Nm = 120.50 } }]
"""


def seal(text):
    """The checksum of the brief a text holds."""
    return stamp.checksum(reading.canonical(reading.parse(text)))


def refused(path):
    """The message for a file that cannot be read."""
    with pytest.raises(BriefError) as caught:
        reading.read(path)
    return str(caught.value)


def test_the_example_in_full():
    # Copied by hand from the file.
    switch = "may we switch"
    asked = (
        Comparison("coating", {"pin": "P1"}, {"pin": "P0"}, (), "smaller", assumed_change_pct=26.0, family=switch),
        Comparison("new oil", {"oil": "O1"}, {"oil": "O0"}, (), "smaller", family=switch),
        Comparison(
            "both together", {"pin": "P1", "oil": "O1"}, {"pin": "P0", "oil": "O0"}, (), "smaller", family=switch
        ),
        Comparison("coating needs the new oil", interaction=("pin", "oil"), direction="either"),
    )
    stations = Stations("segment", 10, 2, ("before", "after"))
    assert reading.read(HERE / "example.toml") == Brief(
        id="chain-soot",
        question="Does the hard-coated pin, the new oil, or only both together, cut chain wear by at least 20 %, "
        "and how many runs do I book?",
        seed=20417,
        alpha=0.05,
        power=0.80,
        new_each_run=("part", "fill"),
        factors=(
            Factor("pin", "part", (Level("P0", "ground steel"), Level("P1", "nitride-coated"))),
            Factor("oil", "fill", (Level("O0", "current"), Level("O1", "new additive system, same grade"))),
        ),
        block_by="build",
        responses=(
            Response("elongation_pct", "primary", "smaller", "log", "mean", stations, 20.0),
            Response("fe_ppm", "secondary", "smaller", "log", "increase", None, 25.0),
        ),
        comparisons=asked,
        families=(Family("may we switch", "each", "none"),),
        pilot=Pilot(({"pin": "P0", "oil": "O0"}, {"pin": "P1", "oil": "O0"}), 2, 1, "scatter"),
        plan=PlanChoice("full factorial", 3),
        held=(
            Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),
            Held("soot_pct", 3.0, (2.7, 3.3)),
            Held("fuel_dilution_pct", 2.5, (1.5, 3.5)),
        ),
        protocol=Protocol(
            Held("run_time_h", 100.0, (99.0, 101.0)),
            {"downtime_h": 24.0, "channel_gap_h": 1.0, "carry_over_pct": 2.0, "si_ppm": 20.0},
        ),
        cost=Cost(
            "EUR",
            240000.0,
            8.0,
            (
                CostItem("run", "test cell", 110.0, 110.0),
                CostItem("run", "chain swap", 7.0, 70.0),
                CostItem("run", "flush, fill, chain, metrology, six oil samples", amount=1215.0),
                CostItem("run", "coating", amount=140.0, where={"pin": "P1"}),
                CostItem("build", "rebuild and kit", 24.0, 70.0, 900.0),
            ),
        ),
        scatter=KnownScatter((10.0, 20.0), "raw/rig-history.csv"),
    )


def test_numeric_factors_and_what_the_example_leaves_out():
    brief = reading.parse(SMALL)
    assert brief.factor("load_Nm").levels == (Level("80", "", 80.0), Level("120.5", "", 120.5))
    assert brief.factor("load_Nm").numeric and not brief.factor("grade").numeric
    assert brief.factor("load_Nm").label_of("80") == "80 N·m"
    # A number, a longer number and a number as text all stand for the level they equal.
    assert brief.comparisons[0].of == {"load_Nm": "120.5"}
    assert brief.comparisons[0].against == {"load_Nm": "80"}
    assert brief.pilot.combinations == ({"load_Nm": "80", "grade": "G0"}, {"load_Nm": "120.5", "grade": "G1"})
    assert brief.cost.items[0].where == {"load_Nm": "120.5"}
    assert (brief.comparisons[0].worthwhile_change, brief.comparisons[0].assumed_change) == (1.5, 3.0)
    assert brief.plan == PlanChoice("full factorial", 0, 2, 3, (("load_Nm", "grade"),))


def test_what_is_left_out():
    brief = reading.parse(SMALL)
    assert (brief.alpha, brief.power, brief.new_each_run, brief.block_by) == (0.05, 0.80, (), None)
    assert [item.per_run for item in brief.responses] == ["value", "end"]
    assert brief.responses[0].role == "primary" and brief.responses[0].better == "smaller"
    assert (brief.pilot.replicates, brief.pilot.builds, brief.pilot.use) == (2, 1, "scatter")
    assert brief.comparisons[0].direction == "either" and brief.comparisons[0].family is None
    assert (brief.held, brief.families, brief.protocol) == ((), (), Protocol())
    assert brief.scatter == KnownScatter() and brief.cost.budget is None


def test_what_is_read_passes_the_checks_again():
    assert checks.check(reading.parse(EXAMPLE)) == []
    assert checks.check(reading.parse(SMALL)) == []
    assert checks.require(reading.parse(SMALL)).id == "small"


def test_the_canonical_form_of_a_factor_and_its_sections():
    found = reading.canonical(reading.parse(SMALL))
    assert set(found) == {
        "campaign",
        "factor",
        "blocks",
        "response",
        "comparison",
        "best_of",
        "families",
        "pilot",
        "plan",
        "extension",
        "held",
        "protocol",
        "cost",
        "scatter",
        "received",
        "covariate",
        "oil",
        "oil_card",
        "traces",
        "master",
        "reference",
        "dyno_log",
        "old_data",
        "sizing",
        "order",
        "booking",
        "positions",
    }
    assert found["factor"][0] == {
        "name": "load_Nm",
        "undo": "setting",
        "levels": [
            {"name": "80", "label": "", "value": 80.0},
            {"name": "120.5", "label": "", "value": 120.5},
        ],
    }
    assert found["blocks"] is None
    assert found["campaign"]["alpha"] == 0.05
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_layout_remarks_and_the_order_of_keys_do_not_change_it():
    whole = tomllib.loads(EXAMPLE)
    shuffled = json.loads(json.dumps(whole))
    draw = random.Random(5)
    lines = []
    for section in draw.sample(sorted(shuffled), len(shuffled)):
        for table in shuffled[section] if isinstance(shuffled[section], list) else [shuffled[section]]:
            lines.append(f"[[{section}]]" if isinstance(shuffled[section], list) else f"[{section}]  # {section}")
            lines += [f"  {json.dumps(key)}={inline(table[key])}" for key in draw.sample(list(table), len(table))]
    assert seal("\n".join(lines)) == seal(EXAMPLE)
    assert seal(EXAMPLE.replace("\n", "\r\n")) == seal(EXAMPLE)
    assert seal(re.sub(r"#[^\n\"]*\n", "\n", EXAMPLE)) == seal(EXAMPLE)


def inline(value):
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return "{" + ",".join(f"{json.dumps(key)}={inline(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(inline(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("target = 100,", "target = 100.0,"),
        ("budget = 240_000", "budget = 2.4e5"),
        ('role = "primary"            # primary | secondary\n', ""),
        ('{ promise = "each", adjust = "none" }', "{}"),
        ('design = "full factorial"\n', "replicates = 0\n"),
        ('direction = "either"\n', ""),
    ],
)
def test_other_ways_to_write_the_same_do_not_change_it(old, new):
    assert old in EXAMPLE
    assert seal(EXAMPLE.replace(old, new)) == seal(EXAMPLE)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('{ P0 = "ground steel", P1 = "nitride-coated" }', '{ P1 = "nitride-coated", P0 = "ground steel" }'),
        ("ground steel", "turned steel"),
        ("seed     = 20417", "seed     = 20418"),
        ("limits = [94, 106]", "limits = [94, 107]"),
        ("builds = 3 ", "builds = 4 "),
        ("assumed_change_pct = 26", "assumed_change_pct = 27"),
    ],
)
def test_another_brief_changes_it(old, new):
    assert EXAMPLE.count(old) == 1
    assert seal(EXAMPLE.replace(old, new)) != seal(EXAMPLE)


def test_a_byte_order_mark_and_windows_lines_are_read(tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode())
    assert reading.read(path) == reading.parse(EXAMPLE)


def test_windows_lines_are_counted_like_others(tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_bytes(EXAMPLE.replace('undo = "fill"', 'undo = "fil"').replace("\n", "\r\n").encode())
    assert refused(path) == (
        "campaign.toml is not in order (1 fault):\n"
        "  campaign.toml line 16: factor 'oil', undo: 'fil'; expected 'build', 'part', 'fill', 'setting' or "
        "'position'. Did you mean 'fill'?"
    )


def test_files_that_cannot_be_read(tmp_path):
    path = tmp_path / "campaign.toml"
    assert refused(path) == (
        f"{path}: there is no such file; expected a brief. Run `wearbook new` for a blank campaign, or look at the "
        f"path."
    )
    assert refused(tmp_path) == f"{tmp_path}: a folder; expected the file campaign.toml. Name the file in it."
    path.write_bytes(EXAMPLE.encode("utf-8").replace(b"current", b"curr\xe9nt"))
    assert refused(path) == (
        "campaign.toml line 17: characters that are not UTF-8; expected a UTF-8 text file. Save the file again with "
        "the encoding UTF-8."
    )
    path.write_bytes(EXAMPLE.encode("utf-16"))
    assert refused(path) == (
        "campaign.toml line 1: characters that are not UTF-8; expected a UTF-8 text file. Save the file again with "
        "the encoding UTF-8."
    )


def test_a_loop_of_links_is_no_file(tmp_path):
    path = tmp_path / "campaign.toml"
    path.symlink_to(path)
    assert refused(path).startswith(f"{path}: cannot be opened (")
    assert refused(path).endswith("); expected a brief. Look at the rights on the file.")


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    folder = tmp_path / "campaign"
    (folder / "raw").mkdir(parents=True)
    path = folder / "campaign.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    assert reading.read(path).scatter.history == "raw/rig-history.csv"
    (tmp_path / "elsewhere.csv").write_text("secret", encoding="utf-8")
    os.symlink(tmp_path / "elsewhere.csv", folder / "raw" / "rig-history.csv")
    assert refused(path) == (
        "campaign.toml is not in order (1 fault):\n"
        "  campaign.toml line 94: [scatter] history: a link leads out of the campaign folder; expected a file inside "
        "it. Copy the table into the folder."
    )


def test_faults_are_told_without_lines_where_they_cannot_be_found(monkeypatch):
    def lost(text):
        raise IndexError

    monkeypatch.setattr(reading.lines, "of_keys", lost)
    with pytest.raises(BriefError) as caught:
        reading.parse(EXAMPLE.replace("count = 10", "count = 0"))
    assert str(caught.value) == (
        "campaign.toml is not in order (1 fault):\n"
        "  campaign.toml: response 'elongation_pct', stations.count: 0; expected a whole number from 1 to 500."
    )


def test_another_name_is_used_in_the_message():
    with pytest.raises(BriefError) as caught:
        reading.parse("[campaign]\nid = 3\n", where="the notebook's text")
    assert str(caught.value).split("\n")[:3] == [
        "the notebook's text is not in order (5 faults):",
        "  the notebook's text: the section [[factor]] is missing; expected [[factor]] with name, undo and levels.",
        "  the notebook's text: the section [[response]] is missing; expected [[response]] with a name.",
    ]


def test_spoilt_files_give_a_brief_or_one_clear_error():
    draw = random.Random(11)
    signs = "[]{}=\"',.#\n0aZ \\-_é\x00"
    refusals = 0
    for _ in range(400):
        text = list(EXAMPLE)
        for _ in range(draw.randint(1, 4)):
            at = draw.randrange(len(text))
            text[at : at + draw.choice([0, 1, 1, 5, 60])] = draw.choices(signs, k=draw.randint(0, 2))
        try:
            reading.parse("".join(text))
        except BriefError as error:
            refusals += 1
            told = str(error)
            head, *lines = told.split("\n")
            assert re.fullmatch(r"campaign\.toml is not in order \(\d+ faults?\):", head)
            assert lines
            assert all(re.match(r"  (campaign\.toml( line \d+)?: |\.\.\. and )", line) for line in lines)
            for leak in ("Traceback", "pydantic", "Input should", "None", "column ", "validation", "NaN"):
                assert leak not in told
    assert refusals > 200


def test_every_line_left_out_gives_a_brief_or_one_clear_error():
    rows = EXAMPLE.split("\n")
    told = 0
    for at in range(len(rows)):
        try:
            reading.parse("\n".join(rows[:at] + rows[at + 1 :]))
        except BriefError as error:
            told += 1
            assert str(error).startswith("campaign.toml is not in order (")
    assert told > 30


def test_the_blank_brief_is_valid_and_chooses_nothing():
    brief = reading.read(TEMPLATE)
    assert (brief.plan.builds, brief.plan.replicates) == (0, 0)
    assert checks.check(brief) == []


def test_the_blank_brief_explains_every_key():
    text = TEMPLATE.read_text(encoding="utf-8")
    keys = set()
    for name, table in reading.canonical(reading.parse(EXAMPLE)).items():
        keys.add(name)
        for one in table if isinstance(table, list) else [table or {}]:
            keys |= set(one)
    keys -= set(tomllib.loads(EXAMPLE)["held"]) | set(tomllib.loads(EXAMPLE)["families"])
    keys |= {"kind", "count", "readings", "states", "promise", "adjust", "target", "window", "limits", "max"}
    keys |= {"per", "what", "hours", "rate", "amount", "where", "of", "run_time_h", "order", "repeats"}
    keys |= {"factor", "gap_pct", "gap"}
    assert [key for key in sorted(keys) if not re.search(rf"\b{key}\b", text)] == []


REMARK = r"(?m)^# ((\[\[?[a-z_.]+\]\]?$|items = \[|  \{ per|\]|[a-z_]+ = |\"both changes\" = ).*)$"
OF_POSITIONS = ["[positions]", "names =", "declared_run_cv_pct ="]


def of_positions(row):
    """Whether a line of the blank brief is a remark that only holds with a factor of positions."""
    return any(row.startswith(f"# {start}") for start in OF_POSITIONS)


def test_the_blank_brief_holds_with_its_remarks_made_keys():
    rows = TEMPLATE.read_text(encoding="utf-8").split("\n")
    # Positions are apart, below; a table of old runs has no plan, so that its section cannot stand beside [order].
    rows = [row for row in rows if not of_positions(row) and row not in ("# [old_data]", "items = []")]
    text = re.sub(REMARK, r"\1", "\n".join(rows))
    brief = reading.parse(text)
    assert [item.family for item in brief.comparisons] == ["both changes", "both changes", None]
    assert brief.extension == Extension(builds=2)
    assert brief.covariates == (Covariate("soot_pct", 3.0),)
    assert (brief.oil.marker, brief.oil_cards[1].where) == ("mo_ppm", {"factor_b": "B1"})
    assert brief.best_of == (BestOf("factor_a", 20.0),)
    assert (brief.traces[0].response, brief.traces[0].worn) == ("profile_um", (2.0, 8.0))
    assert (brief.masters[0].value_sd, brief.reference.history) == (0.1, "raw/reference-runs.csv")
    assert len(brief.cost.items) == 5 and brief.cost.budget == 100000.0
    assert brief.scatter == KnownScatter(
        (10.0, 20.0), "raw/rig-history.csv", ("../my-campaign-1",), "stand 3, as rebuilt in May"
    )
    assert brief.sizing == Sizing("half-width", 15.0)
    assert brief.order == OrderLimits(0.2, 0.5)
    assert brief.protocol.not_interpretable == ("downtime_h",)
    assert (brief.dyno_log.gives, brief.dyno_log.sweeps.asked) == ({"downtime_h": "gaps"}, 6)
    assert (brief.booking.free_days, brief.booking.laboratory_in_days) == (("2026-05-14", "2026-05-25"), 10)


def test_the_blank_brief_holds_with_its_remarks_on_positions_made_keys():
    rows = TEMPLATE.read_text(encoding="utf-8").split("\n")
    assert sum(map(of_positions, rows)) == len(OF_POSITIONS)
    rows = [row[2:] if of_positions(row) or row.startswith("# declared_cv_pct =") else row for row in rows]
    text = "\n".join(rows).replace('name = "factor_a"\nundo = "part"', 'name = "factor_a"\nundo = "position"', 1)
    # A run of the pilot holds every level of such a factor side by side.
    text = text.replace('{ factor_a = "A0", factor_b = "B0" },\n  { factor_a = "A1", factor_b = "B0" }',
                        '{ factor_b = "B0" },\n  { factor_b = "B1" }')  # fmt: skip
    brief = reading.parse(text)
    assert brief.factors[0].undo == "position"
    assert brief.positions == Positions(("cyl 1", "cyl 2", "cyl 3", "cyl 4"))
    assert brief.scatter == KnownScatter((10.0, 20.0), declared_run_cv_pct=(5.0, 10.0))
