"""Which runs to make next, from the records of a finished phase (rank 9)."""

from __future__ import annotations

from toolkit.campaign import log, steps, storage
from toolkit.campaign.folder import Campaign
from toolkit.decide.next_runs import NextRuns
from toolkit.errors import CampaignError, ModelError


def next_runs(campaign: Campaign) -> NextRuns:
    """The further runs that would tell most about what is open in the primary response; logged as a look.

    Raises
    ------
    CampaignError
        While runs are pending: those come first.
    ModelError
        When the primary response could not be analysed.
    """
    with storage.locked(campaign.folder):
        found = steps.analysis_of(campaign)
        first = next(iter(found.responses.values()))
        if first.stopped:
            raise ModelError(f"the primary response was not analysed: {first.stopped}")
        if first.beside is None:
            raise CampaignError(
                f"{first.response}: {first.interim}: the planned runs come first. Make them, or say with "
                f"`wearbook amend` that they are not made."
            )
        log.look(
            campaign.folder, phase="main", subject=found.checksum(), counted=found.counted, seen=steps.seen(found)
        )
    return first.beside.next_runs
