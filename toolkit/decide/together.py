"""Several responses side by side: whether they agree run by run, and their tables below each other (rank 7)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from toolkit.decide.answered import Answered
from toolkit.model import agreement as model_agreement

CAUTION = (
    "A correlation within treatments says that runs with more of the one had more of the other. It neither says that "
    "both measure the same (metal in the oil comes from other parts too), nor does it make any comparison surer."
)


def agreement(found: Iterable[Answered]) -> pd.DataFrame:
    """The correlation of each pair of responses within treatments and builds (see ``model.agreement``).

    Parameters
    ----------
    found : iterable of Answered
        The primary response first; those that were not analysed or wait for runs are left out.
    """
    # Without checks the values hold limits, which are no numbers to go along with others.
    fits = [item.fit for item in found if item.fit is not None and item.checks is not None and not item.interim]
    return model_agreement.agreement(fits)


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
        if item.otherwise is not None:
            own["otherwise"] = item.otherwise.verdicts
        for kind, table in own.items():
            if len(table):
                named = table if "response" in table else table.assign(response=name)
                parts.setdefault(kind, []).append(named)
    return {kind: pd.concat(pieces, ignore_index=True) for kind, pieces in parts.items()}
