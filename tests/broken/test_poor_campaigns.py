"""Campaigns that tell little or nothing: each fault named, what can still be said, never a missing number or a crash.

INVENTED figures. Through the command, on folders with a brief and raw tables alone.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from toolkit.campaign import steps
from toolkit.cli import main
from toolkit.model import below_limit

HEAD = """\
[campaign]
id = "poor"
question = "INVENTED: does it wear less?"
seed = 5
new_each_run = ["part", "fill"]
[[factor]]
name = "pin"
undo = "{undo}"
levels = {{ P0 = "plain", P1 = "coated" }}
{oil}[[response]]
name = "{response}"
per_run = "{per_run}"
worthwhile_change_pct = 20
[[comparison]]
name = "coating"
of = {{ pin = "P1" }}
against = {{ pin = "P0" }}
[plan]
{plan}
{more}
"""
OIL = '[[factor]]\nname = "oil"\nundo = "fill"\nlevels = { O0 = "current", O1 = "new" }\n'
WEAR = [20.1, 14.9, 18.3, 13.2, 22.4, 16.0, 19.5, 14.1, 21.0, 15.5, 17.9, 12.8]


def brief(*, undo="part", oil=True, response="wear_um", per_run="value", plan="replicates = 2", more=""):
    """The brief of a 2 x 2, or of one factor."""
    return HEAD.format(undo=undo, oil=OIL if oil else "", response=response, per_run=per_run, plan=plan, more=more)


def lines(cells, *, oil=True, response="wear_um", more=()):
    """raw/runs.csv: build, pin, oil and value of each run, then what ``more`` names."""
    head = ["run_id,phase,build_id,planned_order,actual_order,pin", *(["oil"] if oil else []), "run_time_h"]
    head = [*head, *([response] if response == "wear_um" else []), *more, "verdict,reason,role"]
    made = [",".join(head)]
    for at, (build, pin, *rest) in enumerate(cells, 1):
        own = [f"R{at:02d}", "main", build, at, at, pin, *(rest[:1] if oil else []), 100, *rest[int(oil) :]]
        made.append(",".join(map(str, [*own, "valid", "", ""])))
    return "\n".join(made) + "\n"


CELLS = [(pin, oil) for pin in ("P0", "P1") for oil in ("O0", "O1")]
FULL = [(f"B{at // 4 + 1}", *CELLS[at % 4]) for at in range(12)]
IN_BUILDS = [(f"B{at // 2 + 1}", f"P{at // 2 % 2}", f"O{at % 2}") for at in range(8)]
NEITHER = "no run of pin P0, oil O1 or pin P1, oil O0"
BLOCKS = 'builds = 3\n[blocks]\nby = "build"'
HARD = '[[covariate]]\nname = "hardness_HV"\nat = 700\nbefore_run = true\n'
SAMPLES = "run_id,sample_id,at_h,fe_ppm\n"
OF_OIL = {"response": "fe_ppm", "per_run": "end"}


def valued(cells, values=WEAR):
    """Cells with a figure of wear."""
    return [(*cell, value) for cell, value in zip(cells, values, strict=False)]


def sampled(cells, value):
    """raw/oil.csv: one sample at the end of each run."""
    return SAMPLES + "".join(f"R{at:02d},S{at},100,{value(cell, at)}\n" for at, cell in enumerate(cells, 1))


POOR = {
    "treatments that go along with each other": (
        brief(),
        {"runs.csv": lines(valued([("B1", *CELLS[3 * (at % 2)]) for at in range(8)]))},
        0,
        [f"coating: not estimable: {NEITHER}. One run of each of them would make it estimable."],
    ),
    "two runs in all": (
        brief(),
        {"runs.csv": lines(valued([("B1", *CELLS[0]), ("B1", *CELLS[3])]))},
        0,
        [
            f"coating: not estimable: {NEITHER}. One run of each of them would make it estimable.",
            "1 effect between runs: fewer than 3 cannot be judged by each other",
        ],
    ),
    "two runs of one factor": (
        brief(oil=False),
        {"runs.csv": lines([("B1", "P0", 20), ("B1", "P1", 30)], oil=False)},
        0,
        ["coating: 50 % more wear, without an interval (no error estimate); no verdict is possible."],
    ),
    "a single run": (
        brief(),
        {"runs.csv": lines(valued([("B1", *CELLS[0])]))},
        0,
        [
            "coating: not estimable: no run of pin P0, oil O1; pin P1, oil O0 or pin P1, oil O1. One run of each of "
            "them would make it estimable."
        ],
    ),
    "values that are all alike": (
        brief(),
        {"runs.csv": lines(valued(FULL, [20] * 12))},
        0,
        [
            "coating: no change of wear, without an interval (the repeats agree to the last digit: no interval can be "
            "stated); no verdict is possible."
        ],
    ),
    "one run in a build that is a unit": (
        brief(undo="build", plan="builds = 4"),
        {"runs.csv": lines(valued([(f"B{at}", f"P{at % 2}", f"O{at // 2 % 2}") for at in range(8)]))},
        1,
        [
            "not analysed: wear_um: builds B2, B3, B6, B7 do not hold the same combinations as the other builds, and "
            "no build holds two runs, so the scatter between builds cannot be told from that of the runs. Repeat runs "
            "in at least one build. Or put 'build' into new_each_run: the run is then the unit."
        ],
    ),
    "one run in a build that is a block": (
        brief(plan=BLOCKS),
        {"runs.csv": lines(valued([(f"B{at}", *CELLS[at % 4]) for at in range(8)]))},
        0,
        [
            "coating: not estimable: the levels compared were not run in the same builds, so the change cannot be told "
            "from that between builds. Run both levels within the same build."
        ],
    ),
    "scatter of nought within builds of which one lost a run": (
        brief(undo="build", plan="builds = 4"),
        {"runs.csv": lines(valued(IN_BUILDS, [20, 20, 15, 15, 22, 22, 16])[:7])},
        0,
        ["coating: 27 % less wear, without an interval (no error estimate); no verdict is possible."],
    ),
    "a covariate that is constant within builds": (
        brief(plan=BLOCKS, more=HARD),
        {"runs.csv": lines([(*row, 700 + 10 * int(row[0][1])) for row in valued(FULL)], more=["hardness_HV"])},
        0,
        [],
    ),
    "a covariate that goes along with a treatment": (
        brief(undo="build", plan="builds = 4", more=HARD),
        {"runs.csv": lines([(*row, 700 + 10 * int(row[1][1])) for row in valued(IN_BUILDS)], more=["hardness_HV"])},
        0,
        [],
    ),
    "every value below the limit": (
        brief(**OF_OIL),
        {"runs.csv": lines(FULL, response="fe_ppm"), "oil.csv": sampled(FULL, lambda cell, at: "<2")},
        1,
        [
            "not analysed: fe_ppm: 12 of 12 values lie below their limits, which is too many to compare treatments by "
            "(6 must lie above). Ask the laboratory for a lower limit, or answer from the other responses."
        ],
    ),
    "a value below the limit in builds that are units": (
        brief(undo="build", plan="builds = 4", **OF_OIL),
        {
            "runs.csv": lines(IN_BUILDS, response="fe_ppm"),
            "oil.csv": sampled(IN_BUILDS, lambda cell, at: "<2" if at == 3 else WEAR[at]),
        },
        1,
        [
            "not analysed: fe_ppm: values below a limit are not covered where builds are the units of a factor: on "
            "the log scale such a value can lie any way down, and the scatter grows with it as fast as the estimate, "
            "so that an interval that holds for all has no end on either side. Ask the laboratory for the number "
            "behind the '<' or a repeat with a lower limit."
        ],
    ),
    "a level of which every value is below the limit": (
        brief(**OF_OIL),
        {
            "runs.csv": lines(FULL, response="fe_ppm"),
            "oil.csv": sampled(FULL, lambda cell, at: "<2" if cell[1] == "P1" else WEAR[at - 1]),
        },
        0,
        [
            "coating: at least 89 % less Fe (95 % interval, open on the other side); a decrease is shown, and that it "
            "goes beyond 20 %; the end is held less well than 95 %: values below the limit."
        ],
    ),
}  # fmt: skip
REFUSED = {
    "a covariate that is constant within builds": (
        "Covariates: wear_um: the covariates cannot be used.\n  covariate 'hardness_HV': the same within every build; "
        "expected some spread to draw a slope from. Leave it out."
    ),
    "a covariate that goes along with a treatment": (
        "Covariates: wear_um: hardness_HV cannot be told from builds, terms or each other in these runs. Take fewer "
        "covariates."
    ),
}


@pytest.fixture(autouse=True)
def few_draws(monkeypatch):
    """The bootstrap of p values below a limit has tests of its own."""
    monkeypatch.setattr(below_limit, "DRAWS", 99)


def folder(root: Path, way: str) -> Path:
    """The folder of one campaign."""
    text, tables, _, _ = POOR[way]
    (root / "raw").mkdir(parents=True)
    (root / "campaign.toml").write_text(text, encoding="utf-8")
    for name, content in tables.items():
        (root / "raw" / name).write_text(content, encoding="utf-8")
    return root


def no_number(name: str) -> None:
    """Refuse what JSON has no word for."""
    raise AssertionError(f"{name} in a file")


@pytest.mark.parametrize("way", POOR)
def test_each_is_named_and_what_can_be_said_is_said(capsys, tmp_path, way):
    root = folder(tmp_path / "c", way)
    _, _, code, told = POOR[way]
    assert main(["analyse", str(root)]) == code
    out, err = capsys.readouterr()
    said = [line.strip() for line in out.splitlines()]
    assert [line for line in told if line not in said] == []
    assert not re.search(r"(?i)\b(nan|inf|infinity|traceback)\b", out + err)
    found = json.loads((root / "derived/analysis.json").read_text(encoding="utf-8"), parse_constant=no_number)
    (response,) = found["responses"].values()
    if code:
        # The whole reason once more where the command ends.
        reason = told[0].removeprefix("not analysed: ")
        assert err.splitlines()[-2] == f"wearbook analyse: the primary response was not analysed: {reason}"
        assert response["stopped"] == reason
    if way in REFUSED:
        assert response["otherwise"]["covariates"]["sentences"] == [REFUSED[way]]
        assert all(row["conf_low"] is not None for row in response["comparisons"])


def test_what_to_run_next_where_values_lie_below_a_limit(capsys, tmp_path, monkeypatch):
    root = folder(tmp_path / "c", "a level of which every value is below the limit")
    # What such an analysis leaves empty; the analysis itself is made above.
    answered = SimpleNamespace(response="fe_ppm", stopped="", interim="", beside=None)
    monkeypatch.setattr(steps, "analysis_of", lambda campaign: SimpleNamespace(responses={"fe_ppm": answered}))
    assert main(["next", str(root)]) == 1
    assert capsys.readouterr().err.splitlines()[0] == (
        "wearbook next: fe_ppm: which further runs would tell most is not reckoned where values are only known to lie "
        "below a limit or between two ends. Ask the laboratory for the numbers behind the '<'; or choose runs by the "
        "other responses."
    )


def test_what_to_run_next_where_values_are_all_alike(capsys, tmp_path):
    root = folder(tmp_path / "c", "values that are all alike")
    assert main(["next", str(root)]) == 0
    out, err = capsys.readouterr()
    # Two runs would take 13 %: as much for each of them, so that one is tried first.
    assert out.splitlines()[0].startswith(
        "wear_um: most for its price is P0 O0 (1 run): it takes 6 % off the variance "
    )
    # No extension pays here, so none is spoken of.
    assert err.splitlines()[-1] == "next: decide"


def test_a_report_of_nothing_to_report(capsys, tmp_path):
    root = folder(tmp_path / "c", "a single run")
    assert main(["report", str(root)]) == 0
    page = re.sub(r"data:image[^\"']*", "", (root / "report/poor.html").read_text(encoding="utf-8"))
    assert "One run of each of them would make it estimable." in page
    assert not re.search(r"(?<![\w-])(NaN|nan|Infinity|inf)(?![\w-])", page)
