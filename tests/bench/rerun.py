"""Prints how long it takes to work many copies of the bundled campaign out again, in one process and in two.

    python -m tests.bench.rerun [COPIES]

Wall-clock seconds on an idle machine, both measured in the same run; set OPENBLAS_NUM_THREADS=1.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

from toolkit.campaign import rerunning, steps
from toolkit.demo import bundled

COPIES = 20


def main(copies: int) -> None:
    """One campaign analysed and copied, then all copies worked out again."""
    with tempfile.TemporaryDirectory() as scratch:
        first = Path(scratch) / "copy-1"
        campaign = bundled.bring("chain-soot", first, phases=("pilot", "main"))
        for phase in ("pilot", "main"):
            steps.plan(campaign, phase=phase)
        steps.size(campaign)
        steps.analyse(campaign)
        folders = [str(first)]
        for number in range(2, copies + 1):
            folders.append(str(shutil.copytree(first, Path(scratch) / f"copy-{number}")))
        taken = {}
        for engine, processes in (("serial", 1), ("processes", 2)):
            start = time.perf_counter()
            found = rerunning.rerun(folders, engine=engine, processes=processes)
            taken[processes] = time.perf_counter() - start
            found.require()
        print(
            f"rerun of {copies} copies: {taken[1]:.1f} s in one process, {taken[2]:.1f} s in two, "
            f"{taken[1] / taken[2]:.2f} times faster"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else COPIES)
