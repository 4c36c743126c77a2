"""raw/gauge.csv, parts measured again and again, becomes a tidy frame (rank 6)."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from toolkit.intake import cells, csv_text
from toolkit.intake.gathered import Gathered
from toolkit.intake.raw import NOTE, Raw, check_header, of_frame, walk

NAME = "raw/gauge.csv"
KEYS = ("part_id", "operator", "station_id", "reading")
COLUMNS = (*KEYS, "value")


def read(folder: Path | str) -> pd.DataFrame | None:
    """The gauge study of a campaign, or None where there is none.

    Parameters
    ----------
    folder : Path
        The campaign's folder; the file is read and never written.

    Returns
    -------
    DataFrame or None
        As ``readings``.

    Raises
    ------
    IntakeError
        With every fault, each with line and column.
    """
    told = Gathered()
    raw, _ = csv_text.read(Path(folder), NAME, told)
    made = None if raw is None else readings(raw, told)
    told.raise_all()
    return made


def from_table(frame: pd.DataFrame) -> pd.DataFrame:
    """A gauge study given as a frame, through the same checks as the file.

    Raises
    ------
    IntakeError
        With every fault, each with row and column.
    """
    told = Gathered()
    raw = of_frame("gauge", frame, told)
    made = None if raw is None else readings(raw, told)
    told.raise_all()
    return pd.DataFrame() if made is None else made


def readings(raw: Raw, gathered: Gathered) -> pd.DataFrame:
    """The readings of a gauge study, one row a reading in the order of the table.

    Parameters
    ----------
    raw : Raw
        Columns part_id, operator, station_id, reading (1, 2 ... of that station by that operator) and value; ``note``
        may be there. Parts are measured as they are: nothing is worn between readings.
    gathered : Gathered

    Returns
    -------
    DataFrame
        Those columns; value NaN where blank or 'lost', and negative values as they are.
    """
    check_header(raw, COLUMNS, (), gathered)
    made = []
    seen: dict[object, int] = {}
    for row in walk(raw, gathered):
        line: dict[str, object] = {}
        for name, needed in (
            ("part_id", "the part"), ("operator", "who measured, by role or letter"), ("station_id", "the station"),
        ):  # fmt: skip
            line[name] = row.take(name, cells.identifier, needed=needed)
        line["reading"] = row.take("reading", cells.whole, needed="1, 2 ... of this station by this operator")
        key = tuple(line[name] for name in KEYS)
        if None not in key:
            row.once(seen, "reading", key, "each reading of a station by an operator once")
        line["value"] = row.take("value", cells.measurement, "value")
        made.append({**line, NOTE: cells.in_words(row.text(NOTE))})
    frame = pd.DataFrame(made, columns=[*COLUMNS, *([NOTE] if NOTE in raw.header else [])])
    frame["value"] = frame["value"].astype("float64")
    return frame
