"""What stands beside the plans of an extension: what the runs made show by themselves (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.size import _option_words as option_words
from toolkit.size import promise
from toolkit.size.scatter import Scatter
from toolkit.wording import joined


def without_extension(brief: Brief, standing: pd.DataFrame, scatters: Sequence[Scatter], primary: str) -> list[str]:
    """What the runs that count already show by themselves, and how their own scatter counts twice."""
    scatter = next(item for item in scatters if item.response.name == primary)
    alone = [claim for claim in promise.claims_of_runs(brief, standing, scatter) if claim.comparison]
    told = [option_words.told(brief, claim) for claim in alone]
    notes = [f"without an extension, from {len(standing)} runs: {joined(told)}"] if told else []
    if scatter.basis == "main" or any(item["source"] == "main" for item in scatter.table.to_dict("records")):
        notes.append(
            "the scatter is that of the runs that count already, and counts again in the error of the answers: the "
            "chances told are up to 5 points too low, and at 2 degrees of freedom up to 2 too high (simulated)"
        )
    return notes
