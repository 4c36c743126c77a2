"""Positions of one engine in the brief: what is read, and every fault in full."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit import rings
from toolkit.brief import by_position, checks, reading
from toolkit.brief.model import Positions
from toolkit.errors import BriefError

NAMES = 'names = ["cyl 1", "cyl 2", "cyl 3", "cyl 4"]'


REST = (
    "  campaign.toml line 59: [cost] items no. 3, where.ring: 'ring' is changed from position to position, and this is "
    'paid per run; expected per = "position". Price it for each position.\n'
    "  campaign.toml line 65: [pilot] combinations no. 1, ring: 'ring' is changed from position to position: every run "
    "holds all its levels; expected levels of the factors of the whole run. Leave it out.\n"
    "  campaign.toml line 66: [extension]: an extension with positions; expected no [extension]. Plan the runs in "
    "[plan] from the start; an extension is not laid out over positions yet."
)


def refused(text: str) -> str:
    """What is said of a text that is not in order."""
    with pytest.raises(BriefError) as caught:
        reading.parse(text)
    return str(caught.value)


def test_positions_are_read_and_pass_the_checks_again() -> None:
    """The section, the factor, and the guess at the scatter between runs."""
    found = rings.brief()
    assert found.positions == Positions(("cyl 1", "cyl 2", "cyl 3", "cyl 4"))
    assert found.factor("ring").undo == "position"
    assert found.scatter.declared_run_cv_pct == (8.0, 12.0)
    assert checks.check(found) == []
    assert reading.canonical(found)["positions"] == {"names": ["cyl 1", "cyl 2", "cyl 3", "cyl 4"]}


def test_tables_of_runs_have_a_column_a_position() -> None:
    """Factors of whole runs keep their name; the columns are factors of their own to whoever reads tables."""
    found = rings.brief()
    held = ("ring@cyl 1", "ring@cyl 2", "ring@cyl 3", "ring@cyl 4")
    assert by_position.columns(found) == ("oil", "liner", *held)
    assert by_position.as_recorded(found).factor_names == ("oil", "liner", *held)
    assert by_position.run_combinations(found) == (("O0", "L0"), ("O0", "L1"), ("O1", "L0"), ("O1", "L1"))


def test_a_response_of_the_whole_run_is_judged_without_positions() -> None:
    """Iron in the oil answers what is asked of the oil, and says of the coating why it cannot."""
    found = rings.brief()
    iron = found.response("fe_ppm")
    judged = by_position.judged(found, iron)
    assert judged.factor_names == ("oil", "liner")
    assert [item.name for item in judged.comparisons] == ["new oil"]
    assert [(item.per, item.amount) for item in judged.cost.items] == [("run", 0.0), ("run", 360.0), ("run", 60.0)]
    untold = by_position.untold(found, iron)
    assert [item.name for item in untold] == ["coating one", "coating one in the new oil"]
    assert by_position.why_untold(found, iron, untold[0]) == (
        "not told by fe_ppm: the oil gathers the metal of all positions, and every run holds all levels of ring side "
        "by side, so that nothing of it can be attributed to one of them; readings at stations in the positions tell it"
    )
    assert by_position.untold(found, found.response("ring_loss_mg")) == ()


def test_stations_are_dealt_to_positions_in_order() -> None:
    """One ring a cylinder; of twelve places on liners the first three lie in the first cylinder."""
    found = rings.brief()
    rings_lie = by_position.position_of(found, found.response("ring_loss_mg"))
    assert rings_lie == {"RIN01": "cyl 1", "RIN02": "cyl 2", "RIN03": "cyl 3", "RIN04": "cyl 4"}
    liners = by_position.position_of(found, found.response("liner_wear_um"))
    assert [liners[f"LIN{at:02d}"] for at in (1, 3, 4, 12)] == ["cyl 1", "cyl 1", "cyl 2", "cyl 4"]


def test_all_that_does_not_fit_positions_is_told_at_once() -> None:
    """Numbers of positions, stations, entries elsewhere; the whole message."""
    text = (
        rings.TEXT.replace(NAMES, 'names = ["cyl 1", "cyl 2", "cyl 3"]')
        .replace('new_each_run = ["build",', 'new_each_run = ["position", "build",')
        .replace('{ per = "position", what = "coating"', '{ per = "run", what = "coating"')
    )
    text += '[pilot]\ncombinations = [ { oil = "O0", liner = "L0", ring = "R0" } ]\n[extension]\nreplicates = 1\n'
    assert refused(text) == (
        "campaign.toml is not in order (6 faults):\n"
        "  campaign.toml line 6: [campaign] new_each_run no. 1: 'position'; expected 'build', 'part', 'fill' or "
        "'setting'. Delete it: what is fitted to a position is new in every run.\n"
        "  campaign.toml line 20: [positions] names: 3 positions for 4 levels of 'ring'; expected 4 positions, or a "
        "multiple. Only then does every run hold each of them equally often, so that they are compared within the run. "
        "Leave levels out, or name the positions that are used.\n"
        "  campaign.toml line 23: response 'ring_loss_mg', stations.count: 4 stations in 3 positions; expected a "
        "multiple of 3. Count the stations of all positions together, the same number in each: 3 or 6.\n"
        + REST
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            f"[positions]\n{NAMES}\n",
            "",
            "line 9: factor 'ring', undo: 'position' though there are no positions; expected a section [positions]. "
            'Add [positions] with names = ["cyl 1", "cyl 2"], or say what else is undone.',
        ),
        (
            'undo = "position"',
            'undo = "part"',
            "line 19: [positions]: positions though no factor is changed with the position; expected a factor with "
            'undo = "position". Delete the section.',
        ),
        (
            NAMES,
            'names = ["cyl 1", "cyl 2", "cyl 1", "cyl 4"]',
            "line 20: [positions] names no. 3: position 'cyl 1' stands twice; expected each position once. Rename or "
            "delete one of them.",
        ),
        (
            "declared_run_cv_pct = [8, 12]",
            'declared_run_cv_pct = [8, 12]\n[[covariate]]\nname = "soot_pct"',
            "line 64: [[covariate]]: covariates with positions; expected factors that are changed with the run. A "
            "covariate has one slope between runs and another within them: not covered. Delete the section.",
        ),
        (
            '{ per = "run", what = "test cell and rebuild", hours = 180, rate = 120 }',
            '{ per = "change", of = "ring", what = "x", amount = 1 }',
            "line 57: [cost] items no. 1, of: 'ring' is changed from position to position in every run; expected a "
            'factor of the whole run. Price it with per = "position".',
        ),
    ],
)
def test_each_fault_in_full(old: str, new: str, told: str) -> None:
    """One thing wrong, told with its line."""
    said = refused(rings.TEXT.replace(old, new, 1))
    assert f"  campaign.toml {told}" in said.splitlines()


def test_metal_in_the_oil_cannot_be_primary_where_a_coating_is_asked_for() -> None:
    """It is pooled over the cylinders; the oil could be asked about."""
    text = rings.TEXT.replace('name = "ring_loss_mg"\n', 'name = "ring_loss_mg"\nrole = "secondary"\n')
    text = text.replace('name = "fe_ppm"\nrole = "secondary"', 'name = "fe_ppm"')
    assert refused(text) == (
        "campaign.toml is not in order (2 faults):\n"
        "  campaign.toml line 34: comparison 'coating one': asks about 'ring', and the primary response 'fe_ppm' "
        "cannot tell: metal in the oil is pooled over all positions; expected a primary response with stations. Make "
        "the readings in the positions primary, 'fe_ppm' secondary.\n"
        "  campaign.toml line 44: comparison 'coating one in the new oil': asks about 'ring', and the primary response "
        "'fe_ppm' cannot tell: metal in the oil is pooled over all positions; expected a primary response with "
        "stations. Make the readings in the positions primary, 'fe_ppm' secondary."
    )


def test_a_brief_without_positions_takes_no_guess_between_runs() -> None:
    """Its own guess is between runs already."""
    found = rings.brief()
    plain = replace(found, factors=found.factors[1:], positions=None, comparisons=found.comparisons[1:2],
                    cost=replace(found.cost, items=()))  # fmt: skip
    assert [(fault.where, fault.found, fault.remedy) for fault in checks.check(plain)] == [
        (
            "[scatter] declared_run_cv_pct",
            "a guess at the scatter between runs beside another",
            "Delete the line: declared_cv_pct is the scatter between runs.",
        )
    ]
