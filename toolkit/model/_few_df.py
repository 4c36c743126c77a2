"""What to say of a contrast that mixes strata of which one has few degrees of freedom."""

from __future__ import annotations

from collections.abc import Mapping

from toolkit.design import units
from toolkit.numeric.weighted_t import FEWEST_DF

WORDS = "the level is held less well"


def named(df: Mapping[str, int | None]) -> str:
    """The strata with fewer than 3 df of error among several: '1 df of builds'; empty when there is none.

    Parameters
    ----------
    df : mapping of str to int or None
        Stratum to its df of error; None or nought where it has none.
    """
    few = {name: count for name, count in df.items() if count and count < FEWEST_DF}
    if len(df) < 2 or not few:
        return ""
    return " and ".join(f"{count} df of {units.PLURALS[name]}" for name, count in few.items())


def warning(df: Mapping[str, int | None]) -> str:
    """What to add to the note of a contrast judged by Kenward and Roger that mixes strata: '; rests on 1 df of builds:
    the level is held less well'.

    Parameters
    ----------
    df : mapping of str to int or None
        Stratum to its df of error; None or nought where it has none.

    Returns
    -------
    str
        Empty when every stratum has at least 3 df.
    """
    told = named(df)
    return f"; rests on {told}: {WORDS}" if told else ""
