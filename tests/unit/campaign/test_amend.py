"""Amending a sealed plan: what stays, what is drawn anew and told, the chain of seals, and what is refused by name."""

from __future__ import annotations

import json

import pytest

from tests.unit.campaign import shop
from toolkit import stamp
from toolkit.campaign import amend, log, plan_json, seal, steps, verify
from toolkit.errors import CampaignError, IntegrityError

FIVE = ("R01", "R02", "R03", "R04", "R06")


@pytest.fixture
def campaign(tmp_path):
    """Six of twelve runs made, the fifth lost."""
    made = shop.planned(tmp_path / "c")
    shop.ran(made, *FIVE, lost=("R05",))
    return made


def rows(campaign):
    """The run list by run."""
    return {row["run_id"]: row for row in shop.run_list(campaign)}


def told(campaign, kind):
    """The rows of the log of a kind."""
    return [row for row in log.read(campaign.folder) if row["kind"] == kind]


def refusal(campaign, **asked):
    """Why an amendment is refused; nothing may have been written."""
    before = {path: path.read_bytes() for path in campaign.folder.rglob("*") if path.is_file() and path.name[0] != "."}
    with pytest.raises(CampaignError) as stopped:
        amend.amend(campaign, **{**shop.ROLE, **asked})
    after = {path: path.read_bytes() for path in campaign.folder.rglob("*") if path.is_file() and path.name[0] != "."}
    assert before == after
    first, _, rest = str(stopped.value).partition("\n")
    assert first == "The plan cannot be amended so; nothing was written."
    return [line.strip() for line in rest.split("\n")]


def test_a_lost_run_is_replaced_and_only_its_build_is_drawn_anew(campaign):
    before = rows(campaign)
    made = amend.amend(campaign, lost="replace", **shop.ROLE)
    after = rows(campaign)
    assert {run: after[run] for run in (*FIVE, "R05")} == {run: before[run] for run in (*FIVE, "R05")}
    assert set(after) - set(before) == {"R13"}
    assert {key: after["R13"][key] for key in ("build_id", "pin", "oil")} == {
        key: before["R05"][key] for key in ("build_id", "pin", "oil")
    }
    assert [row["build_id"] for row in shop.run_list(campaign)] == ["B1"] * 4 + ["B2"] * 5 + ["B3"] * 4
    assert [int(row["planned_order"]) for row in shop.run_list(campaign)] == list(range(1, 14))
    plan = json.loads((campaign.folder / "plan/1-main/plan.json").read_text())
    assert plan["lost"] == [{"run_id": "R05", "choice": "replace", "instead": "R13", "amendment": 1}]
    assert sorted(plan["redrawn"]) == ["R07", "R08", "R13"]
    assert plan["moved"] == ["R09", "R10", "R11", "R12"]
    assert plan["stayed"] == ["R01", "R02", "R03", "R04", "R05", "R06"]
    assert plan["amendment_seed"] == [7, 1, 1, 1]
    assert (plan["reason"], plan["role"]) == ("the hose burst", "test engineer")
    assert made.to_json()["amendment"] == 1
    assert made.table["run_id"].tolist() == [row["run_id"] for row in shop.run_list(campaign)]
    # 12 runs count: 12 less 3 builds less 3 effects.
    assert [item["error_df"] for item in plan["strata"]] == [None, 6]
    assert plan["sizing"]["option"]["runs"] == 12


def test_what_was_drawn_anew_is_told_in_the_log_before_and_after(campaign):
    held = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    begun, done = told(campaign, log.AMENDING), told(campaign, log.AMENDED)
    assert len(begun) == len(done) == 1
    for row in (*begun, *done):
        assert (row["phase"], row["subject"], row["reason"], row["role"]) == (
            "main",
            held["seal"],
            "the hose burst",
            "test engineer",
        )
    said = log.told(begun[0])
    assert said["added"] == ["R13"]
    assert said["redrawn"] == held["redrawn"]
    assert said["moved"] == ["R09", "R10", "R11", "R12"]
    assert said["replaces"] == held["replaces"]
    assert said["plan_sha256"] == held["plan_sha256"]
    assert log.told(done[0]) == {
        "amendment": 1,
        "runs": 13,
        "design": "full factorial, 3 builds of 4 runs; amendment 1",
    }
    assert held["log_row"] == begun[0]["chain"]


