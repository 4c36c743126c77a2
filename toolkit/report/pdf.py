"""The report printed to PDF by the Chromium of this machine, where there is one (rank 10)."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

from toolkit.campaign import storage
from toolkit.errors import CampaignError
from toolkit.report import programs

_PATIENCE_S = 120.0
_TIME = re.compile(rb"/(CreationDate|ModDate) \(D:[0-9]{14}([^)]*)\)")
MISSING = (
    "no Chromium was found on this machine, so no PDF was printed; the report itself is written. Open it in any "
    "browser and print it from there, or install chromium, or name one in WEARBOOK_CHROMIUM."
)


def printed(page: Path, *, at: str) -> Path:
    """Print a report that lies in a campaign folder, and give the path of the PDF beside it.

    Nothing is fetched from anywhere: the page holds all it needs. The caller need not hold the folder's lock.

    Parameters
    ----------
    page : Path
        The HTML file.
    at : str
        The time that the PDF carries, ISO 8601 in UTC: that of the last record, not that of the clock.

    Raises
    ------
    CampaignError
        When there is no Chromium, or it fails.
    StorageError
        When the PDF cannot be written.
    """
    browser = programs.chromium()
    if browser is None:
        raise CampaignError(MISSING)
    target = page.with_suffix(".pdf")
    with tempfile.TemporaryDirectory(prefix="wearbook-pdf-") as scratch:
        made = Path(scratch) / "report.pdf"
        words = [
            browser,
            "--headless",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
            "--no-first-run",
            f"--user-data-dir={scratch}/profile",
            "--no-pdf-header-footer",
            f"--print-to-pdf={made}",
            page.resolve().as_uri(),
        ]
        # As root Chromium has no sandbox to run in; the page has no script and may load nothing.
        words[2:2] = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        programs.finish(words, patience_s=_PATIENCE_S)
        if not made.is_file():
            raise CampaignError(f"{Path(browser).name}: ended without a PDF. Print the report from a browser.")
        content = made.read_bytes()
    storage.write_bytes(target, _timed(content, at))
    return target


def _timed(content: bytes, at: str) -> bytes:
    """The PDF with another time in it; as many bytes as before, so that its table of places stays right."""
    digits = re.sub(r"\D", "", at)[:14].encode()
    if len(digits) != 14:
        return content
    return _TIME.sub(lambda found: b"/" + found.group(1) + b" (D:" + digits + found.group(2) + b")", content)
