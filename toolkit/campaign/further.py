"""Which runs to make next, from the records of a finished phase (rank 9)."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Any

from toolkit.campaign import log, steps, storage
from toolkit.campaign.folder import Campaign
from toolkit.decide import ways_to_extend
from toolkit.decide.analysis import Analysis
from toolkit.decide.answered import Answered
from toolkit.decide.next_runs import NextRuns
from toolkit.decide.ways_to_extend import Ways
from toolkit.errors import CampaignError, ModelError


@dataclass(frozen=True, eq=False)
class Further:
    """What to run next: batches of runs in the plan as it is, and extensions that would tell more.

    Attributes
    ----------
    runs : NextRuns
    ways : Ways
    """

    runs: NextRuns
    ways: Ways

    def to_json(self) -> dict[str, Any]:
        """response, open[], sentence, candidates[] of the runs; extensions with ways[], tried and sentences[]."""
        return {**self.runs.to_json(), "extensions": self.ways.to_json()}

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join([self.runs.sentence, *self.ways.sentences])

    def _repr_html_(self) -> str:
        """The sentences."""
        return "".join(f"<p>{html.escape(line)}</p>" for line in (self.runs.sentence, *self.ways.sentences))


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
        first, found = _looked(campaign)
        _log(campaign, found)
    return first.beside.next_runs


def advice(campaign: Campaign) -> Further:
    """The further runs, and the extensions that would tell more of what is asked; logged as a look.

    Raises
    ------
    CampaignError, ModelError
        As ``next_runs``.
    """
    with storage.locked(campaign.folder):
        first, found = _looked(campaign)
        ways = ways_to_extend.ways(campaign.brief, first.fit, first.verdicts)
        _log(campaign, found)
    return Further(first.beside.next_runs, ways)


def _looked(campaign: Campaign) -> tuple[Answered, Analysis]:
    """The answers of the primary response, or why there is no advice yet."""
    found = steps.analysis_of(campaign)
    first = next(iter(found.responses.values()))
    if first.stopped:
        raise ModelError(f"the primary response was not analysed: {first.stopped}")
    if first.beside is None and not first.interim:
        raise ModelError(
            f"{first.response}: which further runs would tell most is not reckoned where values are only known to lie "
            f"below a limit or between two ends. Ask the laboratory for the numbers behind the '<'; or choose runs by "
            f"the other responses."
        )
    if first.beside is None:
        raise CampaignError(
            f"{first.response}: {first.interim}: the planned runs come first. Make them, or say with "
            f"`wearbook amend` that they are not made."
        )
    return first, found


def _log(campaign: Campaign, found: Analysis) -> None:
    """Tell the log that results were looked at."""
    log.look(campaign.folder, phase="main", subject=found.checksum(), counted=found.counted, seen=steps.seen(found))
