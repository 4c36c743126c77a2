"""Recomputing what must not have changed: log, seals, what was issued and what was taken in (rank 9)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from toolkit.campaign import folder as campaign_folder
from toolkit.campaign import log, seal, sheets, unchanged
from toolkit.campaign.folder import Campaign
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError, IntegrityError, WearbookError


@dataclass(frozen=True)
class Verified:
    """What was recomputed and found right, a line each, and the log head to keep elsewhere."""

    lines: tuple[str, ...]
    log_head: str

    def to_json(self) -> dict[str, Any]:
        """The lines and the log head."""
        return {"in_order": True, "lines": list(self.lines), "log_head": self.log_head}

    def __repr__(self) -> str:
        """The lines."""
        return "\n".join(self.lines)


def verify(campaign: Campaign, *, quick: bool = False) -> Verified:
    """Check everything that must not change against the bytes on disk: the log's chain, seals, issued and taken in.

    Parameters
    ----------
    campaign : Campaign
    quick : bool
        Chain and seals, and whether the files are there; what stands in files received and issued is not read.

    Raises
    ------
    IntegrityError
        When something is not what it was; everything found is told at once.
    CampaignError
        When campaign.toml changed since a seal and nothing else is wrong; the keys are named.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import folder, start, steps
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = folder.open_campaign(start.new(f"{place}/trial").folder)
    ...     planned = steps.plan(campaign, phase="pilot")
    ...     found = verify(campaign)
    >>> found.lines[0]
    'log.csv: 2 rows, chain unbroken'
    >>> found.lines[1].replace(planned.plan["seal"], "...")
    'pilot: seal ... fits its files and campaign.toml'
    """
    root = campaign.folder
    faults: list[WearbookError] = []
    rows = _attempt(faults, lambda: log.read(root))
    lines = [] if rows is None else [f"{log.NAME}: {len(rows)} rows, chain unbroken", *log.set_back(rows)]
    for call in _files(campaign, rows, quick) if rows is not None else ():
        told = _attempt(faults, call) or ([], [])
        lines += told[0]
        faults += [IntegrityError(fault) for fault in told[1]]
    for phase in PHASES:
        lines += _seals(campaign, phase, faults)
        if rows is not None and seal.stopped(root, phase):
            lines.append(
                f"{phase}: a command was stopped while it sealed this phase; nothing is lost, "
                f"`wearbook plan --phase {phase}` completes it"
            )
        if rows is not None and seal.amending(root, phase):
            lines.append(
                f"{phase}: a command was stopped while it amended this phase; nothing is lost, the same "
                f"`wearbook amend` again completes it"
            )
    _raise(faults)
    head = log.log_head(rows or [])
    return Verified((*lines, f"log head {head} (write it down elsewhere: it shows a log that was cut)"), head)


def _seals(campaign: Campaign, phase: str, faults: list[WearbookError]) -> list[str]:
    """What is told of the seal of a phase, and of those that amendments replaced."""
    root = campaign.folder
    if not _attempt(faults, lambda: seal.exists(root, phase)):
        return []
    plans = _attempt(faults, lambda: seal.versions(root, phase))
    if plans is None:
        # A broken log must not hide a broken plan.
        _attempt(faults, lambda: seal.sound(root, phase, seal.folder_of(root, phase)))
        return []
    if _attempt(faults, lambda: campaign.plan(phase)) is None:
        return []
    kept = [
        f"{phase}: the plan before amendment {at}, seal {plan['seal']}, is kept" for at, plan in enumerate(plans, 1)
    ]
    return [*kept[:-1], f"{phase}: seal {plans[-1]['seal']} fits its files and campaign.toml"]


def _files(campaign: Campaign, rows: Sequence[dict[str, str]], quick: bool) -> tuple[Callable[[], unchanged.Told], ...]:
    """What looks at files taken in, kept by hand and issued."""
    root, by_hand = campaign.folder, campaign_folder.kept_by_hand(campaign.brief, campaign.folder)
    return (
        lambda: unchanged.taken_in(root, rows, quick=quick),
        lambda: unchanged.by_hand(root, rows, by_hand, quick=quick),
        lambda: unchanged.issued(root, rows, sheets.ISSUED, quick=quick),
    )


def _attempt(faults: list[WearbookError], call: Callable[[], Any]) -> Any:
    """What a call gives; None, and its error kept, when it fails."""
    try:
        return call()
    except (IntegrityError, CampaignError) as problem:
        faults.append(problem)
        return None


def _raise(faults: Sequence[WearbookError]) -> None:
    """All that is wrong in one error: the graver class, each sentence once."""
    broken = [str(item) for item in faults if isinstance(item, IntegrityError)]
    told = list(dict.fromkeys([*broken, *map(str, faults)]))
    if not told:
        return
    kind = IntegrityError if broken else CampaignError
    if len(told) == 1:
        raise kind(told[0])
    raise kind("\n".join([f"{len(told)} things are not what they were:", *(f"  {item}" for item in told)]))
