"""A whole awkward campaign by the command alone: a wrong part on run 5, a lost run, an amendment, a late laboratory,
a review, an interim report, a corrected file, a finished one. Every figure is INVENTED."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.replay import shop
from tests.unit.report.undrawn import undrawn
from toolkit.cli import main

DATA = Path(__file__).resolve().parents[2] / "data" / "chain-soot"
PILOT, MAIN = "0-pilot", "1-main"
LABORATORY = """
[[received]]                # INVENTED laboratory: its table has headings of its own
name = "oil laboratory"
table = "oil"
files = "lab-*.csv"
columns = { sample_id = "Probe", fe_ppm = "Eisen [mg/kg]", note = "Bemerkung" }
decimal = "comma"
"""


class Bench:
    """The campaign folder and the post tray beside it; the clock moves a day with every command."""

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.tray = root / "chain", root / "tray"
        self.tray.mkdir()
        self._patch, self._capsys, self._day = monkeypatch, capsys, 0

    def command(self, verb: str, *options: object, code: int = 0) -> str:
        """Run a verb and give what it says on stdout (on stderr when it is refused)."""
        self._day += 1
        self._patch.setenv("WEARBOOK_NOW", f"2026-03-{self._day:02d}T08:00:00+00:00")
        found = main([verb, str(self.folder), *map(str, options)])
        told = self._capsys.readouterr()
        assert found == code, told.err
        return told.out if code == 0 else told.err

    def json(self, verb: str, *options: object) -> dict:
        """The JSON document of a verb."""
        return json.loads(self.command(verb, *options, "--json"))




def test_an_awkward_campaign_ends_with_every_run_accounted_for(tmp_path, monkeypatch, capsys):
    bench = Bench(tmp_path, monkeypatch, capsys)
    folder, tray = bench.folder, bench.tray
    folder.mkdir()
    brief = (DATA / "campaign.toml").read_text(encoding="utf-8")
    (folder / "campaign.toml").write_text(brief + LABORATORY, encoding="utf-8")
    (folder / "raw").mkdir()
    shutil.copy(DATA / "raw" / "rig-history.csv", folder / "raw" / "rig-history.csv")

    # The pilot, by the same verbs.
    bench.command("plan", "--phase", "pilot")
    bench.command("sheets", "--phase", "pilot")
    pilot = [shop.as_planned(folder, PILOT, f"P0{place}") for place in range(1, 5)]
    back = [
        shop.run_sheet(folder, PILOT, built, tray / f"{built.run_id} back.xlsx", order=place)
        for place, built in enumerate(pilot, start=1)
    ]
    back += [shop.measured(folder, PILOT, state, pilot, tray / f"pilot-{state}.xlsx") for state in ("before", "after")]
    back.append(shop.laboratory(folder, PILOT, pilot, tray / "lab-1.csv"))
    bench.command("intake", *back)
    assert bench.command("intake", *back)  # the same bytes again change nothing
    assert len(shop.rows(folder / "raw" / "manifest.csv")) == 7
    bench.command("size")
    bench.command("plan", "--phase", "main")
    bench.command("sheets", "--phase", "main")
    every = {line["run_id"]: shop.as_planned(folder, MAIN, line["run_id"]) for line in shop.planned(folder, MAIN)}
    assert len(every) == 12

    # Run 5 gets a part of the other kind: the spare of it.
    wanted = every["R05"]
    other = "P0" if wanted.levels["pin"] == "P1" else "P1"
    spare = next(line for line in shop.parts(folder, MAIN) if line["spare"] == "yes" and line["pin"] == other)
    fitted = shop.Built("R05", spare["part_id"], {**wanted.levels, "pin": other}, wanted.build)
    done = [every[f"R0{place}"] for place in range(1, 5)] + [fitted, every["R06"], every["R07"]]
    back = [
        shop.run_sheet(folder, MAIN, built, tray / f"{built.run_id}.xlsx", order=place)
        for place, built in enumerate(done, start=1)
    ]
    back.append(shop.measured(folder, MAIN, "before", list(every.values()), tray / "before.xlsx"))
    back.append(shop.measured(folder, MAIN, "after", done, tray / "after-7.xlsx"))
    bench.command("intake", *back)

    # Tomorrow's number: interim, the laboratory is late.
    status = bench.json("status")
    assert [row["run_id"] for row in status["runs"] if row["stage"] == "judged"] == [f"P0{n}" for n in range(1, 5)] + [
        f"R0{n}" for n in range(1, 8)
    ]
    interim = bench.json("analyse")
    assert interim["interim"] is True
    assert interim["counted"].startswith("7 of 12 runs valid")
    coating = next(
        row for row in interim["responses"]["elongation_pct"]["verdicts"] if row["comparison"] == "coating"
    )
    assert coating["verdict"] == "interim, no claim"
    # The page at the end is drawn in full.
    with undrawn():
        report = bench.command("report")
    assert "interim" in Path(report.strip()).read_text(encoding="utf-8").casefold()

    # Run 8 is lost; its verdict was not given after a look, since its wear was never seen.
    bench.command(
        "intake",
        shop.run_sheet(
            folder, MAIN, every["R08"], tray / "R08.xlsx", order=8, run_time_h=41.3, verdict="", role=""
        ),
    )
    bench.command(
        "note", "R08", "--verdict", "invalid", "--reason", "stopped at 41.3 h: hose burst", "--role", "test engineer"
    )
    refused = bench.command(
        "note", "R03", "--verdict", "invalid", "--reason", "looks odd", "--role", "test engineer", code=1
    )
    assert "R03" in refused and "--after-look" in refused

    # The ways on, each with its power; then the amendment.
    options = bench.json("amend", "--options")
    assert [row["option"] for row in options["options"]] == ["repeat", "replace", "without"]
    before = {line["run_id"]: line for line in shop.planned(folder, MAIN)}
    old = bench.json("verify")["log_head"]
    amended = bench.json(
        "amend", "--lost", "replace", "--run", "R08", "--reason", "hose burst in R08", "--role", "test engineer"
    )
    after = {line["run_id"]: line for line in shop.planned(folder, MAIN)}
    assert set(after) - set(before) == {"R13"}
    assert all(after[f"R{n:02d}"] == before[f"R{n:02d}"] for n in range(1, 9))
    assert (after["R13"]["build_id"], after["R13"]["planned_order"]) == ("B2", "9")
    assert bench.json("verify")["log_head"] != old
    assert amended["amendment"] == 1
    bench.command("sheets", "--phase", "main")
    withdrawn = sorted(path.stem for path in (folder / "runsheets" / MAIN / "withdrawn").rglob("R*.xlsx"))
    assert withdrawn == ["R09", "R10", "R11", "R12"]

    # The rest is run as amended; run 10 is reviewed; the laboratory delivers all at once.
    rest = [shop.as_planned(folder, MAIN, run_id) for run_id in after if run_id > "R08"]
    rest.sort(key=lambda built: int(after[built.run_id]["planned_order"]))
    hot = {"sump_temp_degC": 102.1}
    back = [
        shop.run_sheet(
            folder,
            MAIN,
            built,
            tray / f"{built.run_id}.xlsx",
            order=place,
            **(hot | {"verdict": ""} if built.run_id == "R10" else {}),
        )
        for place, built in enumerate(rest, start=9)
    ]
    run = [*done, *rest]
    back.append(shop.measured(folder, MAIN, "after", [*done, every["R08"], *rest], tray / "after-13.xlsx"))
    back.append(shop.measured(folder, MAIN, "before", [*every.values(), *rest], tray / "before-13.xlsx"))
    back.append(shop.laboratory(folder, MAIN, [*run, every["R08"]], tray / "lab-2.csv"))
    bench.command("intake", *back)
    bench.command(
        "note",
        "R10",
        *("--verdict", "valid", "--role", "lead engineer"),
        *("--reason", "reviewed: sump 2 degC hot, within limits"),
    )

    # The laboratory corrects one figure: refused without a reason, kept beside the old one with it.
    sample = next(line for line in shop.samples(folder, MAIN) if line["run_id"] == "R02" and line["at_h"] == "100")
    corrected = shop.laboratory(
        folder, MAIN, [*run, every["R08"]], tray / "lab-2b.csv", more={sample["sample_id"]: "88,8"}
    )
    refused = bench.command("intake", corrected, code=1)
    assert "column fe_ppm: '88.8'; expected '" in refused and "--replace" in refused
    received = next(
        line["file"] for line in shop.rows(folder / "raw" / "manifest.csv") if line["given_as"] == "lab-2.csv"
    )
    # Wear of some of its runs was seen in the interim answer: it counts only when that is said, and is marked.
    why = ("--reason", "the laboratory repeated one", "--role", "laboratory")
    refused = bench.command("intake", corrected, "--replace", received, *why, code=1)
    assert "With --after-look it is replaced all the same, and marked as such wherever it is told." in refused
    bench.command("intake", corrected, "--replace", received, *why, "--after-look")

    final = bench.json("analyse")
    assert final["interim"] is False
    assert final["counted"].startswith("12 of 13 runs valid, 1 invalid")
    told = {row["run_id"]: row for row in final["as_run"]["runs"]}
    assert told["R05"]["pin_as_run"] == other and told["R05"]["pin_planned"] == wanted.levels["pin"]
    status = bench.json("status")
    assert {row["stage"] for row in status["runs"]} == {"judged"}
    page = Path(bench.command("report").strip()).read_text(encoding="utf-8")
    named = ("hose burst", "reviewed: sump 2 degC hot", "R13", "As run beside as planned", "the laboratory repeated")
    named += ("after wear of its runs had been seen",)
    for text in named:
        assert text in page, text
    bench.command("verify")

    # One byte of one received file: found, named, exit code 5.
    path = folder / received
    content = bytearray(path.read_bytes())
    content[20] ^= 1
    path.chmod(0o644)
    path.write_bytes(bytes(content))
    assert received in bench.command("verify", code=5)
