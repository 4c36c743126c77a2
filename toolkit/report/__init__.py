"""Words, tables, notebooks and the report (rank 10)."""
