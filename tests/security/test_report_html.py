"""What people write into a campaign stays text in the report: in the page as parsed, and in a browser."""

import base64
import dataclasses
import functools
import http.server
import json
import shutil
import threading
from unittest import mock

import pytest
from playwright.sync_api import sync_playwright

from tests.unit.report import example
from tests.unit.report.page import Page
from toolkit.brief.model import Comparison, Cost, Factor, Family, Held, Level
from toolkit.report import html, show
from toolkit.report.html import ReportInput

PAYLOADS = {
    "script": "<script>document.title='owned'</script>",
    "image": "<img src=x onerror=\"document.title='owned'\">",
    "attribute": '"><svg onload="document.title=\'owned\'">',
    "closing": "</title></style></table></main><script>document.title='owned'</script>",
    "template": "{{ cycler.__init__.__globals__.os }}{% raw %}{{ 7*7 }}",
    # Build ids have 100 characters at most.
    "request": "<link rel=stylesheet href=CANARY><img src=CANARY>&#60;",
}
SINKS = (
    "campaign id", "question", "factor name", "level name", "level label", "comparison name", "family name",
    "held variable", "build id", "reason", "role", "note", "stamp", "plan name",
    "noted old", "noted new", "noted reason", "noted role", "amended reason", "file replaced", "file taken in",
)  # fmt: skip


# A picture of one grey dot: pages that are opened must not fail over their figures.
_PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNoAAAAggCBd81ytgAAAABJRU5ErkJggg=="
)


def written(payloads: list[str]) -> dict[str, str]:
    """For each place where people write its own text around one of the payloads, taken in turn."""
    return {name: f"at{place}x{payloads[place % len(payloads)]}x" for place, name in enumerate(SINKS)}


def log_of(texts: dict[str, str]) -> list[dict[str, str]]:
    """A log in which people wrote these texts: a note, an amendment, a file that replaced another one."""
    told = {"column": "serial", "old": texts["noted old"], "new": texts["noted new"], "measured_in": "", "source": "",
            "after_look": True}  # fmt: skip
    files = [
        {"file": f"raw/received/{at}", "sha256": at, "size": 1, "kind": "stations", "mapping": "", "given_as": name,
         "replaces": replaces}
        for at, name, replaces in (("a", texts["file replaced"], ""), ("b", texts["file taken in"], "raw/received/a"))
    ]  # fmt: skip
    rows = [
        ("note", "R02", told, texts["noted reason"], texts["noted role"]),
        ("amending", "b" * 64, {"amendment": 1, "replaces": "a" * 64}, texts["amended reason"], "project leader"),
        ("amended", "b" * 64, {}, "", ""),
        ("taken in", "a", files[0], "", ""),
        ("taken in", "b", files[1], "the other probe", "metrology"),
        ("look", "c" * 64, {"counted": "7 of 12 runs valid", "seen": {"R01": "valid"}}, "", ""),
    ]
    return [
        {"at": "2026-03-20T08:00:00Z", "kind": kind, "phase": "main", "subject": subject, "what": json.dumps(what),
         "reason": reason, "role": role, "chain": "c"}
        for kind, subject, what, reason, role in rows
    ]  # fmt: skip


def report(texts: dict[str, str]) -> str:
    """A report with these texts at every place where people write."""
    base = example.brief(("one",))
    pin = Factor(
        texts["factor name"], "part", (Level(texts["level name"], texts["level label"]), Level("P1", "nitride-coated"))
    )
    other = base.factors[1]
    asked = (
        Comparison(texts["comparison name"], of={pin.name: "P1"}, against={pin.name: pin.names[0]},
                   family=texts["family name"]),
        Comparison("together", interaction=(pin.name, other.name)),
    )  # fmt: skip
    brief = dataclasses.replace(
        base,
        id=texts["campaign id"],
        question=texts["question"],
        factors=(pin, other),
        responses=base.responses[:1],
        comparisons=asked,
        families=(Family(texts["family name"]),),
        held=(*base.held, Held(texts["held variable"], 1.0, (0.5, 1.5))),
        cost=Cost("EUR"),
    )
    given = {"R03_build_id": texts["build id"], "R05_reason": texts["reason"], "R05_role": texts["role"]}
    found = example.analysed(brief, **given, **{f"R{at:02d}_{texts['held variable']}": 1.0 for at in range(1, 13)})
    found = dataclasses.replace(found, notes=(texts["note"],))
    sizing = {"option": {"name": texts["plan name"], "runs": 12, "hours": 1.0, "cost": 1.0, "claims": []}}
    stamp = {**example.STAMP, "versions": {"python": texts["stamp"]}}
    return html.build(ReportInput(found, stamp, sizing, log_of(texts)))


