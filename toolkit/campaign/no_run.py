"""Files that tell of no run of the campaign: another campaign's table, or a blank one, is refused (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from toolkit.errors import Fault
from toolkit.intake.received import ReceivedFile
from toolkit.intake.records import Records

_KINDS = ("stations", "oil")
_RULES = {
    "part unknown": ("part", "parts of the registers in plan/, or of a run sheet"),
    "sample unknown": ("sample", "samples of the registers in plan/"),
}
_MOST = 6


def faults(fresh: Sequence[ReceivedFile], after: Records, news: pd.DataFrame) -> list[Fault]:
    """A fault for each new table of readings or samples that tells of no run at all.

    Parameters
    ----------
    fresh : sequence of ReceivedFile
    after : Records
        With the new files.
    news : DataFrame
        The findings that came with them.

    Returns
    -------
    list of Fault
        Empty when each file tells something of a run, or of a spare of this campaign.
    """
    told = set(after.sources["file"])
    silent = [file for file in fresh if file.kind in _KINDS and file.name not in told]
    return [fault for file in silent if (fault := _fault(file.name, news)) is not None]


def _fault(name: str, news: pd.DataFrame) -> Fault | None:
    """Why nothing of a file can be used; None when it tells of spares only."""
    about = news[news["found"].astype(str).str.contains(f"({name} ", regex=False)]
    for rule, (what, expected) in _RULES.items():
        found = about[about["rule"] == rule]
        if len(found):
            # Samples are told in one finding, parts in one each.
            codes = [str(code) for code in found["part_id"] if code and str(code) != "nan"]
            shown = ", ".join(codes[:_MOST]) + (f" and {len(codes) - _MOST} more" if len(codes) > _MOST else "")
            of = f"{what}{'s' * (len(codes) != 1)} {shown}" if codes else str(found["found"].iloc[0])
            return Fault(
                name,
                f"tells of no run of this campaign ({of})",
                expected,
                "Is it another campaign's table? Else issue the registers first with `wearbook sheets`, or correct "
                "the codes in the table, and take it in again.",
            )
    if (news["rule"] == "spare not used").any():
        return None
    return Fault(
        name,
        "no figure is filled in",
        "at least one figure, or the word lost",
        "Take it in when it is filled in.",
    )
