"""JupyterLab and Chromium: which words they are started with, and what is told when they are missing or fail."""

from __future__ import annotations

import json
import os
import stat
import sys
from pathlib import Path

import pytest

from toolkit.campaign import start
from toolkit.demo import bundled
from toolkit.errors import CampaignError
from toolkit.report import lab, pdf, programs


def script(path: Path, lines: str) -> Path:
    """A program of our own."""
    path.write_text(f"#!{sys.executable}\n{lines}", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def test_the_lab_opens_on_the_campaign_and_keeps_its_tabs_elsewhere(tmp_path, monkeypatch):
    campaign = bundled.bring("chain-soot", tmp_path / "chain")
    (start.complete_notebooks(campaign.folder)[0]).write_text("mine", encoding="utf-8")
    started = {}
    told = []

    def stay(words, **more):
        """In place of JupyterLab: what it would be given, and the settings it would read."""
        started.update(words=words, **more)
        first, _, rest = more["environment"]["JUPYTER_CONFIG_PATH"].partition(os.pathsep)
        told.append((json.loads((Path(first) / "labconfig" / "page_config.json").read_bytes()), rest))
        return 7

    monkeypatch.setattr(programs, "stay", stay)
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "/mine")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert lab.open_lab(campaign, port=8899) == 7
    words = started["words"]
    assert words[:4] == [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={tmp_path / 'chain'}"]
    assert words[4] == "--LabApp.default_url=/lab/tree/notebooks/question.ipynb"
    kept = Path(words[5].removeprefix("--LabApp.workspaces_dir="))
    assert not kept.is_relative_to(tmp_path) and not kept.exists()
    assert words[6:9] == ["--no-browser", "--ServerApp.port=8899", "--ServerApp.port_retries=0"]
    # Neither news nor a newer version is looked for on the net; the person's settings are read as well.
    assert told == [({"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}, "/mine")]
    assert started["folder"] == str(campaign.folder)
    # The commands that notebooks name are found in JupyterLab's terminal, in an environment that nobody activated.
    first, _, rest = started["environment"]["PATH"].partition(os.pathsep)
    assert (first, rest) == (str(Path(sys.executable).parent), os.environ["PATH"])
    # Templates that a person changed stay as they are; nothing else of the person's is named or written.
    assert (campaign.folder / "notebooks" / "analyse.ipynb").read_text(encoding="utf-8") == "mine"
    assert len(list((campaign.folder / "notebooks").glob("*.ipynb"))) == 8
    monkeypatch.setenv("DISPLAY", ":0")
    assert "--no-browser" not in lab.command(campaign, tmp_path, browser=lab._screen(), port=None)


def test_a_pdf_carries_the_time_of_the_last_record(tmp_path, monkeypatch):
    page = tmp_path / "report.html"
    page.write_text("<p>INVENTED</p>", encoding="utf-8")
    browser = script(tmp_path / "browser", """
import sys
out = next(word.split("=", 1)[1] for word in sys.argv if word.startswith("--print-to-pdf="))
assert sys.argv[-1].startswith("file:///") and "--no-pdf-header-footer" in sys.argv
open(out, "wb").write(b"%PDF /CreationDate (D:20261126024501+00'00') /ModDate (D:20261126024501+00'00')")
""")
    monkeypatch.setenv(programs.CHROMIUM, str(browser))
    made = pdf.printed(page, at="2026-03-02T08:00:00Z")
    assert made == tmp_path / "report.pdf"
    assert made.read_bytes() == (
        b"%PDF /CreationDate (D:20260302080000+00'00') /ModDate (D:20260302080000+00'00')"
    )


def test_a_browser_that_is_missing_fails_or_gives_nothing(tmp_path, monkeypatch):
    page = tmp_path / "report.html"
    page.write_text("<p>INVENTED</p>", encoding="utf-8")
    monkeypatch.setenv(programs.CHROMIUM, str(tmp_path / "none"))
    with pytest.raises(CampaignError) as error:
        pdf.printed(page, at="")
    assert str(error.value) == pdf.MISSING
    monkeypatch.setenv(programs.CHROMIUM, str(script(tmp_path / "bad", "raise SystemExit('no such display')")))
    with pytest.raises(CampaignError) as error:
        pdf.printed(page, at="")
    assert str(error.value) == "bad: ended with 1 (no such display). Mend what it tells, then repeat."
    monkeypatch.setenv(programs.CHROMIUM, str(script(tmp_path / "idle", "pass")))
    with pytest.raises(CampaignError) as error:
        pdf.printed(page, at="")
    assert str(error.value) == "idle: ended without a PDF. Print the report from a browser."
    with pytest.raises(CampaignError) as error:
        programs.finish([str(script(tmp_path / "slow", "import time; time.sleep(60)"))], patience_s=0.2)
    assert str(error.value) == "slow: did not end within 0.2 s and was stopped. Repeat it."
    assert sorted(path.name for path in tmp_path.glob("*.pdf")) == []


def test_a_program_gets_its_folder_and_the_person_its_exit_code(tmp_path):
    words = [sys.executable, "-c", "import os, sys; open('here', 'w').write(os.environ['X']); sys.exit(3)"]
    assert programs.stay(words, folder=str(tmp_path), environment={"X": "1"}) == 3
    assert (tmp_path / "here").read_text(encoding="utf-8") == "1"
    assert "X" not in os.environ
