"""The whole job by hand: every template opened and run in one JupyterLab, in Debian's Chromium, and a slider moved."""

from __future__ import annotations

import hashlib
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
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Page, sync_playwright

from toolkit.campaign import folder, steps
from toolkit.demo import bundled
from toolkit.report.notebooks import TEMPLATES

PATIENCE_MS = 400_000
# How often the page is asked whether it has come so far; at every frame, which is usual, the asking costs more than the
# kernels do.
POLLING_MS = 200
# Every cell drawn, so that outputs below the fold are there to be read.
SETTINGS = {"@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"}}
# JupyterLab tells itself when the kernel of the notebook in front is there; its own objects are asked, nothing else.
CONFIG = {"LabApp": {"expose_app_in_browser": True}}
CONNECTED = """() => {
    const widget = window.jupyterapp && window.jupyterapp.shell.currentWidget;
    const session = widget && widget.context && widget.context.isReady && widget.context.sessionContext.session;
    return Boolean(session && session.kernel && session.kernel.connectionStatus === 'connected'
        && session.kernel.status === 'idle');
}"""
# Opened as a click in the file browser opens it; what is in front is closed without a word on what was not saved.
OPENED = """async path => { await window.jupyterapp.commands.execute('docmanager:open', {path}); }"""
CLOSED = "() => { window.jupyterapp.shell.currentWidget.dispose(); }"
OUTPUTS = "[...document.querySelectorAll('.jp-OutputArea-output')]"
WRONG = '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.stderr"]'
PICTURE = "[...document.querySelectorAll('.widget-output img')].map(one => one.src).join()"


@contextmanager
def lab(campaign: Path, own: Path) -> Iterator[tuple[str, str]]:
    """`wearbook lab` on a campaign, with settings and home of its own; gives its address and token."""
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
    (own / "config" / "jupyter_server_config.json").write_text(json.dumps(CONFIG))
    environment = {**os.environ, **{name: str(own / at) for name, at in folders.items()}, "JUPYTER_TOKEN": token}
    environment.pop("MPLBACKEND", None)
    words = ["lab", str(campaign), "--no-browser", "--port", str(port)]
    with open(own / "server.log", "wb") as log:
        server = subprocess.Popen(
            [sys.executable, "-c", "import sys; from toolkit.cli import main; sys.exit(main())", *words],
            env=environment,
            stdout=log,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
        )
        try:
            address = f"http://127.0.0.1:{port}"
            _wait(f"{address}/api/status?token={token}", server)
            yield address, token
        finally:
            server.terminate()
            server.wait(timeout=60)


def _wait(address: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers."""
    for _ in range(1500):
        if server.poll() is not None:
            raise RuntimeError(f"JupyterLab ended with {server.returncode}")
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise RuntimeError("JupyterLab did not answer")


def open_notebook(page: Page, name: str) -> None:
    """Open a template in the JupyterLab that is there: loading all of it again for each would take seconds."""
    path = f"notebooks/{name}.ipynb"
    page.evaluate(OPENED, path)
    page.wait_for_function(
        f"window.jupyterapp.shell.currentWidget?.context?.path === '{path}'", polling=POLLING_MS, timeout=PATIENCE_MS
    )
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=PATIENCE_MS)
    page.wait_for_function(CONNECTED, polling=POLLING_MS, timeout=PATIENCE_MS)


def run_all(page: Page) -> tuple[str, list[str]]:
    """Run all cells of the notebook in front by the menu; the text of the outputs and what came over stderr."""
    page.click('.lm-MenuBar-itemLabel:text-is("Run")')
    page.click('.lm-Menu-itemLabel:text-is("Run All Cells")')
    # The closing lines come from the last cell; an error ends the run before them.
    ended = f"document.querySelector('{WRONG}') || {OUTPUTS}.some(one => /^next: /m.test(one.textContent))"
    page.wait_for_function(ended, polling=POLLING_MS, timeout=PATIENCE_MS)
    page.wait_for_function(CONNECTED, polling=POLLING_MS, timeout=PATIENCE_MS)
    told = page.evaluate(f"{OUTPUTS}.map(one => one.innerText).join('\\n')")
    return told, page.eval_on_selector_all(WRONG, "all => all.map(one => one.textContent)")


def end_kernels(address: str, token: str) -> None:
    """Shut every kernel down, as the person does who closes a notebook."""
    head = {"Authorization": f"token {token}"}
    with urllib.request.urlopen(urllib.request.Request(f"{address}/api/kernels", headers=head)) as answer:
        there = json.load(answer)
    for kernel in there:
        asked = urllib.request.Request(f"{address}/api/kernels/{kernel['id']}", headers=head, method="DELETE")
        urllib.request.urlopen(asked).close()


@dataclass
class Slider:
    """The sizing before and after its first slider was moved a step: the picture's bytes, and what stood below it."""

    pictures: tuple[str, str]
    told: str
    seconds: float


def moved_up(page: Page) -> Slider:
    """Move the first slider of the sizing, which is the plan, a step up."""
    page.wait_for_function(f"{PICTURE}.startsWith('data:image/png')", polling=POLLING_MS, timeout=PATIENCE_MS)
    handle = page.locator(".widget-slider .noUi-handle").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    before = page.evaluate(PICTURE)
    began = time.perf_counter()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        f"before => {PICTURE} && {PICTURE} !== before && "
        "document.querySelector('.widget-output').textContent.includes('builds = 4')",
        arg=before,
        polling=20,
        timeout=PATIENCE_MS,
    )
    seconds = time.perf_counter() - began
    digest = [hashlib.sha256(one.encode()).hexdigest() for one in (before, page.evaluate(PICTURE))]
    told = page.eval_on_selector_all(".widget-output", "all => all.map(one => one.textContent).join('\\n')")
    return Slider((digest[0], digest[1]), told, seconds)


