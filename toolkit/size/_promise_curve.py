"""What one plan shows of its comparisons at any true change: the chance, and the power at the scatter's upper limit.

Rank 5. What the strata and the scatter say is worked out once; a chance at another true change takes milliseconds then.
A scatter that is k times as large is a true change that is k times as small, on the analysis scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design.strata import Strata
from toolkit.size import _claim_numbers as claim_numbers
from toolkit.size import _errors as errors
from toolkit.size import _unbalanced as unbalanced
from toolkit.size import promise
from toolkit.size._errors import Error
from toolkit.size._unbalanced import States
from toolkit.size.scatter import Scatter

COLUMNS = ("comparison", "change", "chance", "worthwhile")
_STEPS = 24
# Up to here a curve is drawn: per cent, or times the worthwhile change; per cent less end before all is gone.
_MOST_PCT, _MOST_TIMES, _NEARLY_ALL_PCT = 60.0, 4.0, 95.0


@dataclass(frozen=True, eq=False)
class Judged:
    """One comparison as a plan will judge it, and what is known of its error: mean squares, or states; or neither."""

    comparison: Comparison
    alpha: float
    scatter: Scatter
    error: Error | None
    states: States | None
    number: int

    def chances(self, gains: Sequence[float]) -> np.ndarray | None:
        """The chance that a difference is shown at each true gain, averaged over the doubt in the scatter."""
        asked = np.asarray(gains, dtype=float)
        if self.error is not None:
            return claim_numbers.assurance_at(self.scatter, self.error, asked, self.alpha)
        if self.states is None:
            return None
        found = self.states
        return claim_numbers.shown_in(found, self.number, found.every, asked, self.alpha) @ found.weights

    def at_upper(self, gain: float) -> float | None:
        """The power at the upper limit of the scatter."""
        if self.error is not None:
            return float(claim_numbers.power_at_upper(self.scatter, self.error, gain, self.alpha)[0])
        if self.states is None:
            return None
        return claim_numbers.upper_in(self.states, self.number, gain, self.alpha)


def judged(scatter: Scatter, laid: Strata) -> tuple[Judged, ...]:
    """Every comparison of a plan with what is known of its error.

    Parameters
    ----------
    scatter : Scatter
    laid : Strata
        As the plan's runs will be judged.
    """
    asked = [item for item in promise.asked_of([laid]) if item.comparison is not None]
    states: States | str = ""
    if laid.unbalanced and asked:
        states = unbalanced.states_of(scatter, laid, np.array([item.question.row for item in asked]))
    made = []
    for number, item in enumerate(asked):
        if item.comparison is None:
            continue
        found = None
        if not laid.unbalanced and item.parts[0]:
            found = errors.error_of(scatter, [laid], [item.parts[0]])
        whole = isinstance(states, States) and not np.isnan(states.variance[number]).any()
        made.append(
            Judged(
                item.comparison,
                promise.judged_at(laid, item.comparison, states)[0],
                scatter,
                found if isinstance(found, Error) else None,
                states if whole and isinstance(states, States) else None,
                number,
            )
        )
    return tuple(made)


def curve(brief: Brief, response: Response, asked: Sequence[Judged], *, scatter_times: float = 1.0) -> pd.DataFrame:
    """The chance that each comparison is shown, over true changes from none on.

    Parameters
    ----------
    brief : Brief
    response : Response
    asked : sequence of Judged
    scatter_times : float

    Returns
    -------
    DataFrame
        comparison, change (in per cent on the log scale, else in the response's unit, without a sign), chance,
        worthwhile (True for the one row of a comparison that stands at its worthwhile change). Comparisons whose
        chance is not known are left out.
    """
    made: list[tuple[str, float, float, bool]] = []
    for item in asked:
        edge = _worthwhile(item.comparison, response)
        changes = _changes(response, edge)
        gains = [_gain(brief, item.comparison, response, change) / scatter_times for change in changes]
        chances = item.chances(gains)
        if chances is not None:
            rows = zip(changes, chances, strict=True)
            made += [(item.comparison.name, change, float(chance), change == edge) for change, chance in rows]
    return pd.DataFrame(made, columns=list(COLUMNS))


def _worthwhile(comparison: Comparison, response: Response) -> float | None:
    """The worthwhile change as it is stated: per cent on the log scale, else in the unit."""
    key = "worthwhile_change_pct" if response.scale == "log" else "worthwhile_change"
    own = getattr(comparison, key)
    return getattr(response, key) if own is None else own


def _changes(response: Response, edge: float | None) -> list[float]:
    """The true changes a curve is worked out for, the worthwhile one among them."""
    if response.scale == "log":
        most = max(_MOST_PCT, 1.5 * (edge or 0.0))
        most = min(most, max(_NEARLY_ALL_PCT, edge or 0.0)) if response.better == "smaller" else most
    else:
        most = _MOST_TIMES * (edge or 1.0)
    even = [float(f"{most * step / _STEPS:.12g}") for step in range(_STEPS + 1)]
    return sorted({*even, *([] if edge is None else [edge])})


def _gain(brief: Brief, comparison: Comparison, response: Response, change: float) -> float:
    """A stated true change as a gain on the analysis scale."""
    key = "assumed_change_pct" if response.scale == "log" else "assumed_change"
    return brief_model.assumed(brief, replace(comparison, **{key: change}), response) or 0.0
