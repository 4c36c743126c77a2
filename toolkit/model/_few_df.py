"""The warning on a contrast that mixes strata of which one has few degrees of freedom."""

from __future__ import annotations

from collections.abc import Mapping

from toolkit.design import units

# Drawn campaigns, two blocks of two kept fills or four builds of four runs: at 1 or 2 df of the coarser units a
# nominal 5 % came out at up to 11 %.
FEWEST_DF = 3
WORDS = "the level is held less well"


def warning(df: Mapping[str, int | None]) -> str:
    """What to add to the note of a contrast that mixes strata: '; rests on 1 df of builds: the level is held less
    well'.

    Parameters
    ----------
    df : mapping of str to int or None
        Stratum to its df of error; None or nought where it has none.

    Returns
    -------
    str
        Empty when every stratum has at least 3 df.
    """
    few = {name: count for name, count in df.items() if count and count < FEWEST_DF}
    if len(df) < 2 or not few:
        return ""
    told = " and ".join(f"{count} df of {units.PLURALS[name]}" for name, count in few.items())
    return f"; rests on {told}: {WORDS}"
