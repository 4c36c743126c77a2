"""The digits that certified data sets are reproduced to. Run with `python -m tests.numbers`."""
