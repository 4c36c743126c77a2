"""Workbooks as bytes: the one place that writes and reads xlsx; and text in CSV that would be a formula (rank 1).

Text is stored as text, whatever it begins with, and no formula is ever written. What is read is looked at before it
is parsed.
"""

from toolkit.sheetfile.guard import csv_lines, guarded, unguarded
from toolkit.sheetfile.reading import Found, Read, read
from toolkit.sheetfile.writing import Cell, Sheet, write

__all__ = ["Cell", "Found", "Read", "Sheet", "csv_lines", "guarded", "read", "unguarded", "write"]
