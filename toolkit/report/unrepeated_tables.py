"""Effects of runs without repeats, judged by each other, as a table of the report (rank 10)."""

from __future__ import annotations

from toolkit import measured_in
from toolkit.brief.model import Response
from toolkit.decide import unrepeated as decide_unrepeated
from toolkit.decide.unrepeated import Unrepeated
from toolkit.plot import rounding
from toolkit.report.table import Table


def table(found: Unrepeated, response: Response) -> Table | None:
    """Every effect, the largest first, whether it stands out and what it cannot be told from."""
    if found.effects is None:
        return None
    log = response.scale == "log"
    factor, unit = (100.0, "%, of ln") if log else (1.0, response.measured_in)
    size = f"size ({unit})" if unit else "size"
    strata = dict.fromkeys(row["stratum"] for row in found.effects.judged_by.to_dict("records"))
    made = []
    for row in found.effects.table.sort_values("size", ascending=False, kind="stable").to_dict("records"):
        cells = (
            str(row["term"]),
            decide_unrepeated.change(row, response),
            rounding.significant(factor * float(row["size"])),
            row["stands_out"] or f"not judged: {row['note']}",
            row["aliases"] or "nothing else",
        )
        made.append((*cells, *((f"{row['error_stratum']}s",) if len(strata) > 1 else ())))
    where = ("between",) if len(strata) > 1 else ()
    head = ("term", "change", size, "stands out", "cannot be told from", *where)
    notes = [f"{note[:1].upper()}{note[1:]}." for note in found.effects.notes]
    for line in found.effects.judged_by.to_dict("records"):
        shown = [
            rounding.significant(factor * float(line[name]))
            for name in ("pse", "margin", "simultaneous_margin", "lenth_margin", "lenth_simultaneous_margin")
        ]
        notes.append(
            f"Between {line['stratum']}s: margin of one effect {shown[1]}, of all effects {shown[2]} "
            f"({line['drawn']:,} campaigns drawn, seed {line['seed']}); pseudo standard error {shown[0]}; Lenth's t "
            f"margins {shown[3]} and {shown[4]} ({line['lenth_df']:.3g} df)."
        )
    label = measured_in.label(response.name)
    caption = f"Effects on {label} judged by each other, as nothing was repeated: no interval, no verdict"
    return Table(caption, head, tuple(made), ("change", size), tuple(notes))
