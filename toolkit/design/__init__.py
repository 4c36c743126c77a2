"""Designs: runs, units, strata and orders, decided before any data exist (rank 3)."""
