"""Intake: what comes back from test cell, metrology and laboratory becomes tidy tables (rank 6)."""
