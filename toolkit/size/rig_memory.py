"""The rig's memory: scatter of earlier campaigns as one prior, and a pilot's scatter blended with it (rank 5).

For sizing and for advice on further runs, never for a verdict.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import units
from toolkit.numeric import memory
from toolkit.size import _scatter_lines as scatter_lines
from toolkit.size.layers import MeanSquare, Scatter
from toolkit.size.pilot_scatter import WORDS

AS_NOW = "as now"
# A row that was read from a campaign's folder says here why it does not count; blank: it does.
REFUSED = "refused"
_NIL = 1e-12


def of_history(
    brief: Brief, response: Response, history: pd.DataFrame | None, lines: list[dict[str, object]], notes: list[str]
) -> MeanSquare | None:
    """The rig's history of this response as one prior mean square; None when fewer than three campaigns fit.

    Parameters
    ----------
    brief : Brief
    response : Response
    history : DataFrame or None
        campaign_id, response, scale, per_run, stratum, sd, df, rig_state; ``refused`` may stand beside them: why a
        campaign does not count.
    lines, notes : list
        What is found is added here, each campaign that does not count with its reason.

    Notes
    -----
    Checked against: a worked history, tests/unit/size/test_scatter.py; ``numeric.memory``.
    """
    if history is None or history.empty:
        return None
    fits = pd.Series(True, index=history.index)
    why = pd.Series("", index=history.index)
    if REFUSED in history:
        why = history[REFUSED].fillna("").astype(str)
        fits = why == ""
    for column, wanted in (
        ("response", response.name),
        ("scale", response.scale),
        ("per_run", response.per_run),
        ("stratum", units.of_brief(brief)[-1]),
        ("rig_state", AS_NOW),
    ):
        wrong = history[column].astype(str) != wanted
        why[fits & wrong] = f"{column} is not '{wanted}'"
        fits &= ~wrong
    own = history[(history["response"].astype(str) == response.name) | (why.ne("") & history["response"].isna())]
    for at in own.index[~fits[own.index]]:
        notes.append(
            f"{response.name}: campaign '{history.loc[at, 'campaign_id']}' of the rig's history is not used: {why[at]}."
        )
    usable = history[fits]
    if len(usable) < memory.FEWEST_CAMPAIGNS:
        if len(own):
            notes.append(
                f"{response.name}: the rig's history holds {len(usable)} usable campaigns; at least three are "
                f"needed, so it is not used."
            )
        return None
    prior = memory.prior_scatter(usable["sd"].to_numpy(dtype=float), usable["df"].to_numpy(dtype=float))
    past = MeanSquare(float(prior.mean_square), float(prior.df))
    lines.append(
        scatter_lines.interval_line(
            brief,
            response,
            "history",
            units.of_brief(brief)[-1],
            past,
            f"{len(usable)} earlier campaigns, df capped at their number",
        )
    )
    return past


def blended(
    brief: Brief,
    response: Response,
    pilot: Scatter,
    past: MeanSquare,
    lines: list[dict[str, object]],
    notes: list[str],
) -> Scatter:
    """The pilot's run scatter blended with the history's; the scatter between builds stays the pilot's own.

    Parameters
    ----------
    brief : Brief
    response : Response
    pilot : Scatter
    past : MeanSquare
        From ``of_history``.
    lines, notes : list
        What is found is added here.

    Notes
    -----
    Checked against: a worked history, tests/unit/size/test_scatter.py; ``numeric.memory``.
    """
    word = WORDS[pilot.basis]
    mixed = memory.blend(pilot.run.value, pilot.run.df, past.df, past.value)
    if mixed.conflict:
        taken = "" if pilot.ends is None else ", taken as the most that it can be,"
        notes.append(
            f"{response.name}: the {word}{taken} scatters more than the rig's history lets expect (P = "
            f"{mixed.p_value:.2g}); the history counts for less."
        )
    made = MeanSquare(float(mixed.mean_square), float(mixed.df))
    note = f"{word} and history; for sizing, not for the verdict"
    least = None
    if pilot.ends is not None:
        note += f"; a bound, as that of the {word} is"
        own = memory.blend(max(pilot.ends.least, _NIL * pilot.run.value), pilot.run.df, past.df, past.value)
        least = min(float(own.mean_square), made.value)
    lines.append(scatter_lines.interval_line(brief, response, "blended", pilot.finest, made, note, least))
    return replace(pilot, basis="blended", run=made)
