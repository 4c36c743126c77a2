"""Which keys of a sealed brief an amendment takes up: each refusal is told by name, with why."""

from __future__ import annotations

import pytest

from tests.unit.campaign import shop
from tests.unit.campaign.test_amend import FIVE, refusal
from toolkit.campaign import amend, folder, log, seal, steps
from toolkit.errors import CampaignError

PILOT = '[pilot]\ncombinations = [ { pin = "P0", oil = "O0" } ]\nreplicates = 2\n\n[plan]'


@pytest.fixture
def campaign(tmp_path):
    """Six of twelve runs made, the fifth lost."""
    made = shop.planned(tmp_path / "c")
    shop.ran(made, *FIVE, lost=("R05",))
    return made


NEVER = "changed since the seal; expected as it was sealed. No amendment takes it up: "


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'id = "small"',
            'id = "other"',
            f"campaign.toml: campaign.id: {NEVER}sheets and codes that were issued carry it.",
        ),
        (
            "seed = 7",
            "seed = 8",
            f"campaign.toml: campaign.seed: {NEVER}every order that was drawn follows from it, and another one could "
            f"be chosen for its order.",
        ),
        (
            '["part", "fill"]',
            '["part", "fill", "setting"]',
            f"campaign.toml: campaign.new_each_run: {NEVER}it decides what the unit of a factor is, and runs were made "
            f"under it.",
        ),
        (
            'undo = "fill"',
            'undo = "setting"',
            "campaign.toml: factor oil, undo: 'setting'; expected 'fill'. It decides which unit the factor is judged "
            "against, and runs were made under it.",
        ),
        (
            '{ P0 = "plain", P1 = "coated" }',
            '{ P1 = "coated", P0 = "plain" }',
            "campaign.toml: factor pin, levels: in another order; expected the order they were sealed in.",
        ),
        (
            '{ P0 = "plain", P1 = "coated" }',
            '{ P2 = "lapped", P0 = "plain", P1 = "coated" }',
            "campaign.toml: factor pin, levels: the baseline is P2; expected P0. Every comparison is against it.",
        ),
    ],
)
def test_what_runs_rest_on_is_never_changed(campaign, old, new, words):
    changed = shop.rewritten(campaign, old, new)
    assert refusal(changed) == [words]


def test_a_factor_more_is_another_campaign(campaign):
    more = '[[factor]]\nname = "ring"\nundo = "part"\nlevels = { K0 = "old", K1 = "new" }\n\n[blocks]'
    changed = shop.rewritten(campaign, "[blocks]", more)
    assert refusal(changed) == [
        "campaign.toml: the factors: are pin, oil, ring; expected pin, oil. Runs were made without the new one or with "
        "the old one: start a new campaign folder."
    ]


def test_runs_are_compared_within_what_they_were_planned_in(campaign):
    changed = shop.rewritten(campaign, '[blocks]\nby = "build"\n\n', "", "builds = 3", "replicates = 3")
    assert refusal(changed)[0] == (
        f"campaign.toml: blocks: {NEVER}it decides what runs are compared within, and runs were made under it."
    )


THREE = '{ P0 = "plain", P1 = "coated", P2 = "lapped" }'


def test_a_level_that_was_run_stays_and_one_that_was_not_can_go(tmp_path):
    made = shop.planned(tmp_path / "c", shop.BRIEF.replace('{ P0 = "plain", P1 = "coated" }', THREE))
    table = shop.run_list(made)
    first = [row["run_id"] for row in table if row["build_id"] == "B1"]
    shop.ran(made, *first)
    lapped = [row["run_id"] for row in table if row["build_id"] == "B1" and row["pin"] == "P2"]
    fewer = shop.rewritten(made, ', P2 = "lapped"', "")
    assert refusal(fewer) == [
        f"campaign.toml: factor pin, level P2: taken out, though {', '.join(sorted(lapped))} ran it; expected the "
        f"levels that were run. Take it out of the comparisons instead, or let it stand."
    ]
    made = shop.planned(tmp_path / "d", shop.BRIEF.replace('{ P0 = "plain", P1 = "coated" }', THREE))
    (made.folder / "raw").mkdir()
    fewer = shop.rewritten(made, ', P2 = "lapped"', "")
    plan = amend.amend(fewer, **shop.ROLE).plan
    assert plan["changed"] == ["factor[1].levels"]
    assert {row["pin"] for row in shop.run_list(fewer)} == {"P0", "P1"}
    assert (plan["redrawn"], len(plan["dropped"])) == ([], 6)