def test_the_old_plan_is_kept_whole_and_every_seal_verifies(campaign):
    target = campaign.folder / "plan" / "1-main"
    old = {name: (target / name).read_bytes() for name in ("plan.json", "runs.csv", "plan.html")}
    first = json.loads(old["plan.json"])["seal"]
    one = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    assert {name: (target / "amended-1" / name).read_bytes() for name in old} == old
    assert one["replaces"] == first
    changed = shop.rewritten(campaign, "builds = 3", "builds = 4")
    two = amend.amend(changed, **shop.ROLE).plan
    assert two["replaces"] == one["seal"]
    assert two["changed"] == ["plan.builds"]
    plans = seal.versions(campaign.folder, "main")
    assert [item["seal"] for item in plans] == [first, one["seal"], two["seal"]]
    assert [item.get("amendment", 0) for item in plans] == [0, 1, 2]
    # Recomputed from the bytes on disk.
    for folder, plan in ((target / "amended-1", plans[0]), (target / "amended-2", plans[1]), (target, plans[2])):
        runs = (folder / "runs.csv").read_bytes().decode()
        whole = plan_json.seal_of(plan["brief"], "main", runs, plan["earlier_seals"], plan_json.amendment_of(plan))
        assert whole == plan["seal"]
        assert plan["runs_sha256"] == stamp.checksum(runs)
    verify.verify(changed)
    kept = target / "amended-1" / "runs.csv"
    kept.write_bytes(kept.read_bytes().replace(b"P1", b"P0", 1))
    with pytest.raises(IntegrityError) as stopped:
        seal.versions(campaign.folder, "main")
    assert str(stopped.value) == (
        f"plan/1-main/amended-1: plan.json or runs.csv was changed after sealing (seal {first[:12]}). Restore both "
        f"from your backup."
    )


def test_a_reason_changed_by_hand_breaks_the_seal(campaign):
    amend.amend(campaign, lost="without", **shop.ROLE)
    path = campaign.folder / "plan" / "1-main" / "plan.json"
    path.write_bytes(path.read_bytes().replace(b"the hose burst", b"the hose held!"))
    with pytest.raises(IntegrityError):
        seal.kept(campaign.folder, "main")


def test_the_same_amendment_of_two_copies_gives_the_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    found = []
    for name in ("a", "b"):
        campaign = shop.planned(tmp_path / name)
        shop.ran(campaign, *FIVE, lost=("R05",))
        amend.amend(campaign, lost="replace", **shop.ROLE)
        found.append(
            {
                path.relative_to(campaign.folder).as_posix(): path.read_bytes()
                for path in sorted(campaign.folder.rglob("*"))
                if path.is_file() and path.name[0] != "."
            }
        )
    assert found[0] == found[1]
    assert "plan/1-main/blank/runs-amended-1.csv" in found[0]


def test_without_changes_no_row_and_counts_one_run_less(campaign):
    before = (campaign.folder / "plan/1-main/runs.csv").read_bytes()
    plan = amend.amend(campaign, lost="without", **shop.ROLE).plan
    assert (campaign.folder / "plan/1-main/runs.csv").read_bytes() == before
    assert (plan["redrawn"], plan["moved"], plan["added"], plan["dropped"]) == ([], [], [], [])
    assert [item["error_df"] for item in plan["strata"]] == [None, 5]
    assert plan["sizing"]["option"]["runs"] == 11
    assert not list((campaign.folder / "plan/1-main/blank").glob("*amended*"))


def test_a_run_that_is_set_up_is_kept(campaign):
    before = rows(campaign)
    plan = amend.amend(campaign, lost="replace", keep=["R07"], **shop.ROLE).plan
    assert rows(campaign)["R07"] == before["R07"]
    assert "R07" in plan["stayed"] and "R07" not in plan["redrawn"]
    assert refusal(campaign, lost="without", keep=["R77"]) == [
        "--keep R77: no such run; expected a run of the plan of the main phase. Did you mean 'R07'?"
    ]


def test_runs_on_record_that_are_not_judged_stay_too(campaign):
    shop.ran(campaign, *FIVE, lost=("R05",), late=("R08",))
    before = rows(campaign)
    plan = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    assert rows(campaign)["R08"] == before["R08"]
    assert "R08" in plan["stayed"]


