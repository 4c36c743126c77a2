"""A pilot with zero-hour samples below the limit, to the sealed plan: each place says that the scatter is a bound."""

from __future__ import annotations

import math

import pytest

from tests.unit.campaign import shop
from toolkit.campaign import folder, steps
from toolkit.cli import words
from toolkit.plot import scatter as scatter_plot
from toolkit.stamp import records

OIL = """[[response]]
name = "fe_ppm"
per_run = "increase"
worthwhile_change_pct = 20
"""
PILOT = """[pilot]
combinations = [ { pin = "P0", oil = "O0" } ]
replicates = 3

[plan]"""
BRIEF = (
    shop.BRIEF.replace('[[response]]\nname = "wear_mg"\nworthwhile_change_pct = 20\n', OIL)
    .replace("[plan]", PILOT)
    .replace("declared_cv_pct = [8, 12]\n", "")
)


def test_the_bound_stands_in_what_is_said_and_sealed(tmp_path):
    (tmp_path / "campaign.toml").write_text(BRIEF, encoding="utf-8")
    campaign = folder.open_campaign(tmp_path)
    steps.plan(campaign, phase="pilot")
    shop.ran(campaign, "P01", "P02", "P03", phase="0-pilot")
    runs = (tmp_path / "raw" / "runs.csv").read_text(encoding="utf-8")
    lines = [line.split(",") for line in runs.splitlines()]
    at = lines[0].index("wear_mg")
    text = "\n".join(",".join(line[:at] + line[at + 1 :]) for line in lines)
    (tmp_path / "raw" / "runs.csv").write_text(text + "\n", encoding="utf-8")
    oil = "P01,A,0,<1 P01,B,100,20 P02,C,0,<1 P02,D,100,22 P03,E,0,0.6 P03,F,100,21"
    oil = "run_id,sample_id,at_h,fe_ppm\n" + oil.replace(" ", "\n") + "\n"
    (tmp_path / "raw" / "oil.csv").write_text(oil, encoding="utf-8")
    campaign = folder.open_campaign(tmp_path)
    steps.plan(campaign, phase="main")
    [line] = campaign.plan("main")["sizing"]["scatter"]
    # Of 19 to 20, 21 to 22 and 20.4 the ends 19 and 22 scatter most; 20, 21 and 20.4 least. SD of three logarithms.
    most, least = ([math.log(value) for value in values] for values in ((19, 22, 20.4), (20, 21, 20.4)))
    for name, logs in (("sd", most), ("sd_at_least", least)):
        mean = sum(logs) / 3
        assert line[name] == pytest.approx(math.sqrt(sum((one - mean) ** 2 for one in logs) / 2), rel=1e-6)
    assert (line["bound"], line["df"], line["used"]) == (True, 2, True)
    page = (tmp_path / "plan" / "1-main" / "plan.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert (
        f"SD of a run at most {100 * line['sd']:.3g} % (of ln), as sealed: values of the pilot lie below the "
        f"laboratory&#39;s limit, so that the widths are the most too."
    ) in page
    sized = steps.size(campaign)
    told = words.sized(sized)
    assert f"at most {line['sd']:.3g}" in told
    assert "note: fe_ppm: the scatter of the pilot is a bound. Of its 3 runs P01 and P02 are only known to lie" in told
    assert "doubt in the pilot's scatter, which is taken as the most that values below the limit allow;" in told
    assert "even if the scatter is as large as taken." in told
    assert "note: the scatter is a bound; shares that grow with it are the most that they can be" in told
    assert sized.to_json()["scatter"] == records(sized.scatter) == [line]
    text = scatter_plot.alt_scatter(sized.scatter, campaign.brief, response="fe_ppm")
    assert f"pilot, run: at most {100 * line['sd']:.2g} %" in text
