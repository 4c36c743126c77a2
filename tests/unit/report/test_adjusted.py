"""Severity adjustment by reference runs, from the key in campaign.toml to the report; every figure INVENTED."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from scipy import stats

from toolkit.cli import main

# A rig that wears a little more with every run; coated pins wear about 5 less.
WEAR = [20.0, 16.3, 22.1, 18.2, 24.2, 20.1, 25.9, 22.0, 28.0, 24.2]
BRIEF = """
[campaign]
id = "adjusted"
question = "INVENTED: does the coated pin wear less?"
seed = 1
new_each_run = ["part"]
[[factor]]
name = "pin"
undo = "part"
levels = { P0 = "ground", P1 = "coated" }
[[response]]
name = "wear_um"
per_run = "value"
scale = "linear"
worthwhile_change = 2
[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }
[plan]
replicates = 5
"""


def written(folder, reference):
    """The campaign in a folder: ten runs, a baseline run before each coated one."""
    lines = [
        f"R{at + 1:02d},main,B1,{at + 1},{at + 1},P{at % 2},100,{wear},valid,,engineer" for at, wear in enumerate(WEAR)
    ]
    head = "run_id,phase,build_id,planned_order,actual_order,pin,run_time_h,wear_um,verdict,reason,role"
    (folder / "raw").mkdir(parents=True)
    (folder / "campaign.toml").write_text(BRIEF + reference, encoding="utf-8")
    (folder / "raw" / "runs.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return folder


def by_hand():
    """Estimate and interval of the adjusted values: each coated run less its neighbours, that they share counted."""
    plain, coated = np.array(WEAR[0::2]), np.array(WEAR[1::2])
    # A bracket of the baseline runs before and after, less the mean of all; the last run has one before it alone.
    weights = 0.5 * (np.eye(5) + np.eye(5, k=1))
    weights[4, 4] = 1.0
    weights -= 1.0 / 5.0
    moved = np.block([[np.eye(5), np.zeros((5, 5))], [-weights, np.eye(5)]])
    whole = moved @ moved.T
    values = moved @ np.concatenate([plain, coated])
    residual = np.eye(10) - np.kron(np.eye(2), np.full((5, 5), 0.2))
    variance = values @ residual @ values / np.trace(residual @ whole)
    contrast = np.repeat([-0.2, 0.2], 5)
    error = np.sqrt(variance * contrast @ whole @ contrast)
    estimate = contrast @ values
    half = stats.t.ppf(0.975, 8) * error
    return estimate, estimate - half, estimate + half


def test_adjusted_answers_stand_beside_the_verdict_and_in_the_report(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-04-01T08:00:00+00:00")
    folder = written(tmp_path / "c", "[reference]\nadjust = true\n")
    assert main(["check", str(folder)]) == 0
    assert main(["analyse", str(folder)]) == 0
    said = capsys.readouterr().out
    told = json.loads((folder / "derived" / "analysis.json").read_text(encoding="utf-8"))
    (row,) = told["measured"]["compared"]
    assert [row["estimate"], row["conf_low"], row["conf_high"]] == pytest.approx(by_hand(), rel=1e-9)
    assert row["basis"] == "adjusted by the reference runs"
    # The drift hides the difference; the verdict stays what the runs as they are say, and the other is told beside it.
    assert (row["verdict"], row["verdict_then"]) == ("not known yet", "gain, size not settled")
    (judged,) = told["responses"]["wear_um"]["verdicts"]
    assert judged["verdict"] == "not known yet"
    line = "coating: 'not known yet' as judged, 'gain, size not settled' adjusted by the reference runs."
    assert f"  {line}\n" in said
    (chart,) = told["measured"]["reference_charts"]
    # What is taken off is not free: two weights of 1/2 - 1/5 and three of -1/5; one of 1 - 1/5 and four of -1/5.
    assert [one["variance_added"] for one in chart["adjusted"]] == pytest.approx([0.3, 0.3, 0.3, 0.3, 0.8])
    assert [(one["run_id"], one["references"]) for one in chart["adjusted"]] == [
        ("R02", "R01, R03"), ("R04", "R03, R05"), ("R06", "R05, R07"), ("R08", "R07, R09"), ("R10", "R09"),
    ]  # fmt: skip
    assert main(["report", str(folder)]) == 0
    page = (folder / "report" / "adjusted.html").read_text(encoding="utf-8")
    assert "adjusted by the reference runs" in page and line.replace("'", "&#39;") in page
    # R02: 16.3 less (20.0 + 22.1) / 2 - 24.04, the mean of the baseline runs.
    table = page[page.index("Runs adjusted by the reference runs near them") :]
    cells = re.findall("<t[dh][^>]*>(.*?)</t[dh]>", table[: table.index("</table>")])
    assert cells[7:14] == ["R02", "wear", "16.30 µm", "2.990 µm", "19.29 µm", "R01, R03", "0.3000"]
    assert cells[-2:] == ["R09", "0.8000"]


def test_nothing_is_adjusted_unasked(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-04-01T08:00:00+00:00")
    folder = written(tmp_path / "c", "[reference]\n")
    assert main(["analyse", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["measured"]["compared"] == []
    assert told["measured"]["reference_charts"][0]["adjusted"] in (None, [])
