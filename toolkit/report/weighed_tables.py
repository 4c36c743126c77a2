"""The comparisons weighed against their worthwhile changes, as tables and lines of the report (rank 10)."""

from __future__ import annotations

from toolkit import measured_in
from toolkit.brief.model import gain_sign
from toolkit.decide import weighed as decide_weighed
from toolkit.decide.answered import Answered
from toolkit.model.equivalence import EQUIVALENT, NOT_INFERIOR
from toolkit.report.table import NONE, Table

HEAD = (
    "comparison",
    "worthwhile change",
    "chance of at least that",
    "chance of any gain",
    "chance of less than matters",
    "no change that matters",
    "no worse than",
    "to settle it",
)


def lines(found: Answered) -> dict[str, str]:
    """Comparison to a line for the first page: its chance, and what would settle it; empty where nothing is told."""
    if found.beside is None:
        return {}
    told = found.beside.weighed
    made = {}
    for item in told.brief.comparisons:
        parts = [part for part in (told.chance(item.name), told.runs_more(item.name)) if part]
        made[item.name] = f"{parts[0][:1].upper()}{'; '.join(parts)[1:]}." if parts else ""
    return made


def table(found: Answered) -> Table | None:
    """Chances, equivalence, being no worse and runs to settle, a row a comparison; None where nothing is told."""
    if found.beside is None or not any(found.beside.weighed.sentences.values()):
        return None
    told = found.beside.weighed
    by = {(row["comparison"], row["claim"]): row for row in told.equivalence.to_dict("records")}
    rows = []
    for line in told.chances.to_dict("records"):
        name = str(line["comparison"])
        asked = told.brief.comparison(name)
        chances = [NONE if line[key] is None else decide_weighed.percent(line[key])
                   for key in ("chance_worthwhile", "chance_gain", "chance_between")]  # fmt: skip
        edge, within, worse = NONE, NONE, NONE
        if line["worthwhile"] is not None:
            low, high = decide_weighed.band(told.response, asked, float(line["worthwhile"]))
            gain, loss = (low, high) if gain_sign(told.response) < 0 else (high, low)
            edge = f"{low} or {high}" if asked.interaction else gain
            within = _shown(by.get((name, EQUIVALENT)), f"within {low} to {high}")
            worse = _shown(by.get((name, NOT_INFERIOR)), loss)
        if asked.interaction:
            # An interaction has no better side.
            chances[0] = chances[1] = NONE
        settled = next(row for row in told.settling.to_dict("records") if row["comparison"] == name)
        rests = found.beside.next_runs.rests.get(name, "")
        done = f"settled, {rests}" if rests else "settled"
        more = done if settled["settled"] else told.runs_more(name) or NONE
        rows.append((name, edge, *chances, within, worse, more))
    label = measured_in.label(found.response)
    level = 100.0 * (1.0 - 2.0 * told.brief.alpha)
    notes = (decide_weighed.CAUTION, f"Claims of equivalence and of being no worse rest on {level:g} % intervals.")
    caption = f"{label[:1].upper()}{label[1:]} against the worthwhile change: chances, claims, further runs"
    return Table(caption, HEAD, tuple(rows), HEAD[2:5], notes)


def _shown(row: dict[str, object] | None, band: str) -> str:
    """Whether a claim is shown, with the band it is judged by."""
    if row is None or row["shown"] is None:
        return NONE
    return f"{'shown' if row['shown'] else 'not shown'} ({band})"
