"""The report on a folder: the same records give the same bytes whenever it is made, and every look is written down."""

import shutil

import pytest

from tests.unit.report.undrawn import undrawn
from toolkit import shipped
from toolkit.campaign import folder, log, steps
from toolkit.cli import words
from toolkit.report import steps as report_steps


@pytest.fixture
def chain(tmp_path, monkeypatch):
    """The bundled campaign with its last two runs still to come, its main phase sealed on the second of March."""
    root = tmp_path / "chain"
    shutil.copytree(shipped.folder("data") / "chain-soot", root)
    for name in ("runs", "stations", "oil"):
        path = root / "raw" / f"{name}.csv"
        path.rename(root / f"all-{name}.csv")
        lines = (root / f"all-{name}.csv").read_text().splitlines(keepends=True)
        path.write_text("".join(line for line in lines if not line.startswith(("R11,", "R12,"))))
    for run in ("R11", "R12"):
        (root / "raw" / "dyno" / f"{run}.csv.gz").rename(root / f"{run}.csv.gz")
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    steps.plan(folder.open_campaign(root), phase="main")
    return root


def reported(root, monkeypatch, day):
    """The bytes of the report made on a day of March."""
    monkeypatch.setenv("WEARBOOK_NOW", f"2026-03-{day:02d}T08:00:00+00:00")
    return report_steps.report(folder.open_campaign(root)).path.read_bytes()


def test_a_report_made_again_later_is_the_same_and_each_look_is_in_the_log(chain, monkeypatch):
    first = reported(chain, monkeypatch, 20)
    assert reported(chain, monkeypatch, 25) == first
    looks = [row for row in log.read(chain) if row["kind"] == "look"]
    assert [row["at"] for row in looks] == ["2026-03-20T08:00:00Z", "2026-03-25T08:00:00Z"]
    assert looks[0]["subject"] == looks[1]["subject"]
    text = first.decode("utf-8")
    assert "INTERIM, 10 of 12 runs." in text and "Waiting for: R11, R12: the run." in text
    assert text.count("2026-03-20 08:00") == 1 and "2026-03-25" not in text

    for name in ("runs", "stations", "oil"):
        (chain / f"all-{name}.csv").rename(chain / "raw" / f"{name}.csv")
    for run in ("R11", "R12"):
        (chain / f"{run}.csv.gz").rename(chain / "raw" / "dyno" / f"{run}.csv.gz")
    # What is asked here stands in the text; pictures of a whole campaign are those of tests/unit/report/test_html.
    with undrawn():
        text = reported(chain, monkeypatch, 30).decode("utf-8")
    assert 'role="status"' not in text and "2026-03-20 08:00" in text and "2026-03-30 08:00" in text


def test_a_look_holds_every_run_whose_values_could_be_seen(chain, monkeypatch):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-20T08:00:00+00:00")
    steps.analyse(folder.open_campaign(chain))
    seen = log.seen(log.read(chain))
    assert list(seen) == [f"P{at:02d}" for at in range(1, 5)] + [f"R{at:02d}" for at in range(1, 11)]
    # R08 is void, and its value stands in the picture of the records all the same.
    assert seen["R08"] == ("2026-03-20T08:00:00Z", "invalid")
    assert seen["R10"] == ("2026-03-20T08:00:00Z", "valid")
    told = log.told(log.read(chain)[-1])
    assert told["counted"] == "9 of 12 runs valid, 1 invalid, 2 pending (R11, R12)"


def test_the_command_tells_an_interim_answer_as_one(chain):
    found = steps.analyse(folder.open_campaign(chain))
    lines = words.analysed(found).splitlines()
    assert lines[:3] == [
        "INTERIM, 10 of 12 runs: campaign 'chain-soot', 9 of 12 runs valid, 1 invalid, 2 pending (R11, R12)",
        "waiting for: R11, R12: the run",
        "Of 12 planned runs: 9 as planned, 1 void (R08), 2 pending (R11, R12).",
    ]
    at = lines.index("  Where the pending runs could take it:")
    sd = 100 * found.responses["elongation_pct"].fit.mean_squares["run"][0] ** 0.5
    assert lines[at + 1].startswith(
        f"    coating: if all 2 pending runs came out 2 error SDs (SD {sd:.3g} %, as found so far) against it, "
    )
    assert sum(line.endswith("an estimate and no claim, as no looks were planned.") for line in lines) == 8
