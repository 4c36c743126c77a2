"""``--dry-run``: a verb in a copy of its folder, which is thrown away (rank 11)."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from toolkit.errors import UseError


def try_out(given: argparse.Namespace, run: Callable[[], int]) -> int:
    """Try a verb out; gives the exit code that it would leave with.

    Parameters
    ----------
    given : Namespace
        The words of the command line; ``tried_out`` is put into it.
    run : callable
        The verb, with its refusals told.

    Raises
    ------
    UseError
        When a notebook is asked for, whose cells write as they run.
    WearbookError
        When there is no campaign, or its folder is held or cannot be written.
    """
    from toolkit.campaign import folder as campaign_folder
    from toolkit.campaign import tried_out

    if getattr(given, "notebook", False):
        raise UseError("--dry-run and --notebook: a notebook writes as it runs. Leave one of them out.")
    beside: tuple[str, ...] = ()
    if given.verb == "new":
        folder = Path(given.campaign)
    else:
        campaign = campaign_folder.open_campaign(given.campaign)
        folder, beside = campaign.folder, campaign.brief.scatter.campaigns
    with tried_out.tried_out(folder, beside=beside) as tried:
        given.tried_out = tried
        if getattr(given, "files", None):
            given.files = [tried.place_of(name) for name in given.files]
        return run()
