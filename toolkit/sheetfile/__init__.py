"""Workbooks as bytes: the one place that writes and reads xlsx (rank 1).

Text is stored as text, whatever it begins with, and no formula is ever written. What is read is looked at before it
is parsed.
"""

from toolkit.sheetfile.reading import Found, Read, read
from toolkit.sheetfile.writing import Cell, Sheet, write

__all__ = ["Cell", "Found", "Read", "Sheet", "read", "write"]
