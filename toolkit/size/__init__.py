"""Sizing: what a number of runs can show, before they are booked (rank 5)."""
