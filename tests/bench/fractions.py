"""How long it takes to choose two-level fractions, beside the search of pyDOE3: python -m tests.bench.fractions."""

from __future__ import annotations

import subprocess
import sys
import time

_EVERY = """
import time
start = time.perf_counter()
from toolkit.numeric import fractions
loaded = time.perf_counter()
for runs, first in ((16, 5), (32, 6)):
    for factors in range(first, 16):
        assert fractions.minimum_aberration(factors, runs).proved
print(time.perf_counter() - loaded)
"""
_ONE = """
import time
from toolkit.numeric import fractions
start = time.perf_counter()
found = fractions.minimum_aberration(9, 64)
print(time.perf_counter() - start)
assert found.word_lengths[:3] == (0, 1, 4)
"""


def fresh(code: str) -> float:
    """The seconds that code prints in a process of its own: nothing is remembered from before."""
    return float(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout)


def every_fraction() -> float:
    """Seconds for least aberration of every 16- and 32-run fraction up to 15 factors, from nothing."""
    return fresh(_EVERY)


def beside() -> tuple[float, float]:
    """Seconds for 2^(9-3) from nothing, ours and pyDOE3's."""
    from pyDOE3 import fracfact_opt

    ours = fresh(_ONE)
    start = time.perf_counter()
    fracfact_opt(9, 3)
    return ours, time.perf_counter() - start


def main() -> None:
    """Every timing in turn."""
    print(f"{'every 16- and 32-run fraction up to 15 factors':<62}{every_fraction():>9.3f} s (aim 1 s)")
    ours, theirs = beside()
    print(f"{'2^(9-3), least aberration':<62}{ours:>9.4f} s, pyDOE3 {theirs:.1f} s, {theirs / ours:.0f} times")


if __name__ == "__main__":
    main()
