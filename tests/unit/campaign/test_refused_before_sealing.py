"""What could not be analysed later is refused before a plan is sealed."""

from __future__ import annotations

import shutil

import pytest

from tests.unit import briefs
from toolkit import shipped
from toolkit.brief import checks
from toolkit.campaign import folder, steps
from toolkit.errors import DesignError


def test_a_family_across_strata_is_planned(tmp_path):
    shutil.copytree(shipped.folder("data") / "sprocket-build", tmp_path / "c")
    path = tmp_path / "c" / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    marked = text.replace('direction = "smaller"', 'direction = "smaller"\nfamily = "both"')
    path.write_text(marked + '\n[families]\n"both" = { promise = "each", adjust = "multivariate_t" }\n')
    steps.plan(folder.open_campaign(tmp_path / "c"), phase="main")
    assert (tmp_path / "c" / "plan" / "1-main" / "plan.json").exists()


def test_a_pilot_that_counts_is_refused_where_builds_are_units():
    pilot = briefs.Pilot(({"sprocket": "S0", "oil": "O0"},), replicates=2, builds=2, use="block")
    assert [str(fault) for fault in checks.check(briefs.whole_plots(pilot=pilot))] == [
        "[pilot] use: 'block' though factor 'sprocket' is changed with the build; expected 'scatter'. A build of the "
        "pilot would count as one more unit of the main phase."
    ]


def test_a_plan_that_could_not_be_judged_is_refused_and_another_offered(tmp_path):
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    path = tmp_path / "c" / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("builds = 3 ", "builds = 1 "))
    with pytest.raises(DesignError) as told:
        steps.plan(folder.open_campaign(path), phase="main")
    assert str(told.value) == (
        "full factorial, 1 build of 4 runs: nothing is left to judge pin, oil, pin × oil by (0 degrees of freedom "
        "between runs). Take more builds or replicates in [plan], or declare an interaction nil if the trade "
        "knows that it is; `wearbook size` lists plans that can be judged."
    )
    assert not (tmp_path / "c" / "plan").exists()
