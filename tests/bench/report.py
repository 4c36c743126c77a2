"""Prints how long analysis, report and all templates of the bundled campaign take, each in a process of its own.

    python -m tests.bench.report [TIMES]

Each is run so many times and the least is told: seconds of processor time, of the command and of all that it started,
and seconds on the clock. The templates run once. Only the clock of an idle machine of two cores says what a person
waits.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from toolkit.campaign import start, steps
from toolkit.demo import bundled

TIMES = 3
COMMAND = "import sys; from toolkit.cli import main; sys.exit(main())"


def taken(*words: object) -> tuple[float, float]:
    """Seconds of processor time and on the clock that a command takes, from the start of its process to the end."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, "-c", COMMAND, *map(str, words)], check=True, capture_output=True)
    clock, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, clock


def told(name: str, found: list[tuple[float, float]]) -> None:
    """Print the least of what was found."""
    processor, clock = (min(column) for column in zip(*found, strict=True))
    least = f"{processor:.1f} s of processor time, {clock:.1f} s on the clock"
    print(f"{name}: {least} (least of {len(found)})", flush=True)


def main(times: int) -> None:
    """The bundled campaign with both phases in, analysed, reported, and gone through by its templates."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch) / "chain-soot"
        campaign = bundled.bring("chain-soot", root)
        start.bring_notebooks(root)
        for phase, brought in (("pilot", ("pilot",)), ("main", ("pilot", "main"))):
            steps.plan(campaign, phase=phase)
            bundled.bring("chain-soot", root, phases=brought)
        # Recordings are read once, by whichever command comes first.
        taken("analyse", root)
        for verb in ("analyse", "report"):
            told(verb, [taken(verb, root) for _ in range(times)])
        told("every template, two at a time", [taken("notebooks", root)])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else TIMES)
