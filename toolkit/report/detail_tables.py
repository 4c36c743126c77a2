"""Level by level: interactions with their simple effects, pairs, baseline and shapes, as tables (rank 10)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.decide import in_detail as decide_in_detail
from toolkit.decide.answered import Answered
from toolkit.design.terms import Term, name_of
from toolkit.plot import answers, rounding
from toolkit.report.table import NONE, Table, df, p_value, units

_HOW = {
    "multivariate_t": "intervals and p hold together within the factor (multivariate t)",
    "studentised_range": "intervals and p hold together within the factor (studentised range)",
    "holm": "p by Holm's steps, intervals by Bonferroni",
    "none": "each judged alone",
}
NOT_ASKED = "not asked before the data: exploratory"


def tables(found: Answered, brief: Brief) -> tuple[Table, ...]:
    """The tables of one response, as far as there is something to show.

    Parameters
    ----------
    found : Answered
    brief : Brief
    """
    told = found.in_detail
    if told is None:
        return ()
    response = brief.response(found.response)
    made = [_interaction(found, brief, response, term) for term in told.shown]
    made += [
        _shape(told.shape[told.shape["term"] == name], brief, response)
        for name in dict.fromkeys(told.shape["term"] if len(told.shape) else ())
    ]
    for frame, what in ((told.against_baseline, "against the baseline"), (told.pairs, "every pair of levels")):
        for name in dict.fromkeys(frame["term"] if len(frame) else ()):
            rows = frame[frame["term"] == name]
            how = _HOW[str(rows["adjust"].iloc[0])]
            caption = f"{measured_in.label(response.name)} by {name}, {what}: {how}; {NOT_ASKED}"
            made.append(_estimates(_capital(caption), rows, brief, response))
    return tuple(made)


def _interaction(found: Answered, brief: Brief, response: Response, term: Term) -> Table:
    """An interaction as ratio of ratios, with what each factor does within the levels of the other below it."""
    told = found.in_detail
    frames = [found.effects[found.effects["term"] == name_of(term)]]
    simple = told.simple_effects if told is not None else pd.DataFrame()
    for inner, outer in (term, term[::-1]):
        kept = [row["term"] == inner and set(row["at"]) == {outer} for row in simple.to_dict("records")]
        frames.append(simple[kept])
    what = "ratio of ratios" if response.scale == "log" else "difference of differences"
    asked = any(set(item.interaction) == set(term) for item in brief.comparisons)
    caption = (
        f"{measured_in.label(response.name)}, {name_of(term)}: the {what}, and what each does within the other; each "
        f"judged alone; {'the interaction was asked for in the brief' if asked else NOT_ASKED}"
    )
    made = _estimates(_capital(caption), pd.concat(frames, ignore_index=True), brief, response)
    tests = told.simple_tests if told is not None else pd.DataFrame()
    notes = [_test(row) for row in tests.to_dict("records") if _within(row, term) and row["df"] and row["df"] > 1]
    return Table(made.caption, made.head, made.rows, made.numbers, (*made.notes, *notes))


def _shape(frame: pd.DataFrame, brief: Brief, response: Response) -> Table:
    """The straight line, the bend and what is beyond them, of one numeric factor."""
    factor = brief.factor(str(frame["term"].iloc[0]))
    words = [
        decide_in_detail.in_words(row, factor, log=response.scale == "log") for row in frame.to_dict("records")
    ]
    unit = f" ({factor.measured_in})" if factor.measured_in else ""
    caption = (
        f"{measured_in.label(response.name)} over {measured_in.label(factor.name)}{unit}: straight line, bend and "
        f"beyond; each judged alone; {NOT_ASKED}"
    )
    return _estimates(_capital(caption), frame, brief, response, words)


def _estimates(
    caption: str, frame: pd.DataFrame, brief: Brief, response: Response, words: Sequence[str] = ()
) -> Table:
    """Rows in the schema of estimates as a table, with a last column in words where they are given."""
    rows = answers.of(frame, None, brief)
    interval = rows[0].interval_name if rows else "interval"
    made = []
    for at, (row, line) in enumerate(zip(rows, frame.to_dict("records"), strict=True)):
        crossed = " × " in str(line["term"])
        change, limits = (_of_ratios(line) if crossed and row.ratio else (row.change, _interval(row)))
        numbers = (change, limits, p_value(line["p_value"]), df(line["df"]), units(line["error_stratum"]))
        made.append((row.contrast, *numbers, *((words[at],) if words else ())))
    last = ("in words",) if words else ()
    head = ("what is compared", "change", interval, "p", "error df", "judged between", *last)
    notes = tuple(
        dict.fromkeys(
            f"{line['contrast']}: {line['note']}"
            for line in frame.to_dict("records")
            if line["estimate"] is None or line["conf_low"] is None
        )
    )
    return Table(caption, head, tuple(made), ("change", interval, "p", "error df"), notes)


def _of_ratios(line: dict[str, Any]) -> tuple[str, str]:
    """A ratio of ratios and its interval."""
    shown = [
        NONE if line[key] is None else rounding.significant(float(line[key]), 3)
        for key in ("estimate", "conf_low", "conf_high")
    ]
    return f"× {shown[0]}" if shown[0] != NONE else "not estimable", (
        NONE if NONE in shown[1:] else f"× {shown[1]} to {shown[2]}"
    )


def _interval(row: answers.Answer) -> str:
    """The limits of an answer; a dash where there are none."""
    return row.interval if row.low is not None and row.high is not None else NONE


def _within(row: dict[str, Any], term: Term) -> bool:
    """True for a test of one factor of the term within the other."""
    return {str(row["term"]), *row["at"]} == set(term)


def _test(row: dict[str, Any]) -> str:
    """Whether levels differ at all at one level of another factor, in words."""
    if row["f"] is None:
        return f"{row['contrast']}: {row['note'] or 'no error estimate'}"
    p = p_value(row["p_value"])
    p = f"p {p}" if p.startswith("<") else f"p = {p}"
    told = f"F = {row['f']:.3g} on {df(row['df'])} and {df(row['error_df'])} df, {p}"
    return f"{row['contrast']}: {told}" + (f"; {row['note']}" if row["note"] else "")


def _capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