def test_a_level_run_by_mistake_is_a_level_that_was_run(tmp_path):
    made = shop.planned(tmp_path / "c", shop.BRIEF.replace('{ P0 = "plain", P1 = "coated" }', THREE))
    first = next(row for row in shop.run_list(made) if row["pin"] != "P2")
    shop.ran(made, first["run_id"])
    path = made.folder / "raw" / "runs.csv"
    path.write_text(path.read_text().replace(f",{first['pin']},", ",P2,", 1))
    fewer = shop.rewritten(made, ', P2 = "lapped"', "")
    assert refusal(fewer)[0].startswith(
        f"campaign.toml: factor pin, level P2: taken out, though {first['run_id']} ran it"
    )


def test_a_level_more_goes_into_builds_that_are_not_gone(campaign):
    more = shop.rewritten(campaign, '{ P0 = "plain", P1 = "coated" }', THREE)
    made = amend.amend(more, **shop.ROLE)
    assert made.plan["added"] == ["R13", "R14", "R15", "R16"]
    by_build = {build: sum(row["build_id"] == build for row in shop.run_list(more)) for build in ("B1", "B2", "B3")}
    assert by_build == {"B1": 4, "B2": 6, "B3": 6}
    assert made.notes == ("build B1 is gone, since build B2 has begun: its runs stay as they are",)


ASKED = (
    ("alpha", "seed = 7\n", "seed = 7\nalpha = 0.1\n", "campaign.alpha"),
    ("a comparison", 'name = "new oil"', 'name = "the new oil"', "comparison[2].name"),
    (
        "the worthwhile change",
        "worthwhile_change_pct = 20",
        "worthwhile_change_pct = 30",
        "response[1].worthwhile_change_pct",
    ),
    ("a window", "window = [98, 102]", "window = [97, 103]", "held.sump_temp_degC.window[1]"),
    ("the run time", "window = [99, 101]", "window = [98, 102]", "protocol.run_time_h.window[1]"),
    ("an interaction", "builds = 3", 'builds = 3\nnil_interactions = [["pin", "oil"]]', "plan.nil_interactions"),
)


@pytest.mark.parametrize(("what", "old", "new", "key"), ASKED, ids=[item[0] for item in ASKED])
def test_what_is_asked_and_how_it_is_judged_can_be_changed_until_results_are_seen(campaign, what, old, new, key):
    changed = shop.rewritten(campaign, old, new)
    before = (campaign.folder / "plan/1-main/runs.csv").read_bytes()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
        head = log.look(campaign.folder, phase="main", subject="x", counted="6 of 12", seen={"R01": "valid"})
    found = refusal(changed)
    assert found[0] == (
        f"campaign.toml: {key}: changed since the seal, and results were looked at on 2026-03-02; expected as it was "
        f"sealed. What is asked, and how it is judged, stays as it was once results were seen."
    )
    # The same before that look.
    path = campaign.folder / "log.csv"
    lines = path.read_text().splitlines(keepends=True)
    assert head in lines[-1]
    path.write_text("".join(lines[:-1]))
    plan = amend.amend(changed, **shop.ROLE).plan
    assert key in plan["changed"]
    assert (campaign.folder / "plan/1-main/runs.csv").read_bytes() == before
    assert (plan["redrawn"], plan["moved"]) == ([], [])
    assert seal.read(changed.folder, changed.brief, "main")["seal"] == plan["seal"]


def test_size_and_what_only_sizes_can_be_changed_after_a_look(campaign):
    log.look(campaign.folder, phase="main", subject="x", counted="6 of 12", seen={"R01": "valid"})
    changed = shop.rewritten(campaign, "builds = 3", "builds = 4")
    changed = shop.rewritten(changed, "[8, 12]", "[8, 20]")
    changed = shop.rewritten(changed, "seed = 7", "seed = 7\npower = 0.9")
    plan = amend.amend(changed, **shop.ROLE).plan
    assert plan["changed"] == ["campaign.power", "plan.builds", "scatter.declared_cv_pct[2]"]
    assert plan["looks_before"] == 1


def test_all_that_cannot_be_taken_up_is_told_at_once(campaign):
    changed = shop.rewritten(campaign, "seed = 7", "seed = 8")
    changed = shop.rewritten(changed, 'undo = "fill"', 'undo = "setting"')
    changed = shop.rewritten(changed, "builds = 3", "builds = 4")
    assert [line.partition(":")[2].partition(":")[0].strip() for line in refusal(changed)] == [
        "campaign.seed",
        "factor oil, undo",
    ]