def test_a_blank_line_of_a_run_is_no_record_of_it(campaign):
    path = campaign.folder / "raw" / "runs.csv"
    path.write_text(path.read_text() + "R07,main,,,,,,,,,pending,,\n")
    assert "R07" in amend.amend(campaign, lost="replace", **shop.ROLE).plan["redrawn"]


def test_every_fault_of_what_is_asked_is_told_at_once(campaign):
    amend.amend(campaign, lost="replace", **shop.ROLE)
    shop.ran(campaign, *FIVE, lost=("R05",), late=("R08",))
    assert refusal(campaign, lost="replace", runs=["R05", "R03", "R99", "R08", "R12"]) == [
        "--run R05: dealt with by amendment 1 (replace, as R13); expected another lost run.",
        "--run R03: judged valid; expected a lost run. Judge it first: wearbook note CAMPAIGN R03 --verdict invalid "
        "--reason TEXT --role ROLE.",
        "--run R99: no such run; expected a run of the plan of the main phase. Did you mean 'R09'?",
        "--run R08: it has records and is not judged; expected a lost run. Judge it first: wearbook note CAMPAIGN R08 "
        "--verdict invalid --reason TEXT --role ROLE.",
        "--run R12: it is not made yet and stands in the plan; expected a lost run. Make it where it stands, or ask "
        "for repeat or without.",
    ]
    assert refusal(campaign, lost="again", runs=["R05"], reason=" ", role="a\nb") == [
        "--reason: blank; expected why.",
        "--role: line ends, signs that do not print, or more than 1000 characters; expected one line of text.",
        "--lost: 'again'; expected 'repeat', 'replace' or 'without'.",
    ]
    assert refusal(campaign, runs=["R05"]) == [
        "--run: without --lost; expected --lost with 'repeat', 'replace' or 'without'."
    ]
    assert refusal(campaign, lost="repeat", runs=["R07"], keep=["R07"]) == [
        "--run R07: named by --keep too; expected a run that is lost, or one that is set up."
    ]


def test_nothing_to_amend_is_said(campaign):
    assert refusal(campaign) == [
        "nothing in campaign.toml changed that the seal of the main phase covers. Change it first, or say what is to "
        "be done for lost runs with --lost."
    ]
    shop.ran(campaign, *FIVE)
    assert refusal(campaign, lost="repeat") == [
        "no run of the main phase is judged 'invalid' or 'not interpretable' that was not dealt with already. Judge it "
        "first (`wearbook note`), or name runs that will not be made with --run."
    ]


def test_a_build_that_is_gone_takes_no_run(campaign):
    shop.ran(campaign, *FIVE, "R07", "R08", "R09", lost=("R05",))
    assert refusal(campaign, lost="replace") == [
        "R05: build B2 is gone, since build B3 has begun. `wearbook amend --options` shows the ways on."
    ]


def test_lost_runs_and_changed_keys_are_two_amendments(campaign):
    changed = shop.rewritten(campaign, "builds = 3", "builds = 4")
    assert refusal(changed, lost="repeat") == [
        "campaign.toml changed since the seal: plan.builds. Take that up by an amendment of its own first, without "
        "--lost, or put the sealed values back."
    ]
    amend.amend(changed, **shop.ROLE)
    plan = amend.amend(changed, lost="repeat", **shop.ROLE).plan
    # The fourth build is the last one and has room; its runs are drawn anew with the repeat among them.
    assert rows(changed)["R17"]["build_id"] == "B4"
    assert plan["amendment"] == 2
    assert sorted(plan["redrawn"]) == ["R13", "R14", "R15", "R16", "R17"]
    third = shop.rewritten(changed, "builds = 4", "builds = 5")
    last = amend.amend(third, **shop.ROLE).plan
    assert last["builds_of_design"] == {f"B{at}": f"B{at}" for at in range(1, 6)}
    assert last["added"] == ["R18", "R19", "R20", "R21"]
    verify.verify(third)


