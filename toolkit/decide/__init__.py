"""Decisions: verdicts on comparisons, and what to run next (rank 7)."""
