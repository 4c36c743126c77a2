"""One set of runs as planned, as run or as expected: its strata, what it cannot tell apart, what it can show (rank 7).

Every state is laid out by the same functions, as the analysis would, so that they can be set side by side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import PHASES, Brief
from toolkit.decide import aliases
from toolkit.design import orders, phases, questions, units
from toolkit.design import strata as design_strata
from toolkit.design import terms as model_terms
from toolkit.design.design import Design
from toolkit.design.questions import Question
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE
from toolkit.errors import DesignError
from toolkit.size import promise
from toolkit.size.promise import Claim
from toolkit.size.scatter import Scatter

PLANNED, AS_RUN, EXPECTED = "planned", "as_run", "expected"
WORDS = {PLANNED: "as planned", AS_RUN: "as run", EXPECTED: "once pending runs are in"}


@dataclass(frozen=True, eq=False)
class State:
    """A set of runs laid out.

    Attributes
    ----------
    name : str
        planned, as_run or expected (with the pending runs as planned).
    brief : Brief
        The brief its strata are made from (builds as blocks where phases stand side by side).
    runs : DataFrame
        The runs as they were given.
    strata : Strata or None
        None where the runs could not be laid out.
    order : Series or None
        Place of each run over the phases, from 1; None where an order is missing.
    reason : str
        Why it could not be laid out; empty when it could.
    """

    name: str
    brief: Brief
    runs: pd.DataFrame
    strata: Strata | None
    order: pd.Series | None
    reason: str

    @property
    def exact(self) -> bool:
        """True when the layout can be judged by exact mean squares."""
        return self.strata is not None and self.strata.balanced


def state(brief: Brief, name: str, rows: pd.DataFrame, order: str) -> State:
    """A set of runs laid out as the analysis would.

    Parameters
    ----------
    brief : Brief
    name : str
    rows : DataFrame
        run_id, phase, build_id, the factors and the column ``order``; those that are to be analysed.
    order : str
        planned_order or actual_order.
    """
    levels = by_position.columns(brief)
    kept = rows[["run_id", "phase", *units.id_columns(brief), order, *levels]].reset_index(drop=True)
    if kept.empty:
        return State(name, brief, kept, None, None, "no run yet")
    unknown = kept[[*units.id_columns(brief), *levels]].isna().any(axis=1)
    if unknown.any():
        which = ", ".join(kept.loc[unknown, "run_id"])
        return State(name, brief, kept, None, None, f"the treatment or build of {which} is not known")
    try:
        judged, runs = phases.side_by_side(brief, kept)
        laid = design_strata.of_runs(judged, runs)
    except DesignError as problem:
        return State(name, brief, kept, None, None, str(problem))
    return State(name, judged, kept, laid, _places(kept, order), "")


def strata_rows(response: str, states: Sequence[State]) -> list[dict[str, object]]:
    """The strata of every state side by side: response, stratum, role, terms, units and error df of each state."""
    tables = {item.name: item.strata.table.set_index("stratum") for item in states if item.strata is not None}
    names = list(dict.fromkeys(name for table in tables.values() for name in table.index))
    rows = []
    for name in names:
        first = next(table for table in tables.values() if name in table.index).loc[name]
        line: dict[str, object] = {
            "response": response,
            "stratum": name,
            "role": first["role"],
            "terms": first["terms"],
        }
        for item in states:
            found = tables[item.name].loc[name] if item.name in tables and name in tables[item.name].index else None
            told = found is not None and item.exact and not pd.isna(found["error_df"])
            line[f"units_{item.name}"] = None if found is None else int(found["units"])
            line[f"error_df_{item.name}"] = int(found["error_df"]) if told else None
        rows.append(line)
    return rows


def alias_rows(brief: Brief, response: str, states: Sequence[State]) -> list[dict[str, object]]:
    """Comparisons and terms that are confounded with something, or carry something, in any state."""
    terms = [item.strata.terms for item in states if item.strata is not None]
    asked: list[tuple[str | None, str | None]] = [(item.name, None) for item in brief.comparisons]
    asked += [(None, model_terms.name_of(term)) for term in (max(terms, key=len) if terms else ())]
    rows = []
    for comparison, term in asked:
        line: dict[str, object] = {"response": response, "comparison": comparison, "term": term}
        line |= dict.fromkeys((*WORDS, "helps"), "")
        for item in states:
            question = _question(item, comparison, term)
            if item.strata is None or question is None:
                continue
            line[item.name] = aliases.statement(item.brief, item.strata, question)
            if item.name != PLANNED:
                helps = aliases.what_helps(item.strata, question.row)
                line["helps"] = helps or ("the pending runs, as planned" if line["helps"] else "")
        if any(line[name] for name in WORDS):
            rows.append(line)
    return rows


def power_rows(
    brief: Brief, response: str, states: Sequence[State], scatter: Scatter | None
) -> list[dict[str, object]]:
    """What each state can show of each comparison: error df, standard error, chance, correlation with run order."""
    chances = {item.name: _chances(brief, item, scatter) for item in states}
    drift = {item.name: _drift(item) for item in states}
    rows = []
    for comparison in brief.comparisons:
        line: dict[str, object] = {"response": response, "comparison": comparison.name}
        line |= {"stratum": None, "assumed_change": None}
        for item in states:
            question = _question(item, comparison.name, None)
            told = item.strata is not None and question is not None and item.strata.estimable(question.row)
            parts = item.strata.parts(question.row) if told else ()
            claim = chances[item.name].get(comparison.name) if told else None
            alone = parts[0] if len(parts) == 1 else None
            strata = " and ".join(part.stratum for part in parts) or (claim.error_stratum if claim else "")
            line["stratum"] = strata or line["stratum"]
            line["assumed_change"] = claim.assumed_change if claim else line["assumed_change"]
            line[f"error_df_{item.name}"] = alone.error_df if alone else claim.error_df if claim else None
            line[f"std_error_factor_{item.name}"] = math.sqrt(alone.unit_variance) if alone else None
            line[f"chance_shown_{item.name}"] = claim.assurance if claim else None
            line[f"with_run_order_{item.name}"] = drift[item.name].get(comparison.name)
        rows.append(line)
    return rows


def _places(runs: pd.DataFrame, order: str) -> pd.Series | None:
    """The place of each run over the phases, from 1; None where an order is missing."""
    if runs[order].isna().any():
        return None
    ranked = runs.assign(_phase=runs["phase"].map(PHASES.index)).sort_values(["_phase", order], kind="stable").index
    return pd.Series(range(1, len(runs) + 1), index=ranked).sort_index()


def _question(item: State, comparison: str | None, term: str | None) -> Question | None:
    """A comparison, or the first contrast of a term, as a row of the state's model; None where it has no such term."""
    if item.strata is None:
        return None
    terms = item.strata.terms
    if comparison is not None:
        asked = next(one for one in item.brief.comparisons if one.name == comparison)
        return questions.of_comparison(item.brief, asked, terms)
    found = next((one for one in terms if model_terms.name_of(one) == term and one != CURVATURE), None)
    return questions.of_term(item.brief, found, terms)[0] if found else None


def _chances(brief: Brief, item: State, scatter: Scatter | None) -> dict[str, Claim]:
    """Comparison to what these runs promise of it, at the scatter known before them."""
    if scatter is None or item.strata is None:
        return {}
    found = promise.claims_of_runs(brief, item.runs, scatter)
    return {claim.comparison: claim for claim in found if claim.comparison is not None}


def _drift(item: State) -> dict[str, float | None]:
    """Comparison to its correlation with the order of the runs; nothing where the order is not known."""
    if item.strata is None or item.order is None or item.name == EXPECTED:
        return {}
    places = item.order.to_numpy()
    # Rows of the positions of a run share its place.
    ordered = item.strata.runs.assign(planned_order=places.repeat(len(item.strata.runs) // len(places)))
    found = orders.correlations(Design(item.brief, "main", item.name, item.strata), ordered)
    return {row["comparison"]: row["with_run_order"] for row in found.to_dict("records")}
