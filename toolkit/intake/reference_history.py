"""Reference runs made before the campaign, from the table that [reference] names (rank 6)."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import cells, named_table
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import NOTE, Raw, check_header, of_frame, walk

KEYS = ("run_id", "build_id")


def read(folder: Path, brief: Brief, inputs: dict[str, str], told: Gathered) -> pd.DataFrame | None:
    """The reference runs that were made earlier, one row a run in their order; None where the brief names no table.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    brief : Brief
    inputs : dict
        The checksum of the file is entered here.
    told : Gathered
        Faults are kept here.

    Returns
    -------
    DataFrame or None
        run_id, build_id and a column for each response that the table tells; NaN where blank or 'lost'.
    """
    name = brief.reference.history if brief.reference is not None else None
    if name is None:
        return None
    raw = named_table.read(folder, name, "[reference] history", "a table of earlier reference runs", inputs, told)
    return None if raw is None else runs(raw, brief, told)


def from_table(brief: Brief, frame: pd.DataFrame) -> pd.DataFrame:
    """Earlier reference runs given as a frame, through the same checks as the file.

    Raises
    ------
    IntakeError
        With every fault.
    """
    told = Gathered()
    raw = of_frame("reference runs", frame, told)
    made = pd.DataFrame() if raw is None else runs(raw, brief, told)
    told.raise_all()
    return made


def runs(raw: Raw, brief: Brief, told: Gathered) -> pd.DataFrame:
    """The rows of the table, in their order.

    Parameters
    ----------
    raw : Raw
        Columns run_id, build_id and one or more responses; ``note`` may be there. Their order is that of the runs.
    brief : Brief
    told : Gathered
    """
    responses = [item.name for item in brief.responses]
    check_header(raw, KEYS, responses, told)
    there = [name for name in responses if name in raw.header]
    if not there:
        told.add(
            raw.name, f"{raw.name} {raw.unit} 1", "no column of a response", f"one of {', '.join(responses)} at least"
        )
    made = []
    seen: dict[object, int] = {}
    for row in walk(raw, told):
        line: dict[str, object] = {name: row.take(name, cells.identifier, needed="an id") for name in KEYS}
        row.once(seen, "run_id", line["run_id"], "each run once")
        line |= {name: row.take(name, cells.measurement, name) for name in there}
        made.append({**line, NOTE: cells.in_words(row.text(NOTE))})
    frame = pd.DataFrame(made, columns=[*KEYS, *there, *([NOTE] if NOTE in raw.header else [])])
    return frame.astype(dict.fromkeys(there, "float64"))
