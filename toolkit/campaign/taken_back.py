"""A file that was taken in by mistake is taken back: it counts nowhere any more, and the log tells why (rank 9).

Nothing is deleted. The file keeps its copy and its row in the manifest; one row of the log takes it back, so that a
command that is stopped has done all or nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import after_look as looked
from toolkit.campaign import log, manifest, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.manifest import Entry
from toolkit.errors import CampaignError, Fault, IntakeError, listing, nearest, raise_all
from toolkit.intake import gathered
from toolkit.intake.records import Records

HEADLINE = "The file was not taken back; nothing was written."


@dataclass(frozen=True, eq=False)
class TakenBack:
    """A file that was taken back, and what follows from it.

    Attributes
    ----------
    entry : Entry
        The file as it was taken in.
    counts_again : Entry or None
        The file it had replaced, which counts again.
    runs : tuple of str
        The runs it told figures of.
    seen : tuple of str
        Those among them whose wear had been seen.
    reason, role : str
    findings : DataFrame
        What the records say now and did not say before.
    """

    entry: Entry
    counts_again: Entry | None
    runs: tuple[str, ...]
    seen: tuple[str, ...]
    reason: str
    role: str
    findings: pd.DataFrame

    def to_json(self) -> dict[str, Any]:
        """The file, what counts again in its place, its runs, those seen before, reason, role and new findings."""
        return stamp.plain(
            {
                "taken_back": asdict(self.entry),
                "counts_again": None if self.counts_again is None else asdict(self.counts_again),
                "runs": list(self.runs),
                "after_look": list(self.seen),
                "reason": self.reason,
                "role": self.role,
                "findings": stamp.records(self.findings),
            }
        )

    def __repr__(self) -> str:
        """What was taken back and why."""
        return f"{self.entry.given_as}: taken back ({self.reason}; {self.role}); {self.entry.file} stays where it is"


def take_back(campaign: Campaign, old: str, *, reason: str, role: str, after_look: bool = False) -> TakenBack:
    """Take back a file that was taken in: one row in the log, and from then on it counts nowhere.

    Parameters
    ----------
    campaign : Campaign
    old : str
        The file: its path, its name, the name it came under, or the start of its sha256.
    reason, role : str
        Why, and the role (no name) of who says so.
    after_look : bool
        Take it back although the wear of a run it tells of has been seen; this is marked everywhere then.

    Returns
    -------
    TakenBack
        Where it had replaced another file, that one counts again.

    Raises
    ------
    CampaignError
        With everything that is wrong with what was asked.
    IntakeError
        When the records are not in order, or would not be without the file.
    IntegrityError
        When what was taken in before is not what it was.
    """
    with storage.locked(campaign.folder):
        rows = log.read(campaign.folder)
        before = campaign.records()
        faults = log.unsaid(reason, role)
        entry = _named(rows, old, faults)
        runs = () if entry is None else looked.runs_of(before, entry)
        seen = looked.seen(rows, runs)
        if seen and not after_look:
            faults.append(looked.fault(rows, seen, f"--take-back {old}", "taken back"))
        raise_all(CampaignError, HEADLINE, faults)
        if entry is None:
            raise CampaignError(HEADLINE)
        after = _without(campaign, entry)
        replaced = [item for item in manifest.entries(rows) if item.file == entry.replaces]
        log.append(
            campaign.folder,
            kind=log.BACK,
            subject=entry.sha256,
            what=stamp.canonical(
                {"file": entry.file, "given_as": entry.given_as, "runs": list(runs), "after_look": bool(seen)}
            ),
            reason=reason.strip(),
            role=role.strip(),
        )
    old_rows = {tuple(row) for row in before.findings.itertuples(index=False)}
    told = after.findings
    new = pd.Series([tuple(row) not in old_rows for row in told.itertuples(index=False)], index=told.index, dtype=bool)
    return TakenBack(
        entry,
        replaced[0] if replaced else None,
        runs,
        seen,
        reason.strip(),
        role.strip(),
        told[new].reset_index(drop=True),
    )


def _named(rows: Sequence[Mapping[str, str]], old: str, faults: list[Fault]) -> Entry | None:
    """The file that is meant; None, and a fault kept, where it cannot be told or cannot be taken back."""
    where = f"--take-back {old}".rstrip()
    every = manifest.entries(rows)
    standing = manifest.standing(rows)
    counting = (*manifest.counting(standing), *manifest.recordings(standing))
    found = [item for item in counting if manifest.is_meant(item, old)]
    if len(found) == 1:
        return found[0]
    if found:
        faults.append(Fault(where, "means several files", listing([item.file for item in found])))
        return None
    gone = manifest.taken_back(rows)
    by_hand = next((item for item in every if item.by_hand and manifest.is_meant(item, old)), None)
    past = next((item for item in every if not item.by_hand and manifest.is_meant(item, old)), None)
    names = [item.given_as for item in counting]
    expected = listing(names) if names else "a file that was taken in"
    if by_hand is not None:
        told = "Put its lines right in the table, and take it in again with --reason and --role."
        faults.append(Fault(where, "a table that is kept by hand", expected, told))
    elif past is not None and past.file in gone:
        faults.append(Fault(where, f"was taken back already on {gone[past.file]['at']}", expected))
    elif past is not None:
        # What replaced it may have been replaced in its turn.
        later = past
        while after := next((item for item in standing if item.replaces == later.file), None):
            later = after
        told = f"It counts nowhere; what counts in its place is {later.given_as}."
        faults.append(Fault(where, f"was replaced already by {later.file}", expected, told))
    else:
        told = nearest(old, names) if names else "Nothing has been taken in so far."
        faults.append(Fault(where, "was not taken in", expected, told))
    return None


def _without(campaign: Campaign, entry: Entry) -> Records:
    """The records without a file.

    Raises
    ------
    IntakeError
        When they would not be in order: they were with it.
    """
    try:
        return campaign.records(back={entry.file})
    except IntakeError as problem:
        raise IntakeError(str(problem).replace(gathered.HEADLINE, HEADLINE, 1)) from problem
