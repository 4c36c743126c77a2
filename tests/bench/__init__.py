"""Timings, printed with their ratios; never asserted in a test. Run with `python -m tests.bench`.

One thread for the linear algebra, before numpy is loaded: processor time of a second one would count twice.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")
