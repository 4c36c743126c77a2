"""The page of a sealed plan says what its design can tell, from what was sealed alone."""

from __future__ import annotations

import math
import re
import shutil
from pathlib import Path

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import folder, looking, plan_tells, planning, verify
from toolkit.design import strata

COMPAT = Path(__file__).parents[2] / "compat"


def page_of(campaign) -> str:
    page = (campaign.folder / "plan" / "1-main" / "plan.html").read_text(encoding="utf-8")
    return page.replace("\u00a0", " ")


def tables_of(page: str) -> dict[str, list[list[str]]]:
    """The tables of a page by caption, head first."""
    made = {}
    for found in re.finditer(r"<table><caption>(.*?)</caption>(.*?)</table>", page, re.S):
        rows = re.findall(r"<tr.*?>(.*?)</tr>", found[2], re.S)
        made[found[1]] = [re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row, re.S) for row in rows]
    return made


def test_half_widths_efficiencies_and_coded_runs_stand_on_the_page(tmp_path):
    campaign = shop.planned(tmp_path / "c")
    page = page_of(campaign)
    [sealed] = [line for line in campaign.plan("main")["sizing"]["scatter"] if line["used"]]
    found = tables_of(page)
    head, coating, oil = found["How wide each interval will be"]
    assert head[:7] == ["comparison", "response", "judged between", "error df", "every run", "one run lost",
                        "two runs lost"]  # fmt: skip
    # 12 runs, 3 builds, 4 combinations: 6 df, two-sided 5 % t 2.447 (Student's table); means of 6 runs each.
    width = math.exp(2.4469 * sealed["sd"] * math.sqrt(1 / 6 + 1 / 6))
    assert coating[:5] == ["coating", "wear (mg)", "runs", "6", f"×/÷ {width:.2f}"]
    # As the report has it while nothing more is known of the scatter.
    report = planning.look_at(campaign, "main").widths.iloc[0]
    assert coating[5:7] == [f"×/÷ {report['one_lost']:.2f}", f"×/÷ {report['two_lost']:.2f}"]
    assert f"wear: SD of a run {100 * sealed['sd']:.3g} % (of ln), as sealed." in page
    assert "<li>Efficiency: D 100 %, A 100 %, G 100 %, I 100 % (4 parameters in 12 runs).</li>" in page
    assert "<li>Every main effect and interaction of two stands apart from every other.</li>" in page
    coded = found["The runs in coded units"]
    assert coded[0] == ["run", "build", "pin, coded", "oil, coded", "leverage"]
    by_run = {row["run_id"]: row for row in shop.run_list(campaign)}
    assert len(coded) == 13
    for run, build, pin, oil, leverage in coded[1:]:
        row = by_run[run]
        levels = (row["build_id"], {"P0": "−1", "P1": "+1"}[row["pin"]], {"O0": "−1", "O1": "+1"}[row["oil"]])
        # 6 parameters with the builds in 12 runs alike.
        assert (build, pin, oil) == levels and leverage == "0.50"


def test_it_stays_the_same_bytes_when_runs_are_on_record(tmp_path):
    campaign = shop.planned(tmp_path / "c")
    before = page_of(campaign)
    shop.ran(campaign, *(row["run_id"] for row in shop.run_list(campaign)))
    again = planning.plan(folder.open_campaign(campaign.folder), phase="main")
    assert page_of(campaign) == before
    # Half-widths stand on one line, and what a stratum does not have is a dash.
    assert page_of(campaign).count('<td class="n s">×/÷') == 4 * len(campaign.brief.comparisons)
    assert "<td>block: compared within, never an error</td><td>–</td><td>–</td>" in page_of(campaign)
    # Page and notebook head the list in the same words.
    assert '<th scope="col" class="k">planned order</th>' in page_of(campaign)
    head = re.findall(r"<th>(.*?)</th>", again._repr_html_())
    assert head[:4] == ["run", "phase", "build", "planned order"] and again.table.columns[0] == "run_id"


def test_a_plan_sealed_by_an_earlier_version_stays_whole_and_is_told_in_sds_where_units_hold_several_runs(tmp_path):
    shutil.copytree(COMPAT / "sealed-by-0.3" / "kept-fill", tmp_path / "c")
    campaign = folder.open_campaign(tmp_path / "c")
    assert "What this design can tell" not in page_of(campaign)
    held = campaign.plan("main")
    order = planning.sealed_order(campaign, "main", held)
    planning.write_beside(campaign, order, held)
    assert "What this design can tell" in page_of(campaign)
    assert "Told in SDs of the error that each comparison is judged by, from the design alone." in page_of(campaign)
    lines = verify.verify(folder.open_campaign(tmp_path / "c")).lines
    assert sum("fits its files and campaign.toml" in line for line in lines) == 1
    laid = strata.of_runs(campaign.brief, looking.counting(order, held))
    widths = looking.widths_of(laid, range(len(laid.runs)), None)
    told = tables_of(page_of(campaign))["How wide each interval will be"]
    assert [row[0] for row in told[1:]] == widths["comparison"].tolist()
    assert "± " in told[1][told[0].index("every run")] and "error SDs" in told[1][told[0].index("every run")]


@pytest.mark.parametrize("name", ["sealed-by-0.3/fraction", "sealed-by-0.4/incomplete-blocks"])
def test_terms_that_go_along_with_others_are_told(name, tmp_path):
    shutil.copytree(COMPAT / name, tmp_path / "c")
    campaign = folder.open_campaign(tmp_path / "c")
    held = campaign.plan("main")
    text = str(plan_tells.section(planning.sealed_order(campaign, "main", held), held))
    captions = list(tables_of(text))
    [pairs] = [caption for caption in captions if caption.startswith("Correlations of the terms")]
    rows = tables_of(text)[pairs]
    assert any(cell not in ("", "0") for row in rows[1:] for cell in row[1:])
    assert "cannot be told from" in text or "go along in part" in text
