"""The verdict on each comparison: what its interval shows against no change and against the worthwhile
change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief.model import Brief, worthwhile
from toolkit.decide import as_far_as, change_words, one_sided
from toolkit.decide.change_words import Change

NAMES = (
    "worthwhile gain",
    "gain, size not settled",
    "smaller than worthwhile",
    "not known yet",
    "loss, size not settled",
    "worthwhile loss",
)
NOT_ESTIMABLE = "not estimable"
NO_ERROR = "no error estimate"
INTERIM = "interim, no claim"
COLUMNS = (
    "response",
    "comparison",
    "verdict",
    "sentence",
    "gain",
    "gain_low",
    "gain_high",
    "worthwhile",
    "chance_worthwhile",
    "interim",
)


def verdicts(comparisons: pd.DataFrame, brief: Brief, *, interim: str = "") -> pd.DataFrame:
    """A verdict and a plain sentence for each comparison.

    Parameters
    ----------
    comparisons : DataFrame
        As ``toolkit.model.comparisons.comparisons`` gives it; of one response or of several below each other.
    brief : Brief
    interim : str
        How far the runs are while some are pending, such as '7 of 12 runs': nothing is claimed then. Empty when all
        are in.

    Returns
    -------
    DataFrame
        response, comparison, verdict (one of ``NAMES``, 'not estimable', 'no error estimate' where nothing tells the
        scatter, or 'interim, no claim' while runs are pending), sentence; gain, gain_low, gain_high and worthwhile on
        the analysis scale (ln on the log scale), positive for what the response calls better; chance_worthwhile, the
        share of the confidence distribution beyond the worthwhile change (given this model and no prior knowledge; None
        while runs are pending); and interim.
        Empty places are None.

    Notes
    -----
    In this order, with m the worthwhile change: lo > m worthwhile gain; hi < -m worthwhile loss; -m < lo and
    hi < m smaller than worthwhile; lo > 0 gain, size not settled; hi < 0 loss, size not settled; else not
    known yet. chance_worthwhile = T_df((gain - m) / SE) (T. Schweder and N. L. Hjort, Scandinavian Journal of
    Statistics 29 (2002) 309-332). An interval holds its level when it is looked at once, at the end: with looks that
    were not planned for, it is told and no verdict is. A comparison that stands for more than itself holds as far as
    the rest is nil, and its sentence says so.

    Checked against: hand-worked intervals at both sides of every edge, tests/unit/decide/test_verdict.py.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> from toolkit.model import comparisons
    >>> told = verdicts(comparisons.comparisons(found), campaign.brief)
    >>> print(*told.loc[0, "sentence"].split("; "), sep="\\n")
    ground sprocket: 23 % less elongation (95 % interval: 8 to 35 % less)
    a gain is shown, but not that it reaches 20 %.
    """
    rows = [_judged(line, brief, interim) for line in stamp.rows(comparisons)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def name_of(low: float, high: float, margin: float | None) -> str:
    """The verdict on an interval of gains.

    Parameters
    ----------
    low, high : float
        Limits of the gain on the analysis scale.
    margin : float or None
        The worthwhile change, above 0; None when none was stated.

    Returns
    -------
    str
        One of ``NAMES``.

    Examples
    --------
    >>> name_of(0.25, 0.60, margin=0.22)
    'worthwhile gain'
    >>> name_of(-0.02, 0.45, margin=0.22)
    'not known yet'
    """
    if margin is not None:
        if low > margin:
            return "worthwhile gain"
        if high < -margin:
            return "worthwhile loss"
        if -margin < low and high < margin:
            return "smaller than worthwhile"
    if low > 0.0:
        return "gain, size not settled"
    return "loss, size not settled" if high < 0.0 else "not known yet"


def _judged(line: Mapping[str, Any], brief: Brief, interim: str) -> dict[str, object]:
    """One row of verdicts from one row of comparisons."""
    response = brief.response(line["response"])
    comparison = next(item for item in brief.comparisons if item.name == line["comparison"])
    margin = worthwhile(brief, comparison, response)
    made: dict[str, object] = dict.fromkeys(COLUMNS)
    made |= {"response": response.name, "comparison": comparison.name, "worthwhile": margin, "interim": interim or None}
    estimate, note = _known(line["estimate"]), str(line.get("note") or "")
    half = one_sided.answer_of(line, brief)
    if half is not None:
        name = name_of(half.low, half.high, margin)
        text = f"{comparison.name}: {one_sided.sentence(half)}"
        shown = f"{text}; {change_words.shown(half, name)}{as_far_as.ended(note)}."
        ended = f"{text}. {_so_far(interim)}" if interim else shown
        told = {"gain": half.gain, "gain_low": half.low, "gain_high": half.high}
        kept = {key: value if math.isfinite(value) else None for key, value in told.items()}
        return made | {"verdict": INTERIM if interim else name, "sentence": ended, **kept}
    if estimate is None:
        text = f"{comparison.name}: {note or 'not estimable from these runs.'}"
        return made | {"verdict": NOT_ESTIMABLE, "sentence": f"{text} Interim, after {interim}." if interim else text}
    answer = answer_of(line, brief)
    if answer is None:
        gain = change_words.gain_of(response, estimate)
        why = note
        if note.startswith("no error estimate"):
            # The ways out stand once with the findings, not in every sentence.
            why = "no error estimate yet" if interim else "no error estimate"
        text = (
            f"{comparison.name}: {change_words.estimate(response, comparison, gain)}, without an interval "
            f"({why or 'no error estimate'})"
        )
        ended = f"{text}. {_so_far(interim)}" if interim else f"{text}; no verdict is possible."
        return made | {"verdict": INTERIM if interim else NO_ERROR, "sentence": ended, "gain": gain}
    verdict = INTERIM if interim else name_of(answer.low, answer.high, margin)
    text = f"{comparison.name}: {change_words.with_interval(answer)}"
    error, df = _known(line["std_error"]), _known(line["df"])
    told = not interim and margin is not None and error and df is not None
    inside = verdict == "not known yet" and error and df is not None and _equivalent(answer, error, df)
    seen = change_words.equivalent(answer) if inside else change_words.shown(answer, verdict)
    shown = f"{text}; {seen}{as_far_as.ended(note)}."
    return made | {
        "verdict": verdict,
        "sentence": f"{text}. {_so_far(interim)}" if interim else shown,
        "gain": answer.gain,
        "gain_low": answer.low,
        "gain_high": answer.high,
        "chance_worthwhile": float(special.stdtr(df, (answer.gain - margin) / error)) if told else None,
    }


def _equivalent(answer: Change, error: float, df: float) -> bool:
    """True where both one-sided tests against the worthwhile change are passed, the interval being that of t."""
    off = (answer.high - answer.gain) - (answer.gain - answer.low)
    if answer.margin is None or not abs(off) <= 1e-6 * error:
        return False
    nearest = answer.margin - abs(answer.gain)
    return float(special.stdtr(df, -nearest / error)) < 1.0 - answer.level


def answer_of(line: Mapping[str, Any], brief: Brief) -> Change | None:
    """The answer in one row of comparisons, as a gain with its interval; None where it has no interval."""
    estimate, *limits = (_known(line[name]) for name in ("estimate", "conf_low", "conf_high"))
    if estimate is None or None in limits:
        return None
    response = brief.response(line["response"])
    comparison = next(item for item in brief.comparisons if item.name == line["comparison"])
    low, high = sorted(change_words.gain_of(response, float(edge or 0.0)) for edge in limits)
    gain = change_words.gain_of(response, estimate)
    return Change(comparison, response, gain, low, high, worthwhile(brief, comparison, response), brief.conf_level)


def _so_far(interim: str) -> str:
    """What makes an interim answer no claim."""
    return f"Interim, after {interim}: an estimate and no claim, as no looks were planned."


def _known(value: Any) -> float | None:
    """A number, or None where there is none."""
    return None if value is None or pd.isna(value) else float(value)
