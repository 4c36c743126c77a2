"""Pictures of residuals at run level: against the fitted value, against the order, against normal quantiles (rank 8)."""
