"""The ways on for lost runs: which can be taken, what they cost, and what they show.

Chances against the noncentral t of scipy on columns written by hand, averaged over the declared range of the scatter;
nothing is written and nothing is counted as a look.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from tests.unit.campaign import shop
from toolkit.campaign import log, ways_on
from toolkit.errors import CampaignError

FIVE = ("R01", "R02", "R03", "R04", "R06")
GAIN = -math.log(0.8)


@pytest.fixture
def campaign(tmp_path):
    """Six of twelve runs made, the fifth lost; a build lasts four runs."""
    made = shop.planned(tmp_path / "c", shop.BRIEF.replace('by = "build"', 'by = "build"\nmost_runs = 4'))
    shop.ran(made, *FIVE, lost=("R05",))
    return made


def by_hand(runs):
    """The chance that coating is shown by these runs (two-sided t at 0.05), the SD even over its declared range."""
    table = pd.DataFrame(runs)
    pin, oil = (table["pin"] == "P1").to_numpy(float), (table["oil"] == "O1").to_numpy(float)
    x = np.column_stack([pd.get_dummies(table["build_id"]).to_numpy(float), pin, oil, pin * oil])
    row = np.zeros(x.shape[1])
    row[-3:] = (1, 0, 0.5)
    df = len(x) - np.linalg.matrix_rank(x)
    size = math.sqrt(row @ np.linalg.pinv(x.T @ x) @ row)
    edge = stats.t.isf(0.025, df)
    low, high = (math.sqrt(math.log(1 + (cv / 100) ** 2)) for cv in (8, 12))

    def chance(sd):
        nc = GAIN / (sd * size)
        return stats.nct.sf(edge, df, nc) + stats.nct.cdf(-edge, df, nc)

    return integrate.quad(chance, low, high)[0] / (high - low), df


def test_each_way_tells_what_its_runs_show(campaign):
    before = {path: path.read_bytes() for path in campaign.folder.rglob("*") if path.is_file()}
    found = ways_on.options(campaign)
    assert {path: path.read_bytes() for path in campaign.folder.rglob("*") if path.is_file()} == before
    assert not [row for row in log.read(campaign.folder) if row["kind"] == log.LOOK]
    left = [row for row in shop.run_list(campaign) if row["run_id"] != "R05"]
    lost = next(row for row in shop.run_list(campaign) if row["run_id"] == "R05")
    sets = {
        "repeat": [*left, {**lost, "build_id": "B4"}],
        "replace": [*left, lost],
        "without": left,
    }
    assert [way.option for way in found.options] == list(sets)
    for way in found.options:
        chance, df = by_hand(sets[way.option])
        claim = next(item for item in way.claims if item.comparison == "coating")
        assert (way.refused, way.runs, way.lost) == ("", len(sets[way.option]), ("R05",))
        assert claim.error_df == df
        assert claim.assurance == pytest.approx(chance, abs=1e-4), way.option
    repeat, replace, without = found.options
    # A run alone in a block adds nothing; the replaced one makes the plan whole again.
    assert repeat.claims[0].assurance == pytest.approx(without.claims[0].assurance)
    assert replace.claims[0].assurance > without.claims[0].assurance
    assert repeat.notes == (
        "R13 alone in build B4 tells nothing of any comparison, since runs are compared within builds",
    )
    assert replace.notes == ("build B2 is then run 5 times, lost runs among them, and lasts 4 ([blocks] most_runs)",)
    # A run at 1,000, and 20 h at 50 for the build that is built for it.
    assert [(way.price.hours, way.price.cost) for way in found.options] == [(20, 2000), (0, 1000), (0, 0)]
    assert found.notes == (
        "wear_mg: no pilot, history or finished campaign tells it: the scatter is a guess (CV 8 to 12 %).",
    )


def test_runs_count_as_they_were_run(campaign):
    path = campaign.folder / "raw" / "runs.csv"
    rows = {row["run_id"]: row for row in shop.run_list(campaign)}
    other = {"P0": "P1", "P1": "P0"}[rows["R04"]["pin"]]
    path.write_text(path.read_text().replace(f"R04,main,B1,{rows['R04']['pin']}", f"R04,main,B1,{other}"))
    left = [{**row, "pin": other} if row["run_id"] == "R04" else row for row in rows.values() if row["run_id"] != "R05"]
    way = ways_on.options(campaign).options[2]
    chance, df = by_hand(left)
    claim = next(item for item in way.claims if item.comparison == "coating")
    assert (claim.error_df, claim.assurance) == (df, pytest.approx(chance, abs=1e-4))


def test_a_way_that_cannot_be_taken_says_why(campaign):
    shop.ran(campaign, *FIVE, "R07", "R08", "R09", lost=("R05",))
    found = ways_on.options(campaign)
    assert [bool(way.refused) for way in found.options] == [False, True, False]
    told = found.to_json()["options"][1]
    assert told["refused"] == "R05: build B2 is gone, since build B3 has begun"
    assert (told["runs"], told["cost"], told["claims"]) == (None, None, [])


def test_runs_that_will_not_be_made_can_be_asked_for(campaign):
    shop.ran(campaign, *FIVE, "R09", lost=())
    found = ways_on.options(campaign, runs=["R07", "R08"])
    repeat, replace, without = found.options
    assert repeat.added == ("B4", "B4")
    assert replace.refused == " ".join(
        f"--run {run}: it is not made yet and stands in the plan; expected a lost run. Make it where it stands, or ask "
        f"for repeat or without."
        for run in ("R07", "R08")
    )
    assert (without.runs, without.lost) == (10, ("R07", "R08"))


def test_without_a_lost_run_there_is_no_way_to_choose(campaign):
    shop.ran(campaign, *FIVE)
    with pytest.raises(CampaignError) as told:
        ways_on.options(campaign)
    assert "no run of the main phase is judged 'invalid' or 'not interpretable'" in str(told.value)


def test_whole_plots_that_would_not_be_balanced_are_a_way_on(tmp_path):
    made = shop.planned(tmp_path / "c", shop.WHOLE_PLOTS)
    shop.ran(made, "R01", lost=("R02",))
    repeat, replace, without = ways_on.options(made).options
    assert [option.refused for option in (repeat, replace, without)] == ["", "", ""]
    assert (repeat.added, without.added, without.runs) == (("B7",), (), 11)
    # Nothing is known of the scatter between builds yet: a declared CV tells that between runs.
    assert {option.claims[0].note for option in (repeat, replace, without)} == {
        "the scatter between builds is not known"
    }


def test_the_table_and_json_hold_what_was_found(campaign):
    found = ways_on.options(campaign)
    told = found.to_json()
    assert (told["campaign"], told["phase"], told["currency"]) == ("small", "main", "EUR")
    assert [row["option"] for row in told["options"]] == ["repeat", "replace", "without"]
    assert told["options"][0]["added_in_builds"] == ["B4"]
    claim = told["options"][1]["claims"][0]
    row = found.table.iloc[2]
    assert (row["option"], row["comparison"], row["assurance"]) == ("replace", "coating", claim["assurance"])
