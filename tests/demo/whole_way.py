"""A bundled campaign through every verb, as a person would: ``python -m tests.demo.whole_way pin-wear``.

Its brief is checked, planned and issued before anything comes back; then all is handed in at once with the codes that
were issued, analysed, reported, and worked out again. Prints each verb's exit code, its time and its last line.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
import time
from pathlib import Path

from toolkit.cli import main
from toolkit.demo import bundled

PHASE = ("--phase", "main")
BEFORE = (("check",), ("size",), ("plan", *PHASE), ("sheets", *PHASE, "--oil-at", "0,20,40,60,80,100"))
AFTER = (("intake",), ("check",), ("status",), ("verify",), ("analyse",), ("report",), ("next",), ("rerun",))


def walk(name: str, to: Path) -> list[tuple[str, int, float, str]]:
    """Every verb with its exit code, its seconds, and the last line it printed."""
    made = []
    for phases, verbs in (((), BEFORE), (("main",), AFTER)):
        bundled.bring(name, to, phases=phases)
        for verb, *options in verbs:
            said, start = io.StringIO(), time.perf_counter()
            with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
                code = main([verb, str(to), *options])
            last = (said.getvalue().strip().splitlines() or [""])[-1]
            made.append((verb, code, time.perf_counter() - start, last))
    return made


if __name__ == "__main__":
    os.environ.setdefault("WEARBOOK_NOW", "2026-04-01T08:00:00+00:00")
    with tempfile.TemporaryDirectory() as place:
        for one in walk(sys.argv[1] if len(sys.argv) > 1 else "pin-wear", Path(place) / "campaign"):
            print(f"{one[0]:8} exit code {one[1]}, {one[2]:5.1f} s: {one[3][:150]}", flush=True)
