"""INVENTED campaigns: the seeded generator behind data/, its truth, and what it ought to show (rank 10)."""
