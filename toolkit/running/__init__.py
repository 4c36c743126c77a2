"""What leaves for the test cell, metrology and the laboratory: registers, run sheets, blank tables (rank 5)."""
