"""Incomplete blocks: the answers with differences between builds counted too, beside the verdicts (rank 7)."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import incomplete_blocks
from toolkit.errors import ModelError
from toolkit.model import comparisons
from toolkit.model.fit import Fit, fit

BASIS = "with differences between builds counted (inter-block recovery)"


@dataclass(frozen=True, eq=False)
class Recovered:
    """What differences between builds add.

    Attributes
    ----------
    comparisons : DataFrame
        In the schema of estimates; empty where it cannot be told.
    sentence : str
    """

    comparisons: pd.DataFrame
    sentence: str

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def recovered(brief: Brief, runs: pd.DataFrame, judged: Fit) -> Recovered | None:
    """The comparisons with builds taken as random; None where the design is not of incomplete blocks.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, as ``Records.runs`` gives them.
    judged : Fit
        The fit that the verdicts rest on: differences within builds alone.

    Returns
    -------
    Recovered or None
        Never the verdict: it takes the builds as drawn at random from all that could have been built.

    Notes
    -----
    Recovery of inter-block information (F. Yates, Annals of Eugenics 10 (1940) 317-325), by restricted maximum
    likelihood with errors and df by Kenward and Roger.

    Checked against: generalised least squares at the same variances, tests/unit/decide/test_recovered.py.
    """
    if not incomplete_blocks.used(brief) or judged.strata.covariates:
        return None
    name = judged.response.name
    try:
        found = fit(brief, runs, name, recover_blocks=True)
    except ModelError as problem:
        return Recovered(pd.DataFrame(), f"What differences between builds would add is not told: {problem}")
    table = comparisons.comparisons(found)
    built = judged.strata.runs["build_id"].nunique()
    told = (
        f"Verdicts rest on differences within builds. Beside them stand answers that count differences between the "
        f"{built} builds as well, as if these were drawn at random from all that could be built."
    )
    return Recovered(table, told)
