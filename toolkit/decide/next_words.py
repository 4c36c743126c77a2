"""What to run next, in a sentence (rank 7)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.design import strata
from toolkit.model.fit import Fit


def _narrower(best: pd.Series) -> str:
    """How much narrower the intervals of what is open become on average; empty where one has none yet."""
    factors = list(best["half_width_factor"].values())
    if not factors or None in factors:
        return ""
    return f", and makes the intervals about {100.0 * (1.0 - float(np.mean(factors))):.0f} % narrower"


def sentence(fit: Fit, open_: Sequence[str], table: pd.DataFrame, rests: Mapping[str, str]) -> str:
    """What to run next, or that nothing pays.

    Parameters
    ----------
    fit : Fit
    open_ : sequence of str
        The comparisons that are not settled.
    table : DataFrame
        Of ``next_runs``, the best batch first.
    rests : mapping of str to str
        Comparison to what must be nil for it to stand for itself.
    """
    name, brief = fit.response.name, fit.brief
    if table.empty or float(table["variance_taken"].max()) < 1e-9:
        return f"{name}: no single run, pair or block of runs would tell more about what is open."
    best = table.iloc[0]
    budget = brief.cost.budget
    # Whoever reads 'every combination once (4 runs)' has the count already.
    told_already = str(best["what"]).endswith("runs)")
    count = "" if told_already else f"{best['runs']} {'run' if best['runs'] == 1 else 'runs'}"
    price = "" if best["cost"] is None else f"{best['cost']:,.0f} {brief.cost.currency}".rstrip()
    size = ", ".join(item for item in (count, price) if item)
    where = best["where"] if str(best["where"]).startswith(("a new", "new")) else f"build {best['where']}"
    placed = "" if fit.strata.of_builds == strata.RANDOMISED else f" in {where}"
    told = (
        f"{name}: most for its price is {best['what']}{placed}{f' ({size})' if size else ''}: "
        f"it takes {100.0 * best['variance_taken']:.0f} % off the variance of what is open{_narrower(best)}."
    )
    if by_position.divided(fit.strata.brief):
        told += " Neither an amendment nor an extension adds runs whose positions hold parts: they are a campaign of "
        told += "their own."
    within = table if budget is None or best["cost"] is None else table[table["cost"].astype(float) <= budget]
    settling = within[[bool(item) for item in within["settles"]]]
    if settling.empty:
        return (
            f"{told} Nothing up to a whole block pays by itself: none of it would settle {_listed(open_)} if the "
            f"estimates stayed where they are."
        )
    first = settling.iloc[0]
    settles = [f"{item} ({rests[item]})" if rests[item] else item for item in first["settles"]]
    return f"{told} If the estimates stay, {first['what']} would settle {', '.join(settles)}."


def _listed(open_: Sequence[str]) -> str:
    """The open comparisons in words."""
    return ", ".join(f"'{name}'" for name in open_)
