"""Intake: what comes back from test cell, metrology and laboratory becomes a tidy table (rank 6)."""
