"""Which levels may still be the best, as a table (rank 10)."""

from __future__ import annotations

from dataclasses import replace

from toolkit.decide.races import Races
from toolkit.report import tables as report_tables
from toolkit.report.table import Table


def table(races: Races) -> Table:
    """One row a level: by how much it leads the best of the others, the interval, and whether it may be the best."""
    rows = []
    for row in races.table.to_dict("records"):
        unit = row["measured_in"]
        told = row["still_in"] is not None
        rows.append(
            (
                f"{row['factor']} {row['level']}",
                f"{row['lead']:+.3g} {unit}".rstrip() if told else "not told",
                f"{row['lead_low']:+.3g} to {row['lead_high']:+.3g} {unit}".rstrip() if told else "",
                "" if not told else "yes" if row["still_in"] else "no",
                row["note"] or "",
            )
        )
    head = ("level", "leads the best of the others by", "interval, all together", "may be the best", "note")
    made = report_tables.plain("Picking the best: who is still in the race", head, rows, head[1:3])
    return replace(made, notes=races.sentences)