def test_whether_a_pilot_counts_is_never_changed_and_the_pilot_is_amended_by_itself(tmp_path):
    text = shop.BRIEF.replace("[plan]", PILOT)
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "campaign.toml").write_text(text)
    campaign = folder.open_campaign(tmp_path / "c")
    steps.plan(campaign, phase="pilot")
    steps.plan(campaign, phase="main")
    counts = shop.rewritten(campaign, "replicates = 2", 'replicates = 2\nuse = "block"')
    assert refusal(counts, phase="main") == [
        f"campaign.toml: pilot.use: {NEVER}whether the pilot counts was to be said before it was run."
    ]
    campaign = shop.rewritten(counts, '\nuse = "block"', "")
    more = shop.rewritten(campaign, "replicates = 2", "replicates = 3")
    assert refusal(more, phase="main") == [
        "campaign.toml: pilot.replicates: changed since the seal; expected as it was sealed. The pilot is a phase of "
        "its own: `wearbook amend --phase pilot`."
    ]
    made = amend.amend(more, phase="pilot", **shop.ROLE)
    assert made.plan["added"] == ["P03"]
    assert made.plan["sizing"] is None
    # The seal of the main phase holds the pilot too; it accepts what an amendment of the pilot took up.
    assert seal.read(more.folder, more.brief, "main")["phase"] == "main"
    other = shop.rewritten(more, "replicates = 3", "replicates = 4")
    with pytest.raises(CampaignError) as told:
        seal.read(other.folder, other.brief, "main")
    assert "pilot.replicates" in str(told.value)


def test_a_change_taken_up_by_one_phase_is_known_to_the_seals_of_the_others(tmp_path):
    text = shop.BRIEF.replace("[plan]", PILOT)
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "campaign.toml").write_text(text)
    campaign = folder.open_campaign(tmp_path / "c")
    steps.plan(campaign, phase="pilot")
    steps.plan(campaign, phase="main")
    wider = shop.rewritten(campaign, "window = [98, 102]", "window = [97, 103]")
    with pytest.raises(CampaignError) as told:
        seal.read(wider.folder, wider.brief, "pilot")
    assert str(told.value).startswith("campaign.toml changed since the pilot phase was sealed (")
    amend.amend(wider, phase="main", **shop.ROLE)
    held = seal.read(wider.folder, wider.brief, "pilot")
    # The pilot was run under its own windows.
    assert held["brief"]["held"]["sump_temp_degC"]["window"] == [98.0, 102.0]
    still = shop.rewritten(wider, "window = [97, 103]", "window = [96, 104]")
    with pytest.raises(CampaignError):
        seal.read(still.folder, still.brief, "pilot")


def test_phases_that_were_amended_apart_are_each_read_by_their_own_seal(campaign):
    later = shop.rewritten(campaign, "[held]", "[extension]\nbuilds = 1\n\n[held]")
    steps.plan(later, phase="extension")
    wider = shop.rewritten(later, "window = [98, 102]", "window = [97, 103]")
    taken = amend.amend(wider, phase="extension", **shop.ROLE).plan
    assert taken["changed"] == ["held.sump_temp_degC.window[1]", "held.sump_temp_degC.window[2]"]
    # The main phase is amended under its own windows, and the extension goes on under its own.
    plan = amend.amend(wider, phase="main", lost="without", **shop.ROLE).plan
    assert plan["brief"]["held"]["sump_temp_degC"]["window"] == [98.0, 102.0]
    assert plan["changed"] == []
    assert wider.plan("extension")["seal"] == taken["seal"]
    assert wider.plan("main")["seal"] == plan["seal"]
    steps.analysis_of(wider)


def test_an_amended_pilot_hides_no_change_from_the_main_phase(tmp_path):
    text = shop.BRIEF.replace("[plan]", PILOT)
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "campaign.toml").write_text(text)
    campaign = folder.open_campaign(tmp_path / "c")
    steps.plan(campaign, phase="pilot")
    steps.plan(campaign, phase="main")
    wider = shop.rewritten(campaign, "window = [98, 102]", "window = [97, 103]")
    amend.amend(wider, phase="pilot", **shop.ROLE)
    with pytest.raises(CampaignError) as told:
        seal.read(wider.folder, wider.brief, "main")
    assert str(told.value).startswith("campaign.toml changed since the main phase was sealed (")
    amend.amend(wider, phase="main", **shop.ROLE)
    assert seal.read(wider.folder, wider.brief, "main")["brief"]["held"]["sump_temp_degC"]["window"] == [97.0, 103.0]