@dataclass
class ByHand:
    """A campaign worked through in JupyterLab: what each notebook told, what came over stderr, what went wrong."""

    campaign: Path
    first: str
    asked: int
    told: dict[str, str]
    wrong: dict[str, list[str]]
    errors: list[str]
    slider: Slider
    kept: set[str]


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory) -> ByHand:
    """The bundled campaign from its pilot to its report, every template opened and run in JupyterLab, in order."""
    browser_path = shutil.which("chromium")
    assert browser_path, "chromium is needed: .ci/run installs it"
    root = tmp_path_factory.mktemp("by-hand")
    campaign, own = root / "campaign", root / "own"
    bundled.bring("chain-soot", campaign, phases=("pilot",))
    own.mkdir()
    told: dict[str, str] = {}
    wrong: dict[str, list[str]] = {}
    errors: list[str] = []
    with lab(campaign, own) as (address, token), sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=browser_path,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"],
        )
        page = browser.new_page(viewport={"width": 1300, "height": 1000})
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda line: errors.append(line.text) if line.type == "error" else None)
        page.goto(f"{address}/?token={token}")
        page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=PATIENCE_MS)
        page.wait_for_function(CONNECTED, polling=POLLING_MS, timeout=PATIENCE_MS)
        first, asked = page.url, page.locator(".jp-Dialog, .Toastify__toast").count()
        for name in TEMPLATES:
            if name == "plan":
                # The pilot came back without a sealed plan; by itself the notebook would seal that first.
                steps.plan(folder.open_campaign(campaign), phase="main")
            if name == "intake":
                bundled.bring("chain-soot", campaign, phases=("pilot", "main"))
            if name != TEMPLATES[0]:
                open_notebook(page, name)
            told[name], wrong[name] = run_all(page)
            if name == "size":
                slider = moved_up(page)
            if pictures := os.environ.get("WEARBOOK_PICTURES"):
                page.screenshot(path=f"{pictures}/{name}.png")
            page.evaluate(CLOSED)
            end_kernels(address, token)
        kept = {str(path.relative_to(own)) for path in own.rglob("*workspace*")}
        browser.close()
    return ByHand(campaign, first, asked, told, wrong, errors, slider, kept)


def test_every_template_runs_by_hand_in_jupyterlab_without_a_trace_of_an_error(by_hand):
    assert by_hand.first.split("?")[0].endswith("/lab/tree/notebooks/question.ipynb")
    # Nothing is asked of a newcomer before the first notebook is there.
    assert by_hand.asked == 0
    assert by_hand.errors == []
    assert by_hand.wrong == {name: [] for name in TEMPLATES}
    ends = {name: text.rpartition("wrote: ")[2] for name, text in by_hand.told.items()}
    assert ends["question"].startswith("nothing\nnext: ")
    assert ends["size"].startswith(
        "derived/sizing.json, derived/chosen-plan.toml, derived/simulated.json\nnext: write your choice into [plan]"
    )
    assert "next: issue sheets and registers: sheets.ipynb, or wearbook sheets . --phase main" in ends["plan"]
    assert "next: hand out the sheets, make the runs\n" in ends["sheets"]
    assert "next: the answers: analyse.ipynb, or wearbook analyse ." in ends["intake"]
    assert "next: weigh what to do: decide.ipynb" in ends["analyse"]
    assert "next: write it up: report.ipynb" in ends["decide"]
    assert ends["report"].startswith("report/chain-soot.html\nnext: open it in a browser")
    assert "campaign 'chain-soot', 11 of 12 runs valid, 1 invalid" in by_hand.told["analyse"]
    assert "Settled: both together." in by_hand.told["decide"]
    # The person's own tabs are left alone.
    assert by_hand.kept == set()


def test_a_slider_of_the_sizing_moves_the_curve_and_the_chances(by_hand):
    assert "Book 12 runs in 3 builds" in by_hand.told["size"]
    assert by_hand.slider.pictures[0] != by_hand.slider.pictures[1]
    told = by_hand.slider.told
    assert "16 runs (full factorial, 4 builds of 4 runs, 2,131 h, 251,624 EUR, beyond the budget)." in told
    assert "To choose this plan, write into [plan] of campaign.toml: builds = 4" in told
    assert "builds = 3" in (by_hand.campaign / "derived" / "chosen-plan.toml").read_text(encoding="utf-8")
    # 0.3 s where nothing else runs; enough room here for a machine with other work.
    assert by_hand.slider.seconds < 5.0
