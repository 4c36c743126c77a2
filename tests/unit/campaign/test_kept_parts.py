"""A campaign whose parts are kept over several runs goes the whole way: plan, sheets, records, answers.

INVENTED. The numbers: the analysis of variance of a split plot in blocks by sums of squares of means (textbook).
"""

from __future__ import annotations

import csv
import json
import math
import shutil

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from toolkit import sheetfile
from toolkit.campaign import amend, folder, further, sheets, status, steps, ways_on
from toolkit.errors import IntakeError

BRIEF = """\
[campaign]
id       = "kept-pins"
question = "INVENTED: do coated pins, kept over several fills, wear less, and with which oil?"
seed     = 5
new_each_run = ["fill"]
[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "plain", P1 = "coated" }
[[factor]]
name = "oil"
undo = "fill"
levels = { A0 = "reference", A1 = "new", A2 = "newer" }
[blocks]
by = "build"
[[response]]
name = "elongation_um"
role = "primary"
better = "smaller"
scale = "log"
per_run = "value"
worthwhile_change_pct = 20
[[comparison]]
name = "coated pin"
of = { pin = "P1" }
against = { pin = "P0" }
[[comparison]]
name = "new oil"
of = { oil = "A1" }
against = { oil = "A0" }
[[comparison]]
name = "both"
of = { pin = "P1", oil = "A1" }
against = { pin = "P0", oil = "A0" }
[plan]
design = "full factorial"
builds = 5
[protocol]
run_time_h = { target = 60, window = [59, 61] }
[scatter]
declared_cv_pct = [8, 20]
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """The campaign, planned, with the lines of its blank table filled in."""
    root = tmp_path_factory.mktemp("kept")
    (root / "campaign.toml").write_text(BRIEF)
    campaign = folder.open_campaign(root)
    steps.plan(campaign, phase="main")
    with (root / "plan" / "1-main" / "blank" / "runs.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    draw = np.random.default_rng(3)
    held: dict[tuple[str, ...], float] = {}
    for row in rows:
        between = sum(
            held.setdefault(key, draw.normal(0.0, 0.1))
            for key in ((row["build_id"],), (row["build_id"], row["part_set_id"]))
        )
        effect = -0.25 * (row["pin"] == "P1") - 0.15 * (row["oil"] == "A1")
        value = math.exp(math.log(700.0) + between + effect + draw.normal(0.0, 0.08))
        row.update(
            actual_order=row["planned_order"], run_time_h="60", elongation_um=f"{value:.2f}", verdict="valid"
        )
    return root, rows


def recorded(planned, tmp_path, change=None):
    """A copy of the campaign with its records, changed before they are written."""
    root, rows = planned
    copy = tmp_path / "c"
    shutil.copytree(root, copy)
    lines = [dict(row) for row in rows]
    if change is not None:
        change(lines)
    (copy / "raw").mkdir(exist_ok=True)
    with (copy / "raw" / "runs.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(lines[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(lines)
    return folder.open_campaign(copy), lines


def test_the_plan_and_the_blank_table_name_the_sets(planned):
    root, rows = planned
    with (root / "plan" / "1-main" / "runs.csv").open(newline="") as file:
        plan = list(csv.DictReader(file))
    assert list(plan[0])[:5] == ["run_id", "phase", "build_id", "part_set_id", "planned_order"]
    assert [row["part_set_id"] for row in plan] == ["1", "1", "1", "2", "2", "2"] * 5
    assert [row["part_set_id"] for row in rows] == [row["part_set_id"] for row in plan]
    told = json.loads((root / "plan" / "1-main" / "plan.json").read_text())
    assert [(row["stratum"], row["units"], row["error_df"]) for row in told["strata"]] == [
        ("build", 5, None),
        ("part", 10, 4),
        ("run", 30, 16),
    ]
    assert "<th scope=\"col\" class=\"k\">set of parts</th>" in (root / "plan" / "1-main" / "plan.html").read_text()


def test_answers_are_those_of_a_split_plot_in_blocks(planned, tmp_path):
    campaign, rows = recorded(planned, tmp_path)
    found = steps.analyse(campaign)
    told = found.to_json()
    json.dumps(told, allow_nan=False)
    data = pd.DataFrame(rows).assign(y=[math.log(float(row["elongation_um"])) for row in rows])
    means = data.pivot_table(values="y", index="build_id", columns="pin")
    apart = (means["P1"] - means["P0"]).to_numpy()
    lines = {row["term"]: row for row in told["responses"]["elongation_um"]["anova"]}
    # Two whole plots a block: F is the square of the paired t of their differences.
    t = stats.ttest_1samp(apart, 0.0)
    assert lines["pin"]["f"] == pytest.approx(t.statistic**2, rel=1e-9)
    assert lines["pin"]["p_value"] == pytest.approx(t.pvalue, rel=1e-9)
    assert (lines["pin"]["error_stratum"], lines["pin"]["error_df"]) == ("part", 4)
    asked = {row["comparison"]: row for row in told["responses"]["elongation_um"]["comparisons"]}
    assert asked["coated pin"]["estimate"] == pytest.approx(math.exp(apart.mean()), rel=1e-9)
    assert asked["coated pin"]["std_error"] == pytest.approx(apart.std(ddof=1) / math.sqrt(5), rel=1e-9)
    within = data["y"] - data.groupby(["build_id", "part_set_id"])["y"].transform("mean")
    oil = within.groupby(data["oil"]).mean()
    cells = within.groupby([data["pin"], data["oil"]]).transform("mean")
    square = float(((within - cells) ** 2).sum()) / 16
    assert lines["oil"]["f"] == pytest.approx(10 * float((oil**2).sum()) / 2 / square, rel=1e-9)
    assert (lines["oil"]["error_stratum"], lines["oil"]["error_df"]) == ("run", 16)
    assert (asked["both"]["error_stratum"], asked["both"]["df"]) == ("part and run", pytest.approx(6.03, abs=0.01))
    parts = {row["source"]: row for row in told["responses"]["elongation_um"]["variance_components"]}
    between = 3 * float(apart.var(ddof=1)) / 2
    assert parts["part"]["variance"] == pytest.approx((between - square) / 3, rel=1e-8)
    assert parts["part"]["note"] == "between sets of parts of the same level, less the share of the runs"
    exact = {row["comparison"]: row["sentence"] for row in told["responses"]["elongation_um"]["beside"]["exact"]}
    # The sets of five builds change places: 2 ** 5 orders.
    assert exact["coated pin"] == (
        "coated pin: 2 of 32 orders differ as much (p = 0.0625; the smallest here is 0.062)"
    )


def test_a_set_that_was_changed_half_way_is_another_unit(planned, tmp_path):
    def broke(rows):
        third = [row for row in rows if row["build_id"] == "B2" and row["part_set_id"] == "1"][2]
        third["part_set_id"] = "1b"

    campaign, rows = recorded(planned, tmp_path, broke)
    found = steps.analyse(campaign)
    told = found.to_json()
    json.dumps(told, allow_nan=False)
    item = told["responses"]["elongation_um"]
    assert item["notes"][3] == (
        "sets of parts B2/1, B2/1b do not hold the same combinations as the other sets of parts: scatter between sets "
        "of parts and between runs by restricted maximum likelihood, standard errors and df by Kenward and Roger in "
        "place of exact mean squares"
    )
    row = item["comparisons"][0]
    assert row["error_stratum"] == "part" and 4.0 < row["df"] < 5.0
    changed = next(line["run_id"] for line in rows if line["part_set_id"] == "1b")
    assert [(line["run_id"], line["column"], line["found"], line["expected"]) for line in told["findings"]] == [
        (changed, "part_set_id", "1b", "1")
    ]
    differs = {line["run_id"]: line["differs"] for line in told["as_run"]["runs"] if line["differs"] != "as planned"}
    assert differs == {changed: "set of parts 1b, planned 1"}


def test_a_pin_that_changed_within_its_set_stops_with_what_to_do(planned, tmp_path):
    def wrong(rows):
        rows[0]["pin"] = "P0" if rows[0]["pin"] == "P1" else "P1"

    campaign, rows = recorded(planned, tmp_path, wrong)
    found = steps.analyse(campaign)
    other = "P0 and P1" if rows[0]["pin"] == "P0" else "P1 and P0"
    assert found.responses["elongation_um"].stopped == (
        f"set of parts 'B1/1': factor 'pin' changes within the set of parts ({other}) though changing it means a new "
        f"set of parts. Give the runs after the change a part_set_id of their own."
    )


def test_a_judged_run_needs_its_set(planned, tmp_path):
    def blank(rows):
        rows[4]["part_set_id"] = ""

    campaign, _ = recorded(planned, tmp_path, blank)
    with pytest.raises(IntakeError) as told:
        steps.analyse(campaign)
    assert str(told.value).split("\n")[1] == (
        "  raw/runs.csv line 6, column part_set_id: the cell is blank; expected the id of the set of parts that ran. "
        "Write the planned one, if that is what ran; of a file taken in before, note it: wearbook note CAMPAIGN R05 "
        "--column part_set_id --value WHAT --reason TEXT --role ROLE."
    )


def test_run_sheets_name_the_set_and_a_code_for_each_run(planned, tmp_path):
    root, _ = planned
    copy = tmp_path / "c"
    shutil.copytree(root, copy)
    sheets.issue(folder.open_campaign(copy))
    with (copy / "plan" / "1-main" / "parts.csv").open(newline="") as file:
        code = {row["run_id"]: row["part_id"] for row in csv.DictReader(file)}
    # Metrology must not see that it is the same set again: each run has a code of its own.
    assert code["R01"] != code["R02"]
    for run, told in (
        ("R01", "1: a new one starts with this run"),
        ("R02", "1: keep it"),
        ("R04", "2: a new one starts with this run"),
        ("R07", "1: a new one starts with this run"),
    ):
        content = (copy / "runsheets" / "1-main" / f"{run}.xlsx").read_bytes()
        texts = [str(cell.value) for sheet in sheetfile.read(content, where=run) for cell in sheet.cells]
        assert texts[texts.index("build: set of parts") + 1] == told
        at = texts.index("Set of parts that runs")
        assert texts[at + 1 : at + 3] == ["part_set_id", f"planned: {told[0]}"]
        assert f"{code[run]} for this run (the set of parts has a code of its own in every run)" in texts


def test_a_lost_run_on_a_kept_set_may_be_gone_on_without(planned, tmp_path):
    def lost(rows):
        rows[4].update(verdict="invalid", reason="hose burst", role="test engineer", elongation_um="")

    campaign, _ = recorded(planned, tmp_path, lost)
    amend.amend(campaign, lost="without", reason="hose burst", role="test engineer")
    campaign = folder.open_campaign(campaign.folder)
    assert not any("lost" in line for line in status.status(campaign).next)
    table = further.next_runs(campaign).table
    # Further runs come as whole builds, which an extension plans.
    assert set(table["where"]) <= {"a new build"}


def test_a_lost_run_on_a_kept_set_is_made_again_on_a_set_of_its_own(planned, tmp_path):
    def lost(rows):
        rows[4].update(verdict="invalid", reason="hose burst", role="test engineer", elongation_um="")

    campaign, rows = recorded(planned, tmp_path, lost)
    assert "see what can be done about lost runs: wearbook amend CAMPAIGN --options" in status.status(campaign).next
    ways = {way.option: way for way in ways_on.options(campaign).options}
    assert ways["replace"].refused == "R05: build B1 is gone, since build B2 has begun"
    assert ways["repeat"].notes == (
        "R31: set of parts B5/3 is set up for it; alone there it is one more set of parts to judge by, and tells next "
        "to nothing of what changes within one (oil)",
    )
    assert ways["without"].refused == "" and ways["repeat"].runs == ways["without"].runs + 1 == 30
    made = amend.amend(campaign, lost="repeat", reason="hose burst", role="test engineer")
    last = made.table.iloc[-1]
    assert (last["run_id"], last["build_id"], last["part_set_id"]) == ("R31", "B5", "3")
    assert (last["pin"], last["oil"]) == (rows[4]["pin"], rows[4]["oil"])
    # The run is made; the answers are generalised least squares at the variances of restricted maximum likelihood.
    path = campaign.folder / "raw" / "runs.csv"
    with path.open(newline="") as file:
        lines = list(csv.DictReader(file))
    more = {**lines[4], **{name: str(last[name]) for name in ("run_id", "build_id", "part_set_id")}}
    more |= {"actual_order": "31", "verdict": "valid", "reason": "", "role": "", "elongation_um": "555.5"}
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(lines[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows([*lines, more])
    campaign = folder.open_campaign(campaign.folder)
    assert not any("lost" in line for line in status.status(campaign).next)
    told = steps.analyse(campaign).to_json()["responses"]["elongation_um"]
    assert told["stopped"] is None
    strata = {line["stratum"]: line["units"] for line in told["strata"]}
    assert (strata["part"], strata["run"]) == (11, 30)
    kept = [line for line in [*lines, more] if line["verdict"] == "valid"]
    _check_generalised_least_squares(kept, told)


def _check_generalised_least_squares(kept, told):
    """The three comparisons as least squares weighed by the covariance matrix of all runs, its ratio by REML."""
    y = np.array([math.log(float(row["elongation_um"])) for row in kept])
    sets = np.array([row["build_id"] + "/" + row["part_set_id"] for row in kept])
    builds = pd.factorize(np.array([row["build_id"] for row in kept]))[0]
    cells = sorted({(row["pin"], row["oil"]) for row in kept})
    own = np.array([[float((row["pin"], row["oil"]) == cell) for cell in cells] for row in kept])
    columns = np.hstack([own, np.eye(5)[builds][:, 1:]])

    def fitted(ratio):
        """Coefficients and the restricted log likelihood at a ratio of the variances of sets and runs."""
        weight = np.linalg.inv(ratio * (sets[:, None] == sets[None, :]) + np.eye(len(kept)))
        information = columns.T @ weight @ columns
        beta = np.linalg.solve(information, columns.T @ weight @ y)
        rest = y - columns @ beta
        df = len(y) - columns.shape[1]
        logs = np.linalg.slogdet(weight)[1] - np.linalg.slogdet(information)[1]
        return beta, 0.5 * (logs - df * math.log(rest @ weight @ rest))

    found = optimize.minimize_scalar(lambda log: -fitted(math.exp(log))[1], bounds=(-6, 6), method="bounded")
    beta = fitted(math.exp(found.x))[0][: len(cells)]
    mean = dict(zip(cells, beta, strict=True))
    pin = np.mean([mean["P1", oil] - mean["P0", oil] for oil in ("A0", "A1", "A2")])
    oil = np.mean([mean[one, "A1"] - mean[one, "A0"] for one in ("P0", "P1")])
    asked = {row["comparison"]: math.log(row["estimate"]) for row in told["comparisons"]}
    assert asked["coated pin"] == pytest.approx(pin, abs=1e-5)
    assert asked["new oil"] == pytest.approx(oil, abs=1e-5)
    assert asked["both"] == pytest.approx(mean["P1", "A1"] - mean["P0", "A0"], abs=1e-5)


def test_a_plan_of_kept_parts_grows_by_a_build_of_whole_sets(planned, tmp_path):
    campaign, _ = recorded(planned, tmp_path, lambda rows: rows.__delitem__(slice(8, None)))
    path = campaign.folder / "campaign.toml"
    path.write_text(path.read_text().replace("builds = 5", "builds = 6"))
    made = amend.amend(folder.open_campaign(campaign.folder), reason="more money", role="test engineer")
    assert list(made.table["part_set_id"]) == ["1", "1", "1", "2", "2", "2"] * 6 or sorted(
        made.table["part_set_id"].iloc[30:]
    ) == ["1"] * 3 + ["2"] * 3
    assert made.plan["strata"][1]["error_df"] == 5
    again = folder.open_campaign(campaign.folder)
    assert [line.stages["planned"] for line in status.status(again).phases] == [28]
