"""A response surface as a table of the report (rank 10)."""

from __future__ import annotations

from toolkit import measured_in
from toolkit.decide.answered import Answered
from toolkit.report.table import Table


def tables(found: Answered) -> tuple[Table, ...]:
    """The settings of the surface, with what they say in words; none where there is no surface."""
    if found.surface is None:
        return ()
    rows = []
    for row in found.surface.table.to_dict("records"):
        region = "–"
        if row["region_low"] is not None:
            region = f"{row['region_low']:.4g} to {row['region_high']:.4g}"
            region += ", at a limit" if row["region_at_limit"] else ""
        level = "–" if row["stationary"] is None else f"{row['stationary']:.4g}"
        best = f"{row['best']:.4g}{' (a limit)' if row['best_at_limit'] else ''}"
        rows.append((measured_in.quantity(str(row["factor"])), level, region, best))
    label = measured_in.label(found.response)
    conf = f"{100 * found.surface.fit.brief.conf_level:g} %"
    head = ("factor", "level in every direction at", f"{conf} region of that, within the levels run", "best setting")
    return (Table(f"The surface of {label}", head, tuple(rows), (), tuple(found.surface.sentences)),)
