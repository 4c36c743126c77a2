"""A pilot with values below the laboratory's limit: the most that its scatter can be, or why it tells none (rank 5).

Where each value lies between two ends, so does the mean square, and the largest one is taken: chances only fall with
it, so that a promise kept at the true figures is kept at the bound. The likelihood of the intervals is not used: of a
few runs it comes out far too small where the scatter lies below the limit, and most where the oil of all runs is of one
drum, since it takes the figures of zero-hour samples to be spread over their intervals run by run.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Response
from toolkit.design import units
from toolkit.errors import SizingError
from toolkit.model.fit import Fit
from toolkit.numeric.square_ends import square_ends
from toolkit.size.layers import Ends
from toolkit.wording import counted, joined

_ASK = (
    "Ask the laboratory for the figures behind the '<' as they were measured, or to measure the samples kept "
    "again with a lower limit, and put them into the table of oil samples"
)


@dataclass(frozen=True, eq=False)
class Known:
    """The valid runs of a pilot, each with a value that a model can be fitted to.

    Attributes
    ----------
    runs : DataFrame
        Values between two ends half-way on the analysis scale, none marked.
    low, high : Series
        Ends of each value on the analysis scale, by run_id; the same where it is known.
    names : tuple of str
        The runs whose value is only known to lie between two ends.
    """

    runs: pd.DataFrame
    low: pd.Series
    high: pd.Series
    names: tuple[str, ...]


def known(response: Response, runs: pd.DataFrame, word: str) -> Known | None:
    """The runs of a phase with the ends of their values; None where all are figures.

    Parameters
    ----------
    response : Response
    runs : DataFrame
        Valid runs.
    word : str
        pilot or main phase.

    Raises
    ------
    SizingError
        When of a value nothing says how far down it can lie.

    Notes
    -----
    Checked against: ends by hand, tests/unit/size/test_pilot_ends.py.
    """
    mark = f"{response.name}_below_limit"
    if mark not in runs:
        return None
    below = runs[mark].map(lambda value: not pd.isna(value) and bool(value)).to_numpy(dtype=bool)
    if not below.any():
        return None
    high = pd.to_numeric(runs[response.name], errors="coerce").to_numpy(dtype=float)
    low = _lower(response, runs, below)
    log = response.scale == "log"
    open_ = below & (np.isnan(low) | ((low <= 0.0) if log else False))
    if open_.any():
        raise SizingError(_open(response, runs, open_, word))
    low = np.where(below, low, high)
    if log and (high[below] > 0.0).all():
        middle = np.where(below, np.sqrt(np.where(below, low * high, 1.0)), high)
    else:
        middle = np.where(below, 0.5 * (low + high), high)
    names = [str(run) for run in runs["run_id"]]
    to_scale = np.vectorize(lambda value: math.log(value) if log and value > 0.0 else value, otypes=[float])
    return Known(
        runs.assign(**{response.name: middle, mark: False}),
        pd.Series(to_scale(low), index=names),
        pd.Series(to_scale(high), index=names),
        tuple(name for name, one in zip(names, below, strict=True) if one),
    )


def _lower(response: Response, runs: pd.DataFrame, below: np.ndarray) -> np.ndarray:
    """The lower end of each value below a limit; NaN where nothing says it."""
    name = f"{response.name}_at_least"
    low = runs[name].to_numpy(dtype=float) if name in runs else np.full(len(runs), np.nan)
    if response.scale == "linear" and response.source == "oil" and response.per_run == "end":
        # A concentration lies between nought and its limit.
        low = np.where(np.isnan(low), 0.0, low)
    return np.where(below, low, np.nan)


def _open(response: Response, runs: pd.DataFrame, open_: np.ndarray, word: str) -> str:
    """Why no scatter can be told, and what would tell it."""
    of = zip(runs.loc[open_, "run_id"], runs.loc[open_, response.name], strict=True)
    names = [f"{run} (at most {float(value):.4g} {response.measured_in}".rstrip() + ")" for run, value in of]
    one = len(names) == 1
    far = "how far below that it lies" if one else "how far below that they lie"
    why = f"nothing says {far}"
    if response.scale == "log":
        why = f"on the log scale nothing bounds {far}, nor the scatter with it"
    more = ""
    if response.per_run == "increase" and response.scale == "log":
        more = (
            " An increase has a lower end above 0, so that a bound of the scatter can be told, where the last sample "
            "is a figure above the limit of the zero-hour sample."
        )
    return (
        f"{response.name}: the {word} tells no scatter, as only an upper end is known of {joined(names)}: {why}, and "
        f"to leave {'it' if one else 'them'} out would make the scatter too small.{more} {_ASK}; or run longer, so "
        f"that the wear rises above the limit."
    )


def bounded(fitted: Fit, found: Known, word: str) -> tuple[Fit, Ends]:
    """The fit with the greatest mean square that the values allow in the place of that at the middle.

    Parameters
    ----------
    fitted : Fit
        Of ``found.runs``.
    found : Known
    word : str
        pilot or main phase.

    Raises
    ------
    SizingError
        Where units of several runs have a scatter of their own.

    Notes
    -----
    The mean square of a plan in which units hold more runs than those of the pilot falls as the pilot's mean square
    between runs grows: no pair of bounds is on the safe side of all plans there.

    Checked against: every corner and pilots drawn, tests/unit/size/test_pilot_ends.py.
    """
    laid, response = fitted.strata, fitted.response
    used = [str(run) for run in fitted.runs["run_id"]]
    names = tuple(name for name in found.names if name in used)
    if laid.plots or laid.finest != units.RUN:
        many = units.PLURALS[laid.units[0]]
        raise SizingError(
            f"{response.name}: the {word} tells no scatter, as {joined(list(names))} "
            f"{'is' if len(names) == 1 else 'are'} only known to lie between two ends (a sample below the laboratory's "
            f"limit); where {many} scatter beside runs, no bound of both is on the safe side of every plan. {_ASK}."
        )
    low, high = found.low[used].to_numpy(dtype=float), found.high[used].to_numpy(dtype=float)
    _, df = fitted.mean_squares[laid.finest]
    if df < 1:
        return fitted, Ends(names, len(used), 0.0)
    ends = square_ends(laid.full_columns, low, high)
    return replace(fitted, mean_squares={laid.finest: (ends.most / df, df)}), Ends(names, len(used), ends.least / df)


def note(response: Response, ends: Ends, most: float, word: str) -> str:
    """What was done, that it is a bound, and what would narrow it."""
    sd, least = math.sqrt(most), math.sqrt(ends.least)
    unit = " (of ln)" if response.scale == "log" else f" {response.measured_in}".rstrip()
    one = len(ends.runs) == 1
    limit = ""
    if least < 0.5 * sd:
        limit = " Most of it may be the laboratory's limit and not the rig: figures tell more than further runs."
    return (
        f"{response.name}: the scatter of the {word} is a bound. Of its {counted(ends.of, 'run')} "
        f"{joined(list(ends.runs))} {'is' if one else 'are'} only known to lie between two ends, because a sample is "
        f"below the laboratory's limit; wherever {'it lies' if one else 'they lie'}, the SD is {least:.2g} to {sd:.2g}"
        f"{unit}, and the largest is taken.{limit} The chances told are therefore the least: with the figures behind "
        f"the '<' they can only rise, and fewer runs may show the same. {_ASK} before the runs are booked."
    )
