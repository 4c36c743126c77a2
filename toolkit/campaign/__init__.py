"""The campaign folder: the only writer to disk besides the report (rank 9)."""