def test_a_repeat_in_a_build_of_its_own_is_no_build_of_the_design(tmp_path):
    campaign = shop.planned(tmp_path / "c", shop.BRIEF.replace('by = "build"', 'by = "build"\nmost_runs = 4'))
    shop.ran(campaign, *FIVE, lost=("R05",))
    made = amend.amend(campaign, lost="repeat", **shop.ROLE)
    assert rows(campaign)["R13"]["build_id"] == "B4"
    assert made.notes == (
        "R13 alone in build B4 tells nothing of any comparison, since runs are compared within builds",
    )
    assert made.plan["redrawn"] == ["R13"] and made.plan["moved"] == []
    more = shop.rewritten(campaign, "builds = 3", "builds = 4")
    plan = amend.amend(more, **shop.ROLE).plan
    assert {rows(more)[run]["build_id"] for run in plan["added"]} == {"B5"}
    assert plan["builds_of_design"] == {"B1": "B1", "B2": "B2", "B3": "B3", "B4": "B5"}
    less = shop.rewritten(more, "builds = 4", "builds = 3")
    back = amend.amend(less, **shop.ROLE)
    assert sorted(back.plan["dropped"]) == ["R14", "R15", "R16", "R17"]
    assert "R13" in rows(less)
    assert back.notes == (
        f"{', '.join(back.plan['dropped'])}: no longer planned; lines of them in tables in raw/ would stand there as "
        f"runs that wait for a verdict: take them out",
    )


def test_plan_gives_an_amended_plan_back_unchanged(campaign):
    amend.amend(campaign, lost="replace", **shop.ROLE)
    target = campaign.folder / "plan" / "1-main"
    before = {path: path.read_bytes() for path in target.rglob("*") if path.is_file()}
    (target / "plan.html").unlink()
    again = steps.plan(campaign, phase="main")
    assert {path: path.read_bytes() for path in target.rglob("*") if path.is_file()} == before
    assert again.to_json()["amendment"] == 1
    assert again.to_json()["runs"] == 13
    assert len(told(campaign, log.AMENDED)) == 1


def test_completely_randomised_runs_are_repeated_behind_all(tmp_path):
    campaign = shop.planned(tmp_path / "c", shop.RANDOMISED)
    shop.ran(campaign, *FIVE, lost=("R05",))
    before = rows(campaign)
    amend.amend(campaign, lost="repeat", **shop.ROLE)
    after = rows(campaign)
    assert {run: after[run] for run in before} == before
    assert after["R13"]["planned_order"] == "13"
    # A later one among the rest leaves the repeat behind all.
    shop.ran(campaign, *FIVE, lost=("R05", "R07"))
    plan = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    assert [row["run_id"] for row in shop.run_list(campaign)][-1] == "R13"
    assert "R13" not in plan["redrawn"]
    assert sorted(plan["redrawn"]) == ["R08", "R09", "R10", "R11", "R12", "R14"]


def test_whole_plots_take_the_lost_run_again_in_its_place_and_further_builds(tmp_path):
    campaign = shop.planned(tmp_path / "c", shop.WHOLE_PLOTS)
    shop.ran(campaign, "R01", lost=("R02",))
    plan = amend.amend(campaign, lost="replace", **shop.ROLE).plan
    assert plan["redrawn"] == ["R13"]
    more = shop.rewritten(campaign, "builds = 6", "builds = 8")
    later = amend.amend(more, **shop.ROLE).plan
    table = shop.run_list(more)
    by_build = {row["build_id"]: {r["pin"] for r in table if r["build_id"] == row["build_id"]} for row in table}
    assert all(len(pins) == 1 for pins in by_build.values())
    assert sum(pins == {"P1"} for pins in by_build.values()) == 4
    assert {run["run_id"] for run in table[:3]} == {"R01", "R02", "R13"}
    assert set(later["redrawn"]) == {run["run_id"] for run in table[3:]}
    verify.verify(more)


def test_the_analysis_tells_of_amendments_and_of_those_after_a_look(campaign, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    amend.amend(campaign, lost="replace", **shop.ROLE)
    steps.analyse(campaign)
    later = shop.rewritten(campaign, "builds = 3", "builds = 4")
    amend.amend(later, reason="more money", role="lead engineer")
    notes = steps.analysis_of(later).notes
    assert "amendment 1 of the main phase (test engineer): the hose burst" in notes
    assert (
        "amendment 2 of the main phase (lead engineer): more money; results had been looked at before it (first on "
        "2026-03-02)"
    ) in notes
