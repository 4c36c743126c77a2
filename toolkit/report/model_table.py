"""The model of a response term by term, with its formula on safe names, as a table (rank 10)."""

from __future__ import annotations

from toolkit.decide import stated
from toolkit.decide.stated import Stated
from toolkit.report.table import Table

HEAD = ("term", "in the formula", "judged between", "df", "in the plan")


def table(found: Stated) -> Table:
    """Every term with its place in the formula, its stratum, its df, and whether the sealed plan's model has it."""
    rows = [
        (
            str(row["term"]),
            str(row["in_formula"]),
            "taken out, not judged" if row["term"] == stated.BLOCK else f"{row['stratum']}s",
            str(row["df"]),
            stated.planned_word(row["planned"]),
        )
        for row in found.terms.to_dict("records")
    ]
    names = "; ".join(f"{name}: {meaning}" for name, meaning in found.names.items())
    notes = (f"Formula in the language of patsy, for reading only: {found.formula}", f"In it stand for: {names}.")
    return Table("The model term by term", HEAD, tuple(rows), ("df",), notes)