@functools.cache
def made(kind: str) -> str:
    """The report with one kind of payload at every place; plain words for the kind 'harmless'."""
    with mock.patch.object(show, "figure_png", return_value=b"\x89PNG"):
        return report(written([PAYLOADS.get(kind, "plain words")]))


@pytest.mark.parametrize("kind", PAYLOADS)
def test_the_tags_of_the_page_do_not_depend_on_what_people_write(kind):
    page = Page(made(kind))
    assert page.shape == Page(made("harmless")).shape
    assert page.unbalanced == []
    assert {tag for tag, _ in page.tags} & {"script", "svg", "iframe", "object", "embed", "link", "base"} == set()
    for _, attributes in page.tags:
        assert [name for name in attributes if name.startswith("on")] == []
        for name in ("src", "href", "srcset", "action", "style", "background"):
            assert (attributes.get(name) or "#").startswith(("data:image/png;base64,", "#"))


@pytest.mark.parametrize("kind", PAYLOADS)
@pytest.mark.parametrize("sink", SINKS)
def test_every_text_arrives_as_it_was_written(sink, kind):
    page = Page(made(kind))
    text = " ".join(written([PAYLOADS[kind]])[sink].split())
    # Of the name of a column people read the words without underscores.
    text = " ".join(text.replace("_", " ").split()) if sink == "held variable" else text
    seen = page.text() + " ".join(value or "" for _, attributes in page.tags for value in attributes.values())
    assert text in seen, "the text must be on the page, whole and as text"


class _Canary(http.server.BaseHTTPRequestHandler):
    """Counts what asks for it."""

    asked: list[str] = []

    def do_GET(self):
        """Note the request and answer with nothing."""
        self.asked.append(self.path)
        self.send_response(200)
        self.end_headers()

    def log_message(self, *given):
        """Say nothing."""


def test_a_browser_runs_nothing_and_asks_nobody(tmp_path):
    """Every payload at every place, a page for each turn of the payloads over the places."""
    browser_path = shutil.which("chromium")
    assert browser_path, "chromium is needed: .ci/run installs it"
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Canary)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        canary = f"http://127.0.0.1:{server.server_port}/c"
        payloads = [payload.replace("CANARY", canary) for payload in PAYLOADS.values()]
        # The browser does run and ask when a page lets it: else the rest would show nothing.
        bare = f"<title>safe</title><body>{PAYLOADS['script']}<img src='{canary}'><script>alert(1)</script></body>"
        pages = {"bare": bare}
        for turn in range(len(payloads)):
            with mock.patch.object(show, "figure_png", return_value=_PIXEL):
                pages[f"turn-{turn}"] = report(written(payloads[turn:] + payloads[:turn]))
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=browser_path, args=["--no-sandbox", "--disable-gpu"])
            for name, text in pages.items():
                target = tmp_path / f"{name}.html"
                target.write_text(text, encoding="utf-8")
                _Canary.asked.clear()
                page, dialogs, wanted = browser.new_page(), [], []
                page.on("dialog", lambda dialog, dialogs=dialogs: (dialogs.append(dialog.message), dialog.dismiss()))
                page.on("request", lambda request, wanted=wanted: wanted.append(request.url))
                page.goto(target.as_uri(), wait_until="load")
                seen = {"dialogs": dialogs, "canary": _Canary.asked, "title": page.title()}
                asked = [url for url in wanted if not url.startswith(("file:", "data:"))]
                if name == "bare":
                    assert (seen, asked) == ({"dialogs": ["1"], "canary": ["/c"], "title": "owned"}, [canary])
                    continue
                assert (seen["dialogs"], seen["canary"], asked) == ([], [], [])
                assert seen["title"] == Page(text).text("title") != "owned"
                assert canary in page.inner_text("body")
                assert page.locator("script, svg, link").count() == 0
                assert page.locator("img").count() == len(Page(text).all("img")) == 6
                page.close()
            browser.close()
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
