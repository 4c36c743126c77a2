"""A two-level fraction whose sprocket and guide are changed with the build, from campaign.toml to the report.

INVENTED. The strata's F tests: least squares on means of builds, and on what is left within them, written out here
(split-plot algebra of two-level fractions: D. Bingham and R. R. Sitter, Technometrics 41 (1999) 62-70, from memory).
"""

from __future__ import annotations

import csv
import json
import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from toolkit.campaign import folder, sheets, steps
from toolkit.report import steps as report_steps

LEVELS = {
    "sprocket": ("build", ("S0", "S1")),
    "guide": ("build", ("G0", "G1")),
    "pin": ("part", ("P0", "P1")),
    "oil": ("fill", ("O0", "O1")),
    "speed_rpm": ("setting", (2000, 4000)),
    "load_N": ("setting", (500, 900)),
}
HEAD = """[campaign]
id = "rebuilt"
question = "INVENTED: which of six things change wear, two of them changed with the build?"
seed = 11
new_each_run = ["part", "fill"]

[[response]]
name = "wear_um"
per_run = "value"
worthwhile_change_pct = 20

[[comparison]]
name = "sprocket"
of = { sprocket = "S1" }
against = { sprocket = "S0" }

[[comparison]]
name = "coating"
of = { pin = "P1" }
against = { pin = "P0" }

[scatter]
declared_cv_pct = [8, 15]

[plan]
design = "two-level fraction"
runs = 16
builds = 8
"""


def test_from_folder_to_report_each_term_is_judged_in_its_own_stratum(tmp_path, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    root = tmp_path / "c"
    root.mkdir()
    factors = "".join(
        f'\n[[factor]]\nname = "{name}"\nundo = "{undo}"\nlevels = {_levels(levels)}\n'
        for name, (undo, levels) in LEVELS.items()
    )
    (root / "campaign.toml").write_text(HEAD + factors, encoding="utf-8")
    campaign = folder.open_campaign(root)
    assert steps.check(campaign).lines[1] == (
        "main: two-level fraction 2^(6-2), resolution IV, 16 runs a set, 8 builds of 4 runs, 32 runs"
    )
    steps.plan(campaign)
    plan = json.loads((root / "plan/1-main/plan.json").read_text(encoding="utf-8"))
    assert [(row["stratum"], row["units"], row["term_df"], row["error_df"]) for row in plan["strata"]] == [
        ("build", 8, 3, 4),
        ("run", 32, 12, 12),
    ]
    assert plan["taken_up_by_units"]
    assert len(sheets.issue(campaign).table) == 32
    with (root / "plan/1-main/blank/runs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    draw = np.random.default_rng(5)
    between = {build: draw.normal(0.0, 0.1) for build in dict.fromkeys(row["build_id"] for row in rows)}
    for at, row in enumerate(rows):
        effect = -0.3 * (row["pin"] == "P1") + 0.2 * (row["sprocket"] == "S1") + 0.1 * (row["load_N"] == "900")
        value = 20.0 * math.exp(between[row["build_id"]] + effect + draw.normal(0.0, 0.08))
        row |= {"actual_order": str(at + 1), "verdict": "valid", "wear_um": f"{value:.4f}", "run_time_h": "100"}
    (root / "raw").mkdir(exist_ok=True)
    with (root / "raw/runs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    steps.analyse(folder.open_campaign(root))
    found = json.loads((root / "derived/analysis.json").read_text(encoding="utf-8"))["responses"]["wear_um"]
    lines = {row["term"]: row for row in found["anova"]}
    expected = _by_hand(rows)
    terms = [term for term in lines if not term.startswith("error")]
    assert sorted(terms) == sorted(set(terms) & set(expected)) and len(terms) == 15
    for term in terms:
        stratum, f, df = expected[term]
        line = lines[term]
        assert (line["error_stratum"], line["error_df"]) == (stratum, df), term
        assert line["f"] == pytest.approx(f, rel=1e-9), term
        assert line["p_value"] == pytest.approx(float(stats.f.sf(f, 1, df)), rel=1e-9), term
    between = {term for term in terms if lines[term]["error_stratum"] == "build"}
    assert len(between) == 3 and between >= {"sprocket", "guide"}
    report_steps.report(folder.open_campaign(root))
    page = (root / "report" / "rebuilt.html").read_text(encoding="utf-8")
    assert (
        "Builds are the units of the factors changed with the build (whole plots); the other factors are judged by the "
        "runs within builds."
    ) in page


def _levels(levels: tuple[object, object]) -> str:
    """Two levels as campaign.toml has them: numbers, or names with what they mean."""
    if isinstance(levels[0], int):
        return json.dumps(list(levels))
    return "{ " + ", ".join(f'{name} = "kind {name}"' for name in levels) + " }"


def _by_hand(rows: list[dict[str, str]]) -> dict[str, tuple[str, float, int]]:
    """Main effect or interaction to its stratum, F and error df; of a chain each of its names."""
    y = np.array([math.log(float(row["wear_um"])) for row in rows])
    high = {name: str(levels[1]) for name, (_, levels) in LEVELS.items()}
    signs = {name: np.array([1.0 if row[name] == high[name] else -1.0 for row in rows]) for name in LEVELS}
    builds = np.array([row["build_id"] for row in rows])
    columns: dict[tuple[float, ...], tuple[str, list[str]]] = {}
    for size in (1, 2, 3):
        for term in combinations(LEVELS, size):
            column = np.prod([signs[name] for name in term], axis=0)
            column = column * column[0]
            same = all(len(set(column[builds == build])) == 1 for build in set(builds))
            columns.setdefault(tuple(column), ("build" if same else "run", []))[1].append(" × ".join(term))
    # Columns of two levels are orthogonal: each sum of squares stands alone.
    squares = {column: float(np.dot(column, y)) ** 2 / len(y) for column in columns}
    means = {build: y[builds == build].mean() for build in set(builds)}
    between = sum(4.0 * (mean - y.mean()) ** 2 for mean in means.values())
    whole = float(((y - y.mean()) ** 2).sum())
    held = {
        stratum: sum(square for column, square in squares.items() if columns[column][0] == stratum)
        for stratum in ("build", "run")
    }
    count = {stratum: sum(told[0] == stratum for told in columns.values()) for stratum in ("build", "run")}
    df = {"build": 7 - count["build"], "run": 24 - count["run"]}
    error = {"build": (between - held["build"]) / df["build"], "run": (whole - between - held["run"]) / df["run"]}
    return {
        name: (stratum, squares[column] / error[stratum], df[stratum])
        for column, (stratum, names) in columns.items()
        for name in names
    }
