"""A template opened and run by hand in JupyterLab, in Debian's Chromium: no trace of an error anywhere."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from toolkit.campaign import start
from toolkit.demo import bundled

PATIENCE_MS = 400_000
# No news, no update checks, and every cell drawn, so that outputs below the fold are there to be read.
SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {
        "fetchNews": "false",
        "checkForUpdates": False,
        "doNotDisturbMode": True,
    },
    "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
}


@contextmanager
def lab(root: Path, own: Path) -> Iterator[str]:
    """JupyterLab on a folder, with settings and home of its own; gives the address of its notebooks."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    folders = {
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "IPYTHONDIR": "ipython",
        "HOME": "home",
    }
    (own / "config" / "labconfig").mkdir(parents=True)
    (own / "home").mkdir()
    (own / "config" / "labconfig" / "default_setting_overrides.json").write_text(json.dumps(SETTINGS))
    environment = {**os.environ, **{name: str(own / folder) for name, folder in folders.items()}}
    environment.pop("MPLBACKEND", None)
    with open(own / "server.log", "wb") as log:
        server = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "jupyterlab",
                "--no-browser",
                "--allow-root",
                "--ip=127.0.0.1",
                f"--port={port}",
                "--ServerApp.port_retries=0",
                f"--IdentityProvider.token={token}",
                f"--ServerApp.root_dir={root}",
            ],
            env=environment,
            stdout=log,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
        )
        try:
            _wait(f"http://127.0.0.1:{port}/api/status?token={token}", server)
            yield f"http://127.0.0.1:{port}/lab/tree/{{}}?token={token}&reset"
        finally:
            server.terminate()
            server.wait(timeout=30)


def _wait(address: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers."""
    for _ in range(600):
        if server.poll() is not None:
            raise RuntimeError(f"JupyterLab ended with {server.returncode}")
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.5)
    raise RuntimeError("JupyterLab did not answer")


STARTED = "[...document.querySelectorAll('.jp-InputPrompt')].some(one => /[*\\d]/.test(one.textContent))"


def _start(page: Page) -> None:
    """Run all cells; again where the kernel was not connected yet, so that nothing ran or a kernel is asked for."""
    for _ in range(12):
        page.click('.lm-MenuBar-itemLabel:text-is("Run")')
        page.click('.lm-Menu-itemLabel:text-is("Run All Cells")')
        for _ in range(10):
            page.wait_for_timeout(1000)
            if page.locator(".jp-Dialog .jp-mod-accept").count():
                page.click(".jp-Dialog .jp-mod-accept")
            if page.evaluate(STARTED):
                return
    raise RuntimeError("JupyterLab ran no cell")


def run_all(page: Page, address: str) -> tuple[str, list[str]]:
    """Open a notebook, run all of its cells, and give the text of the outputs and what came over stderr."""
    page.goto(address)
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=PATIENCE_MS)
    page.wait_for_selector('.jp-Notebook-ExecutionIndicator[data-status="idle"]', timeout=PATIENCE_MS)
    # A cell that is run before the kernel is connected asks which kernel to take.
    page.wait_for_function("document.querySelector('.jp-Notebook-footer, .jp-Cell') !== null")
    page.wait_for_timeout(4000)
    _start(page)
    page.wait_for_function(
        "[...document.querySelectorAll('.jp-OutputArea-output')].some(one => one.textContent.includes('next:'))",
        timeout=PATIENCE_MS,
    )
    page.wait_for_timeout(1000)
    told = page.eval_on_selector_all(".jp-OutputArea-output", "all => all.map(one => one.textContent).join('\\n')")
    wrong = page.eval_on_selector_all(
        '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.stderr"]',
        "all => all.map(one => one.textContent)",
    )
    return told, wrong


@contextmanager
def opened(campaign: Path, own: Path) -> Iterator[tuple[Page, str, list[str]]]:
    """JupyterLab on a campaign in Chromium: a page, the address of its notebooks, and every error it has met."""
    browser_path = shutil.which("chromium")
    assert browser_path, "chromium is needed: .ci/run installs it"
    with lab(campaign, own) as address, sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=browser_path,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"],
        )
        page = browser.new_page(viewport={"width": 1300, "height": 1000})
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda line: errors.append(line.text) if line.type == "error" else None)
        yield page, address, errors
        browser.close()


def test_a_template_runs_by_hand_in_jupyterlab(tmp_path):
    campaign = tmp_path / "campaign"
    bundled.bring("chain-soot", campaign, phases=("pilot", "main"))
    start.bring_notebooks(campaign)
    before = (campaign / "campaign.toml").read_bytes()
    with opened(campaign, tmp_path / "own") as (page, address, errors):
        told, wrong = run_all(page, address.format("notebooks/analyse.ipynb"))
    assert (errors, wrong) == ([], [])
    assert "campaign 'chain-soot', 11 of 12 runs valid, 1 invalid" in told
    assert "a gain is shown, but not that it reaches 20 %" in told
    assert "next: weigh what to do: decide.ipynb" in told
    assert (campaign / "derived" / "analysis.json").exists()
    assert (campaign / "campaign.toml").read_bytes() == before


def test_sliders_of_the_sizing_move_the_chances(tmp_path):
    campaign = tmp_path / "campaign"
    bundled.bring("chain-soot", campaign, phases=("pilot",))
    start.bring_notebooks(campaign)
    with opened(campaign, tmp_path / "own") as (page, address, errors):
        told, wrong = run_all(page, address.format("notebooks/size.ipynb"))
        page.wait_for_selector(".widget-slider", timeout=PATIENCE_MS)
        # The first is the plan: one step up takes a build more.
        handle = page.locator(".widget-slider .noUi-handle").first
        handle.scroll_into_view_if_needed()
        handle.focus()
        page.keyboard.press("ArrowRight")
        page.wait_for_function(
            "[...document.querySelectorAll('.widget-output')].some(one => one.textContent.includes('builds = 4'))",
            timeout=PATIENCE_MS,
        )
        moved = page.eval_on_selector_all(".widget-output", "all => all.map(one => one.textContent).join('\\n')")
        if picture := os.environ.get("WEARBOOK_PICTURE"):
            page.screenshot(path=picture)
    assert (errors, wrong) == ([], [])
    assert "Book 12 runs in 3 builds" in told
    assert "16 runs (full factorial, 4 builds of 4 runs, 2,131 h, 251,624 EUR, beyond the budget)." in moved
    assert "To choose this plan, write into [plan] of campaign.toml: builds = 4" in moved
    assert "builds = 3" in (campaign / "derived" / "chosen-plan.toml").read_text(encoding="utf-8")
