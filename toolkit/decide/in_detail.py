"""What a response says level by level: pairs, baseline, simple effects, and the shape over numbers (rank 7).

None of it was asked for in the brief: it is told apart from the comparisons everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Factor
from toolkit.design.terms import CURVATURE, Term, name_of
from toolkit.model import levels, polynomials
from toolkit.model.fit import Fit
from toolkit.wording import filled

# All pairs and the baseline say no more than the effect itself where a factor has two levels.
MANY = 3
# Beyond so many factors the simple effects of every pair would bury the reader; those asked for and shown are kept.
MOST_FACTORS = 4


@dataclass(frozen=True, eq=False)
class InDetail:
    """One response level by level; every table in the schema of estimates, ``planned`` false throughout.

    Attributes
    ----------
    pairs : DataFrame
        Every level against every other, for factors of three levels or more; multivariate t within a factor.
    against_baseline : DataFrame
        Every level against the first, for the same factors; multivariate t within a factor.
    simple_effects : DataFrame
        Each factor's levels against its baseline within each level of another one; not adjusted.
    simple_tests : DataFrame
        Whether a factor's levels differ at all within each level of another one.
    shape : DataFrame
        Straight line, bend and higher of numeric factors with three levels or more.
    shown : tuple of Term
        Interactions of two factors to look at: asked for in the brief, or with an interval that excludes none.
    """

    pairs: pd.DataFrame
    against_baseline: pd.DataFrame
    simple_effects: pd.DataFrame
    simple_tests: pd.DataFrame
    shape: pd.DataFrame
    shown: tuple[Term, ...]

    def to_json(self) -> dict[str, Any]:
        """pairs[], against_baseline[], simple_effects[], simple_tests[], shape[], interactions_shown[]."""
        tables = ("pairs", "against_baseline", "simple_effects", "simple_tests", "shape")
        made: dict[str, Any] = {name: stamp.records(getattr(self, name)) for name in tables}
        return stamp.plain({**made, "interactions_shown": [name_of(term) for term in self.shown]})

    def __repr__(self) -> str:
        """The contrasts of every table with their estimates."""
        shown = ["contrast", "estimate", "conf_low", "conf_high"]
        told = [table[shown] for table in (self.pairs, self.against_baseline, self.simple_effects) if len(table)]
        return "\n".join(filled(table).to_string(index=False) for table in told) or "nothing in detail"


def in_detail(fit: Fit, effects: pd.DataFrame, anova: pd.DataFrame) -> InDetail:
    """What the runs of a response say level by level.

    Parameters
    ----------
    fit : Fit
    effects, anova : DataFrame
        Of the same fit, as ``model.comparisons.effects`` and ``model.anova.table`` give them.

    Returns
    -------
    InDetail
    """
    many = [factor for factor in fit.brief.factors if len(factor.levels) >= MANY]
    numbers = [factor for factor in many if factor.numeric]
    crossed = [term for term in fit.strata.terms if len(term) == 2 and term != CURVATURE]
    shown = tuple(term for term in crossed if _asked(fit, term) or _found(fit, term, effects, anova))
    told = crossed if len(fit.brief.factors) <= MOST_FACTORS else shown
    within = [(inner, (outer,)) for term in told for inner, outer in permutations(term)]
    return InDetail(
        _stacked([levels.pairs(fit, factor.name) for factor in many]),
        _stacked([levels.against_baseline(fit, factor.name) for factor in many]),
        _stacked([levels.simple_effects(fit, *pair) for pair in within]),
        _stacked([levels.simple_tests(fit, *pair) for pair in within]),
        _stacked([polynomials.polynomials(fit, factor.name) for factor in numbers]),
        shown,
    )


def in_words(row: dict[str, Any], factor: Factor, *, log: bool) -> str:
    """What one degree of a polynomial says, in words an engineer uses.

    Parameters
    ----------
    row : dict
        Of ``polynomials``.
    factor : Factor
    log : bool
        True where the response is told in ratios.
    """
    if row["estimate"] is None:
        return str(row["note"])
    if row["conf_low"] is None:
        return "no error estimate, so nothing is shown"
    none = 1.0 if log else 0.0
    low, high = float(row["conf_low"]), float(row["conf_high"])
    way = 1 if low > none else -1 if high < none else 0
    names = list(row["weights"])
    if row["degree"] == 1:
        span = f"from {factor.name} {names[0]} to {names[-1]}"
        if way == 0:
            return f"neither a rise nor a fall {span} is shown"
        return f"it {'rises' if way > 0 else 'falls'} {span} along the straight line"
    if row["degree"] == 2:
        if way == 0:
            return "a bend is neither shown nor excluded"
        return f"it bends: the middle lies {'below' if way > 0 else 'above'} the straight line through the ends"
    return "a wave beyond the bend is shown" if way else "nothing beyond the bend is shown"


def _asked(fit: Fit, term: Term) -> bool:
    """True when a comparison of the brief asks for this interaction."""
    return any(set(item.interaction) == set(term) for item in fit.brief.comparisons)


def _found(fit: Fit, term: Term, effects: pd.DataFrame, anova: pd.DataFrame) -> bool:
    """True when the interaction is shown: its line of the analysis of variance, or its one interval."""
    line = anova[anova["term"] == name_of(term)]
    p_values = [value for value in (*line["p_value"], *_own(effects, term)) if value is not None]
    return any(float(value) < fit.brief.alpha for value in p_values)


def _own(effects: pd.DataFrame, term: Term) -> Sequence[float | None]:
    """The p values of an interaction of one degree of freedom."""
    rows = effects[effects["term"] == name_of(term)]
    return list(rows["p_value"]) if len(rows) == 1 else []


def _stacked(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Tables below each other; an empty one when there is none."""
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()
