"""Prints how long the command takes: whole processes, median of several runs, beside what they are compared with."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.bench import fractions, many, mixed, optimal, options

ROOT = Path(__file__).parents[2]
WEARBOOK = [sys.executable, "-c", "import sys; from toolkit.cli import main; sys.exit(main())"]


def seconds(command: Sequence[str], times: int, *, cwd: Path = ROOT) -> float:
    """The median wall time of a command [s]."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run(list(command), cwd=cwd, check=True, capture_output=True)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def line(what: str, taken: float, beside: str, other: float) -> None:
    """One line: time, what it is compared with, the ratio."""
    print(f"{what:52s} {taken:9.3f} s   {beside:32s} {other:9.3f} s   ratio {taken / other:6.2f}")


def taken_in(folder: Path) -> None:
    """Issue the sheets of a campaign and take its tables in, so that there is something to verify."""
    for verb in ("sheets", "intake"):
        subprocess.run([*WEARBOOK, verb, str(folder)], cwd=ROOT, check=True, capture_output=True)


def within(folder: Path, *, quick: bool) -> float:
    """The median time that verifying takes in a process that has everything imported [s]."""
    from toolkit.campaign import verify
    from toolkit.campaign.folder import open_campaign

    taken = []
    for _ in range(5):
        start = time.perf_counter()
        verify.verify(open_campaign(folder), quick=quick)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main() -> None:
    """Every timing in turn."""
    bare = seconds([sys.executable, "-c", "pass"], 9)
    line("wearbook --help", seconds([*WEARBOOK, "--help"], 9), "bare python", bare)
    line("  against its limit", seconds([*WEARBOOK, "--help"], 9), "limit", 0.3)
    with tempfile.TemporaryDirectory() as scratch:
        made = Path(scratch) / "demo"
        line("wearbook demo", seconds([*WEARBOOK, "demo", "--to", str(made)], 1, cwd=Path(scratch)), "limit", 60.0)
        sizing = seconds([*WEARBOOK, "size", str(made)], 3, cwd=Path(scratch))
        imports = seconds([sys.executable, "-c", "import toolkit.campaign.steps"], 3)
        line("wearbook size, bundled campaign", sizing, "imports alone", imports)
        line("  against its limit", sizing, "limit", 3.0)
        line(
            "wearbook analyse, bundled campaign",
            seconds([*WEARBOOK, "analyse", str(made)], 3, cwd=Path(scratch)),
            "imports alone",
            imports,
        )
        taken_in(made)
        verifying = seconds([*WEARBOOK, "verify", str(made)], 3, cwd=Path(scratch))
        line("wearbook verify, bundled campaign taken in", verifying, "limit", 5.0)
        quickly = seconds([*WEARBOOK, "verify", "--quick", str(made)], 3, cwd=Path(scratch))
        line("wearbook verify --quick, the same", quickly, "imports alone", imports)
        line("  without the imports", within(made, quick=True), "limit", 0.5)
        line("wearbook status, the same", seconds([*WEARBOOK, "status", str(made)], 3, cwd=Path(scratch)), "limit", 5.0)
    from toolkit.campaign import log, storage

    with tempfile.TemporaryDirectory() as scratch:
        log.append(Path(scratch), kind="look")
        head = (Path(scratch) / log.NAME).read_text(encoding="utf-8").splitlines()[0]
        before, rows = log.log_head([]), [head]
        for _ in range(10_000):
            row = dict.fromkeys(log.COLUMNS, "x")
            row["chain"] = before = log._link(row, before)
            rows.append(",".join(row.values()))
        storage.write_text(Path(scratch) / log.NAME, "\n".join(rows) + "\n")
        start = time.perf_counter()
        log.read(Path(scratch))
        line("log of 10,000 rows, chain checked", time.perf_counter() - start, "limit", 1.0)
    from toolkit.numeric import promise

    arms = np.arange(2, 61)
    start = time.perf_counter()
    for _ in range(20):
        promise.assurance(1.5, [(2.0 / arms, 2.0 * (arms - 1))], [(1.0, 3.0)])
    line("assurance, all plans of 2 to 60 an arm", (time.perf_counter() - start) / 20, "limit", 0.03)
    line("every 16- and 32-run fraction up to 15 factors", fractions.every_fraction(), "limit", 1.0)
    mixed.main()
    many.main()
    options.main()
    optimal.main()


if __name__ == "__main__":
    main()
