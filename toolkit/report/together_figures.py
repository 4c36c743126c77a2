"""The pictures of responses against each other that report and notebooks show (rank 10)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from toolkit import measured_in
from toolkit.decide.analysis import Analysis
from toolkit.plot import together

# The primary response with each other, as far as a page has room; the table tells every pair.
MOST = 3


def figures(analysis: Analysis) -> Iterator[tuple[Any, str, str]]:
    """Each picture with its text alternative and what it is: the primary response against the others, as far as told.

    Parameters
    ----------
    analysis : Analysis
    """
    first = next(iter(analysis.responses), None)
    told = [row for row in analysis.agreement.to_dict("records") if row["response"] == first]
    for row in [row for row in told if row["correlation"] is not None][:MOST]:
        one, other = analysis.responses[row["response"]], analysis.responses[row["other"]]
        if one.fit is None or one.checks is None or other.checks is None:
            continue
        # A response of positions and one of whole runs have no rows in common.
        if set(one.checks.residuals["run_id"]).isdisjoint(other.checks.residuals["run_id"]):
            continue
        given = (row, one.fit.runs, one.checks.residuals, other.checks.residuals, analysis.brief)
        names = " and ".join(measured_in.label(row[key]) for key in ("response", "other"))
        yield together.together(*given)[0], together.alt_together(*given), f"Run by run, {names}"
