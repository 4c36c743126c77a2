"""The brief: what is asked, of which factors, with which responses, at what price (rank 2)."""
