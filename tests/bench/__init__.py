"""Timings, printed with their ratios; never asserted in a test. Run with `python -m tests.bench`."""
