"""What a received file is: a run sheet of ours, or a table, told by what stands in it (rank 6)."""

from __future__ import annotations

from toolkit.brief.model import Brief

KINDS = ("run sheet", "stations", "oil", "runs", "history")


def identify(name: str, content: bytes, brief: Brief, as_name: str = "") -> tuple[str, str]:
    """The kind of a received file and the name of the [[received]] table it is read by (empty: our own headings).

    Parameters
    ----------
    name : str
        The file's name; ``files`` of a [[received]] table is matched against its last part.
    content : bytes
    brief : Brief
    as_name : str
        The [[received]] table to read it by, whatever its name.

    Raises
    ------
    IntakeError
        When it is none of them, or there is no such [[received]] table; the message says what it could be.
    """
    raise NotImplementedError
