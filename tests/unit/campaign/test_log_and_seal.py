"""The chained log and the seals: what was changed is found and named."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest

from tests.unit import briefs
from toolkit.brief.model import Cost, Extension
from toolkit.campaign import log, seal, sealed_brief
from toolkit.design import factorial, orders
from toolkit.errors import CampaignError, IntegrityError, UseError

BRIEF = briefs.blocked()


def order(brief=BRIEF, phase="main"):
    design = factorial.pilot(brief) if phase == "pilot" else factorial.full(brief)
    return orders.randomise(design, seed=brief.seed)


def filled(tmp_path):
    for n in range(5):
        log.append(
            tmp_path, kind="look" if n % 2 else "sealed", phase="main", subject=str(n), what=f'row "{n}", with comma'
        )
    return tmp_path / "log.csv"


def test_rows_are_chained_and_the_records_head_passes_over_looks(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-01-02T03:04:05+02:00")
    filled(tmp_path)
    log.append(tmp_path, kind="look", subject="last")
    rows = log.read(tmp_path)
    assert [row["subject"] for row in rows] == ["0", "1", "2", "3", "4", "last"]
    assert rows[0]["at"] == "2026-01-02T01:04:05Z"
    assert log.records_head(rows)["subject"] == "4"
    assert log.log_head(rows) == rows[-1]["chain"]


def test_every_kind_of_tampering_with_the_log_is_found(tmp_path):
    path = filled(tmp_path)
    good = path.read_text()
    lines = good.splitlines(keepends=True)
    draw = random.Random(4)
    tampered = []
    for _ in range(40):
        at = draw.randrange(1, len(lines))
        place = draw.randrange(len(lines[at]) - 1)
        changed = "x" if lines[at][place] != "x" else "y"
        tampered.append("".join([*lines[:at], lines[at][:place] + changed + lines[at][place + 1 :], *lines[at + 1 :]]))
    tampered += [
        "".join([*lines[:2], *lines[3:]]),
        "".join([lines[0], lines[2], lines[1], *lines[3:]]),
        "".join([*lines[:3], lines[2], *lines[3:]]),
    ]
    for text in tampered:
        path.write_text(text)
        with pytest.raises(IntegrityError) as told:
            log.read(tmp_path)
        assert str(told.value).startswith("log.csv")
    path.write_text(good)
    assert len(log.read(tmp_path)) == 5


def test_a_plan_is_sealed_once_and_given_back_unchanged(tmp_path):
    first = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    bytes_before = {path.name: path.read_bytes() for path in (tmp_path / "plan" / "1-main").iterdir()}
    again = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    assert again["seal"] == first["seal"]
    assert {path.name: path.read_bytes() for path in (tmp_path / "plan" / "1-main").iterdir()} == bytes_before
    assert [(row["kind"], row["what"]) for row in log.read(tmp_path)] == [
        ("sealing", f"plan.json {first['plan_sha256']}"),
        ("sealed", f"{first['design']}: 12 runs"),
    ]
    other = orders.randomise(factorial.full(BRIEF), seed=99)
    with pytest.raises(CampaignError) as told:
        seal.write(tmp_path, other, sizing=None, data_exist=False)
    assert str(told.value) == (
        f"main: this phase is sealed already ({first['seal'][:12]}) and the plan asked for is another "
        f"one. A sealed plan is never overwritten. To change it: wearbook amend."
    )


def test_changed_bytes_of_a_sealed_plan_are_found(tmp_path):
    held = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    path = tmp_path / "plan" / "1-main" / "runs.csv"
    good = path.read_text()
    path.write_text(good.replace("P1", "P0", 1))
    with pytest.raises(IntegrityError) as told:
        seal.read(tmp_path, BRIEF, "main")
    assert str(told.value) == (
        f"plan/1-main: plan.json or runs.csv was changed after sealing (seal {held['seal'][:12]}). "
        f"Restore both from your backup."
    )
    path.write_text(good)
    assert seal.read(tmp_path, BRIEF, "main")["seal"] == held["seal"]


def test_a_log_without_the_line_of_the_seal_is_found(tmp_path):
    held = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    (tmp_path / "log.csv").unlink()
    with pytest.raises(IntegrityError) as told:
        seal.read(tmp_path, BRIEF, "main")
    assert str(told.value) == (
        f"log.csv: the line that records the seal {held['seal'][:12]} of the main phase is gone. Restore "
        f"the log from your backup."
    )


def test_a_brief_changed_since_its_seal_is_refused_with_the_keys(tmp_path):
    held = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    changed = briefs.blocked(alpha=0.10, question="another wording", plan=briefs.PlanChoice(builds=4))
    with pytest.raises(CampaignError) as told:
        seal.read(tmp_path, changed, "main")
    assert str(told.value) == (
        f"campaign.toml changed since the main phase was sealed ({held['seal'][:12]}): campaign.alpha, plan.builds. "
        f"Put the sealed values back (they stand in plan/1-main/plan.json), or take the change up with a reason: "
        f"`wearbook amend --phase main --reason ... --role ...`."
    )
    assert told.value.exit_code == 1
    labels = tuple(
        replace(item, levels=tuple(replace(level, label="reworded") for level in item.levels)) for item in BRIEF.factors
    )
    reworded = briefs.blocked(question="another wording", cost=Cost(currency="EUR", budget=1.0), factors=labels)
    assert seal.read(tmp_path, reworded, "main")["seal"] == held["seal"]


def test_a_pilot_is_sealed_without_what_is_decided_after_it(tmp_path):
    held = seal.write(tmp_path, order(phase="pilot"), sizing=None, data_exist=False)
    assert (tmp_path / "plan" / "0-pilot" / "plan.json").exists()
    later = briefs.blocked(plan=briefs.PlanChoice(builds=5), comparisons=BRIEF.comparisons[:1], power=0.9)
    assert seal.read(tmp_path, later, "pilot")["seal"] == held["seal"]
    main = seal.write(tmp_path, order(later), sizing=None, data_exist=True)
    assert main["earlier_seals"] == {"pilot": held["seal"]}
    assert main["sealed_after_records"] is True
    assert json.loads((tmp_path / "plan" / "1-main" / "plan.json").read_text())["seal"] == main["seal"]


def test_the_brief_as_it_was_sealed_comes_back_with_the_labels_and_costs_of_today(tmp_path):
    labels = tuple(
        replace(item, levels=tuple(replace(level, label=f"{level.name} told") for level in item.levels))
        for item in BRIEF.factors
    )
    was = briefs.blocked(alpha=0.01, factors=labels, cost=Cost(currency="EUR"))
    today = briefs.blocked(
        question="another wording", alpha=0.10, factors=labels, plan=briefs.PlanChoice(builds=4), cost=Cost("USD", 9.0)
    )
    for phase in ("pilot", "main", "extension"):
        sealed = sealed_brief.covered(was, phase)
        back = sealed_brief.brief_of(sealed, today)
        assert sealed_brief.covered(back, phase) == sealed
        assert (back.question, back.cost) == (today.question, today.cost)
        assert back.factors == labels
    assert sealed_brief.brief_of(sealed_brief.covered(was, "main"), today).alpha == 0.01
    # What is decided after a pilot is that of today.
    assert sealed_brief.brief_of(sealed_brief.covered(was, "pilot"), today).plan.builds == 4


def test_a_seal_of_the_main_phase_does_not_cover_the_extension_and_its_own_does(tmp_path):
    held = seal.write(tmp_path, order(), sizing=None, data_exist=False)
    later = briefs.blocked(extension=Extension(builds=2))
    assert seal.read(tmp_path, later, "main")["seal"] == held["seal"]
    assert "extension" not in held["brief"]
    assert sealed_brief.covered(later, "extension")["extension"]["builds"] == 2


@pytest.mark.parametrize(
    ("phase", "near"), [("mian", " Did you mean 'main'?"), ("Main", " Did you mean 'main'?"), ("2", ""), ("", "")]
)
def test_a_phase_that_does_not_exist_is_refused_with_those_that_do(tmp_path, phase, near):
    with pytest.raises(UseError) as refused:
        seal.exists(tmp_path, phase)
    expected = "'pilot', 'main' or 'extension'"
    assert str(refused.value) == f"phase '{phase}': there is no such phase; expected {expected}.{near}"
