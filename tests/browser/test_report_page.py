"""The report of the bundled campaign in Debian's Chromium: offline, without a barrier, printed without a cut table."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from toolkit.campaign import steps
from toolkit.demo import bundled
from toolkit.report import pdf, tables
from toolkit.report import steps as report_steps


@pytest.fixture(scope="module")
def report(tmp_path_factory) -> Path:
    """The report, with the main phase sealed and booked."""
    campaign = bundled.bring("chain-soot", tmp_path_factory.mktemp("report") / "chain", phases=("pilot", "main"))
    steps.plan(campaign, phase="main")
    return report_steps.report(campaign).path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium without a screen."""
    path = shutil.which("chromium")
    assert path, "chromium is needed: .ci/run installs it"
    with sync_playwright() as play:
        made = play.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        )
        yield made
        made.close()


def test_it_opens_offline_and_has_no_barrier(report, browser):
    # The page allows no script of anybody's; the checker is let in for once.
    context = browser.new_context(bypass_csp=True, offline=True)
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda line: errors.append(line.text) if line.type == "error" else None)
    page.goto(report.as_uri())
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == [] == errors
    found = Axe().run(page).response["violations"]
    assert {item["id"]: item["nodes"][0]["html"] for item in found if item["impact"] in ("serious", "critical")} == {}
    assert "Dates of the main phase" in page.inner_text("main")
    context.close()


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (1920, 1080)])
def test_the_answers_and_what_to_know_before_deciding_stand_on_one_screen(report, browser, width, height):
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(report.as_uri())
    assert page.locator(".heed").evaluate("one => one.getBoundingClientRect().bottom") <= height
    assert page.locator("ol.answers").first.locator("li").count() == 4
    page.close()


def test_a_table_of_many_long_names_is_neither_cut_nor_out_of_reach(report, browser):
    names = [f"name_of_20_letters_{at}, coded" for at in range(14)]
    table = tables.plain("The runs", ("run", *names), [(f"R{at:02d}", *["wie-heute"] * 14) for at in range(4)])
    text = report.read_text(encoding="utf-8")
    first = '<section aria-labelledby="answers">'
    assert text.count(first) == 1
    page = report.with_name("wide.html")
    page.write_text(text.replace(first, f'<div class="wide">{table.__html__()}</div>{first}'), encoding="utf-8")
    context = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 900})
    opened = context.new_page()
    opened.goto(page.as_uri())
    found = Axe().run(opened).response["violations"]
    assert [item["id"] for item in found if item["impact"] in ("serious", "critical")] == []
    opened.emulate_media(media="print")
    opened.set_viewport_size({"width": 695, "height": 1000})
    wide = "[...document.querySelectorAll('table')].map(one => one.getBoundingClientRect().right)"
    assert max(opened.evaluate(wide)) <= 695.5
    context.close()


def test_on_a_narrow_screen_tables_and_wide_pictures_scroll_by_themselves_under_captions_in_view(report, browser):
    page = browser.new_page(viewport={"width": 420, "height": 800})
    page.goto(report.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") == 420
    right = "[...document.querySelectorAll('caption')].map(one => one.getBoundingClientRect().right)"
    assert max(page.evaluate(right)) <= 420
    # Words are not pressed into columns of one word: no cell of words is narrower than four letters are high.
    narrow = "[...document.querySelectorAll('td:not(.n)')].filter(one => one.clientWidth < 60).length"
    assert page.evaluate(narrow) == 0
    wide = "[...document.querySelectorAll('figure:not(.pair figure:not(.across)) img')].map(one => one.clientWidth)"
    assert min(page.evaluate(wide)) >= 600
    page.close()


def test_it_prints_without_a_cut_table_and_to_the_same_pdf(report, browser):
    page = browser.new_page()
    page.goto(report.as_uri())
    page.emulate_media(media="print")
    # A4 less the margins of the page: 210 mm less 2 x 13 mm, at 96 dots an inch.
    page.set_viewport_size({"width": 695, "height": 1000})
    cut = page.evaluate(
        "[...document.querySelectorAll('table, img')].filter(one => one.getBoundingClientRect().right > 695.5)"
        ".map(one => one.caption ? one.caption.textContent : one.alt)"
    )
    assert cut == []
    kept = "[...new Set([...document.querySelectorAll('tr')].map(one => getComputedStyle(one).breakInside))]"
    assert page.evaluate(kept) == ["avoid"]
    first = pdf.printed(report, at="2026-03-02T08:00:00Z").read_bytes()
    assert first.startswith(b"%PDF-") and b"/StructTreeRoot" in first and b"(D:20260302080000" in first
    assert pdf.printed(report, at="2026-03-02T08:00:00Z").read_bytes() == first
