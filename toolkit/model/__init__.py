"""Models: what the runs say, with the error the design decides."""
