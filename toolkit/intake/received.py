"""Files that came back and were taken in, and what is needed to read them: registers, corrections (rank 6).

Nothing here reads a disk: a received file is handed over as bytes, under the name that messages call it by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from toolkit.intake.identify import KINDS, identify
from toolkit.running.sheets import row_checksum

__all__ = ["KINDS", "Correction", "ReceivedFile", "Registers", "identify", "issued_under"]

PART_COLUMNS = ("part_id", "run_id", "spare", "batch", "serial")
SAMPLE_COLUMNS = ("sample_id", "run_id", "at_h", "oil_drum")


@dataclass(frozen=True)
class ReceivedFile:
    """A file that came back, as bytes.

    Attributes
    ----------
    name : str
        As messages call it: campaign-relative once it was taken in, as it was given before that.
    content : bytes
    kind : str
        'run sheet', 'stations', 'oil', 'runs' or 'history', as ``identify`` tells it.
    mapping : str
        The name of the [[received]] table it is read by; empty for our own sheets and headings.
    replaces : str
        The ``name`` of an earlier file that this one replaces; that one is read no more for values, and where the
        two differ is a finding. Empty for most.
    """

    name: str
    content: bytes
    kind: str
    mapping: str = ""
    replaces: str = ""


@dataclass(frozen=True, eq=False)
class Registers:
    """Parts and samples of every phase issued so far, one below the other.

    Attributes
    ----------
    parts : DataFrame
        As plan/<phase>/parts.csv: part_id, run_id (blank: spare), part factors, stations, spare, batch, serial; all
        text. A column phase may be there.
    samples : DataFrame
        As plan/<phase>/samples.csv: sample_id, run_id, at_h, oil_drum; all text. A column phase may be there.
    """

    parts: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(PART_COLUMNS), dtype=object))
    samples: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(SAMPLE_COLUMNS), dtype=object))


@dataclass(frozen=True)
class Correction:
    """One cell of a run that a note put right, with reason and role.

    ``column`` is a column of the runs (verdict among them) or part_id, serial, oil_drum, started_at, stopped_at;
    ``old`` and ``new`` are as people write them; ``after_look`` is true when the run's wear had been seen.
    """

    run_id: str
    column: str
    old: str
    new: str
    reason: str
    role: str
    at: str
    after_look: bool


def issued_under(plan: pd.DataFrame, seals: Sequence[str]) -> pd.DataFrame:
    """The run list of a sealed phase with what its run sheets carry, so that a sheet can be told to belong to it.

    Parameters
    ----------
    plan : DataFrame
        plan/<phase>/runs.csv as it is now, all of its columns and no others.
    seals : sequence of str
        The seal of the phase and, after amendments, its earlier ones. A sheet issued under any of them is good while
        its row is still what it was.

    Returns
    -------
    DataFrame
        A copy with ``row_checksum`` and ``seals`` (parted by blanks) added.
    """
    made = plan.copy()
    made["row_checksum"] = [row_checksum(row) for row in plan.to_dict("records")]
    made["seals"] = " ".join(seals)
    return made
