"""Several responses side by side: whether they agree run by run, and every answer in one table (rank 7)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from toolkit.decide.answered import Answered
from toolkit.model import agreement as model_agreement

COLUMNS = (
    "response",
    "role",
    "comparison",
    "measured_in",
    "estimate",
    "conf_low",
    "conf_high",
    "conf_level",
    "p_value",
    "verdict",
    "runs",
)
CAUTION = (
    "A correlation within treatments says that runs that wore more also shed more metal. It neither says that both "
    "measure the same, as metal comes from other parts too, nor does it make a comparison of treatments any surer."
)


def agreement(found: Iterable[Answered]) -> pd.DataFrame:
    """The correlation of each pair of responses within treatments and builds (see ``model.agreement``).

    Parameters
    ----------
    found : iterable of Answered
        The primary response first; those that were not analysed or wait for runs are left out.
    """
    fits = [item.fit for item in found if item.fit is not None and not item.interim]
    return model_agreement.agreement(fits)


def answers(found: Mapping[str, Answered], roles: Mapping[str, str]) -> pd.DataFrame:
    """Every comparison of every response that was analysed, one row each, the primary response first.

    Parameters
    ----------
    found : mapping of str to Answered
    roles : mapping of str to str
        Response to primary or secondary.

    Returns
    -------
    DataFrame
        response, role, comparison, measured_in, estimate, conf_low, conf_high, conf_level, p_value, verdict, runs
        (how many the answer rests on).
    """
    rows: list[dict[str, Any]] = []
    for name, item in found.items():
        if item.fit is None:
            continue
        judged = item.verdicts.set_index("comparison")["verdict"]
        for line in item.comparisons.to_dict("records"):
            kept = {key: line[key] for key in COLUMNS if key in line}
            own = {"role": roles[name], "verdict": judged[line["comparison"]], "runs": len(item.fit.runs)}
            rows.append({**kept, **own})
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def tables(found: Mapping[str, Answered]) -> dict[str, pd.DataFrame]:
    """What stands beside the answers of all responses below each other, by name, for CSV files; none that is empty.

    Parameters
    ----------
    found : mapping of str to Answered
    """
    parts: dict[str, list[pd.DataFrame]] = {}
    for name, item in found.items():
        own: dict[str, pd.DataFrame] = {}
        if item.model is not None:
            own["model_terms"] = item.model.terms
        if item.beside is not None:
            weighed = item.beside.weighed
            own |= {"chances": weighed.chances, "equivalence": weighed.equivalence, "settling": weighed.settling}
        if item.in_detail is not None:
            kinds = ("pairs", "against_baseline", "simple_effects", "simple_tests", "shape")
            own |= {kind: getattr(item.in_detail, kind) for kind in kinds}
        if item.unrepeated is not None and item.unrepeated.effects is not None:
            own["unreplicated"] = item.unrepeated.effects.table
        for kind, table in own.items():
            if len(table):
                named = table if "response" in table else table.assign(response=name)
                parts.setdefault(kind, []).append(named)
    return {kind: pd.concat(pieces, ignore_index=True) for kind, pieces in parts.items()}
