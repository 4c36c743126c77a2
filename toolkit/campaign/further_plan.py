"""What an extension adds to the runs before it, for its plan.json and page: effects told, df, half-widths (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief import extensions
from toolkit.brief.model import Brief
from toolkit.design import further_runs, joined_words, make_up, phases
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.errors import DesignError
from toolkit.size import promise
from toolkit.size.claim import Claim
from toolkit.size.scatter import Scatter
from toolkit.wording import joined

KEY = "with_the_phases_before"


def beside(brief: Brief, standing: pd.DataFrame, further: pd.DataFrame, scatters: Sequence[Scatter]) -> dict[str, Any]:
    """What plan.json holds of an extension besides: the gain over the runs that count or still may.

    Parameters
    ----------
    brief : Brief
    standing : DataFrame
        Runs of the phases before it that are valid or pending: phase, build_id and the factors.
    further : DataFrame
        Those of the extension.
    scatters : sequence of Scatter
        For the half-widths; none where no scatter is known.

    Returns
    -------
    dict
        One key, with sentences[], clear[], told[], shared[] and comparisons[] (response, comparison, error_df_before,
        error_df_after, half_width_before, half_width_after, as a ratio on the log scale; None where it cannot be told).
    """
    both = pd.concat([standing, further.assign(phase="extension")], ignore_index=True)
    found = joined_words.gain(phases.strata_together(brief, standing), phases.strata_together(brief, both))
    rows = [row for item in scatters for row in _compared(brief, standing, both, item)]
    return {
        KEY: stamp.plain(
            {
                "sentences": list(found.sentences),
                "clear": list(found.clear),
                "told": list(found.told),
                "shared": list(found.shared),
                "comparisons": rows,
            }
        )
    }


def require(brief: Brief, standing: pd.DataFrame, further: pd.DataFrame) -> None:
    """Refuse runs that do not do what they are for, as the runs before them were made.

    Raises
    ------
    DesignError
        When runs that were to free effects, or to make up for missing ones, do not do so.
    """
    kind = brief.extension.design
    if kind not in (extensions.FREEING, extensions.MAKE_UP):
        return
    both = pd.concat([standing, further.assign(phase="extension")], ignore_index=True)
    before, after = phases.strata_together(brief, standing), phases.strata_together(brief, both)
    if kind == extensions.FREEING:
        idle = [
            model_terms.name_of(term)
            for term in further_runs.named(brief)
            if term not in after.terms or not _told(after, term)
        ]
        if idle:
            raise DesignError(
                f"[extension] free: with the runs as they were made {joined(idle)} cannot be told apart by these runs, "
                f"because runs of the main phase are lost. Make those up first ('{extensions.MAKE_UP}'; `wearbook "
                f"next` lists them), or choose a fold-over."
            )
    if kind != extensions.MAKE_UP:
        return
    gained = [term for term in after.terms if _told(after, term) and not (term in before.terms and _told(before, term))]
    lacking = [term for term in before.terms if not _told(before, term)]
    if gained or not lacking:
        return
    listed = make_up.lines(before)
    lines = ", ".join("{ " + ", ".join(f'{name} = "{level}"' for name, level in one.items()) + " }" for one in listed)
    write = f" Write combinations = [ {lines} ]." if listed else ""
    untold = joined([model_terms.name_of(term) for term in lacking])
    raise DesignError(
        f"[extension] combinations: these runs tell nothing of what the runs before them leave untold ({untold}); in "
        f"a block of its own a single run is compared with nothing, and one that was run already is needed beside "
        f"those that were not.{write}"
    )


def _told(laid: Strata, term: model_terms.Term) -> bool:
    """True when every degree of freedom of a term can be told."""
    rows = np.eye(laid.columns.shape[1])[laid.spans[term]]
    return all(laid.estimable(row) for row in rows)


def _compared(brief: Brief, standing: pd.DataFrame, both: pd.DataFrame, scatter: Scatter) -> list[dict[str, Any]]:
    """Each comparison with its df and half-width before and after."""
    before = {item.comparison: item for item in promise.claims_of_runs(brief, standing, scatter) if item.comparison}
    after = [item for item in promise.claims_of_runs(brief, both, scatter) if item.comparison]
    return [
        {
            "response": item.response,
            "comparison": item.comparison,
            "error_df_before": before[item.comparison].error_df,
            "error_df_after": item.error_df,
            "half_width_before": _width(before[item.comparison]),
            "half_width_after": _width(item),
        }
        for item in after
    ]


def _width(claim: Claim) -> float | None:
    """The half-width expected, as a ratio or in the unit."""
    return claim.half_width if claim.half_width_ratio is None else claim.half_width_ratio
