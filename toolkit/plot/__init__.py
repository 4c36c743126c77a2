"""Pictures of results; they never estimate (rank 8)."""
