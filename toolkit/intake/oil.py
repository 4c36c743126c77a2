"""oil.csv becomes a tidy frame, and its samples become a run value (rank 6)."""

from __future__ import annotations

import math
from collections.abc import Collection

import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.intake import cells, columns, oil_corrections
from toolkit.intake.columns import BELOW
from toolkit.intake.gathered import Finding, Gathered, figure, finding, quantity
from toolkit.intake.raw import NOTE, Raw, Row, check_header, walk
from toolkit.intake.tables import run_of

LATE_BY_H = 1.0


def samples(
    raw: Raw, brief: Brief, known: Collection[str] | None, gathered: Gathered, *, valid: Collection[str] = ()
) -> tuple[pd.DataFrame, list[Finding]]:
    """Oil samples, one row a sample in the order of the table.

    Parameters
    ----------
    raw : Raw
        Columns run_id, sample_id, at_h (hours into the run; 0 is the sample before it), one <element>_ppm
        column each; <element>_ppm_below_limit, sampled_kg, topped_up_kg, consumed_kg, lab_id, lab_batch, ferrous_index
        and ``note`` may be there. ``<0.5`` in a cell means below 0.5.
    brief, known, gathered, valid
        As for ``tables.stations``.

    Returns
    -------
    samples : DataFrame
        run_id, sample_id, at_h, and for each element its column (NaN where lost or blank; the limit itself
        where below it) and <element>_ppm_below_limit (true or false); the others where they are there.
    findings : list of Finding
        Lost figures; blank ones too where they are a response.
    """
    asked = [item.name for item in columns.of_source(brief, "oil")]
    named = {f"{name}{BELOW}" for name in asked}
    check_header(
        raw,
        columns.of_oil(brief),
        columns.oil_may(brief),
        gathered,
        hint=", other <element>_ppm and <element>_ppm_below_limit",
        also=lambda name: name in named or columns.is_element(name),
    )
    elements = [
        name
        for name in dict.fromkeys(raw.header)
        if name in asked or (columns.is_element(name) and not name.endswith(BELOW))
    ]
    for name in raw.header:
        if name.endswith(BELOW) and name.removesuffix(BELOW) not in raw.header:
            gathered.add(
                raw.name,
                raw.name,
                f"column '{name}' without column '{name.removesuffix(BELOW)}'",
                "both",
                "Add the column of the element.",
            )
    more = [name for name in columns.oil_may(brief) if name in raw.header]
    made, findings = [], []
    seen: dict[str, int] = {}
    for row in walk(raw, gathered):
        line: dict[str, object] = {"run_id": run_of(row, known)}
        line["sample_id"] = row.take("sample_id", cells.identifier, needed="the id of the sample")
        row.once(seen, "sample_id", line["sample_id"], "each sample once")
        line["at_h"] = row.take("at_h", cells.number, "at_h", low=0.0, needed="hours into the run (0 before it)")
        for name in elements:
            line[name], line[name + BELOW] = _amount(row, name)
            text = row.text(name).casefold()
            if line["run_id"] in valid and (text == cells.LOST or (text == "" and name in asked)):
                findings.append(
                    finding(
                        "note",
                        "lost",
                        run_id=str(line["run_id"]),
                        column=name,
                        found=f"sample {line['sample_id']}: {text or 'blank'}",
                        expected="a concentration",
                        action="ask the laboratory for it; it is never taken as nought",
                    )
                )
        for name in more:
            if name in columns.OIL_LAB:
                line[name] = row.take(name, cells.identifier) or ""
            else:
                line[name] = row.take(name, cells.measurement, name, low=0.0)
        made.append({**line, NOTE: cells.in_words(row.text(NOTE))})
    names = [
        *columns.OIL_KEYS,
        *(part for name in elements for part in (name, name + BELOW)),
        *more,
        *([NOTE] if NOTE in raw.header else []),
    ]
    frame = pd.DataFrame(made, columns=names)
    for name in names:
        number = name in (*elements, "at_h", *columns.OIL_ACCOUNT, columns.FERROUS)
        kind = "bool" if name.endswith(BELOW) else "float64" if number else "str"
        frame[name] = frame[name].astype(kind)
    return frame, findings


def _amount(row: Row, name: str) -> tuple[float | None, bool]:
    """A concentration and whether it is below the limit; faults go with the row."""
    value = row.take(name, cells.amount, name)
    marked = row.take(name + BELOW, cells.yes_no)
    if value is None:
        if marked and row.text(name).casefold() in ("", cells.LOST):
            row.fault(
                name + BELOW,
                "no limit",
                "marked as below the limit, without a figure",
                f"the limit in column {name}",
                "Write the laboratory's limit there.",
            )
        return None, False
    if value.below and marked is False:
        row.fault(
            name + BELOW,
            "contradiction",
            f"not marked as below the limit, though {name} is {cells.shown(row.text(name))}",
            "the two to agree",
            "Correct one of them.",
        )
    return value.value, value.below or bool(marked)


def run_value(
    brief: Brief, response: Response, run: pd.Series, taken: pd.DataFrame | None
) -> tuple[float, bool, float, list[Finding]]:
    """The run value of an oil response, from the samples of one run.

    Parameters
    ----------
    brief : Brief
    response : Response
        ``per_run`` increase: last sample less the zero-hour sample; end: last sample; balance: by the account.
    run : Series
        One row of the runs: run_id, verdict, run_time_h.
    taken : DataFrame or None
        The samples of this run; None when the table is not there yet.

    Returns
    -------
    value : float
        In ppm (mg/kg), signed; NaN when there is none.
    below : bool
        True when a sample is below the laboratory's limit: the value is then the most it can be.
    at_least : float
        The least it can be, where that is known of such a value; else NaN.
    findings : list of Finding

    Notes
    -----
    Samples drawn at the same hour are averaged. When the zero-hour sample is below its limit c, the increase lies
    between last - c and last, and counts as that interval.
    """
    name, run_id = response.name, str(run["run_id"])
    told: list[Finding] = []

    def tell(rule: str, found: str, expected: str, action: str) -> None:
        told.append(finding("note", rule, run_id=run_id, column=name, found=found, expected=expected, action=action))

    measured = None if taken is None else taken[taken[name].notna()]
    after = None if measured is None else measured[measured["at_h"] > 0.0]
    if after is None or after.empty:
        if run["verdict"] == "valid":
            tell(
                "no value",
                "no sample drawn after the start",
                "samples of the run",
                "enter the laboratory's figures; the run has no value of this response until then",
            )
        return math.nan, False, math.nan, told
    last_at = float(after["at_h"].max())
    last, below, drawn = _at(after, name, last_at)
    if drawn > 1:
        tell("samples at one hour", f"{drawn} samples at {figure(last_at)} h", "one", "their mean is taken")
    if last_at < run["run_time_h"] - LATE_BY_H:
        tell(
            "last sample",
            f"the last sample with a figure is at {figure(last_at)} h",
            f"one at the end of the run ({figure(run['run_time_h'])} h)",
            "judge whether its value can be compared with those of full runs",
        )
    elif last_at > run["run_time_h"] + LATE_BY_H:
        tell(
            "last sample",
            f"the last sample is at {figure(last_at)} h",
            f"none after the end of the run ({figure(run['run_time_h'])} h)",
            "correct at_h or run_time_h",
        )
    if below:
        tell(
            "below limit",
            f"the last sample is below {quantity(last, name)}",
            "a figure",
            "the run value is the most it can be, marked in its own column",
        )
    if response.per_run == "end":
        return last, below, math.nan, told
    zero = measured[measured["at_h"] == 0.0]
    if zero.empty:
        tell(
            "zero-hour sample",
            "no zero-hour sample with a figure",
            "one at at_h = 0",
            "the increase cannot be told: the run has no value of this response",
        )
        return math.nan, False, math.nan, told
    start, start_below, at_start = _at(zero, name, 0.0)
    if at_start > 1:
        tell("samples at one hour", f"{at_start} samples at 0 h", "one", "their mean is taken")
    if response.per_run == "balance":
        value, limited, at_least, more = oil_corrections.balanced(brief, response, run, taken)
        return value, limited, at_least, told + more
    if start_below and below:
        return last, True, math.nan, told
    if start_below:
        tell(
            "below limit",
            f"the zero-hour sample is below {quantity(start, name)}",
            "a figure",
            f"the increase lies between {figure(last - start)} and {quantity(last, name)}: it counts as that interval, "
            f"and no number is put in its place",
        )
        return last, True, last - start, told
    return last - start, below, math.nan, told


def _at(measured: pd.DataFrame, name: str, hour: float) -> tuple[float, bool, int]:
    """The mean of the samples drawn at one hour, whether one is below the limit, and how many they are."""
    drawn = measured[measured["at_h"] == hour]
    return math.fsum(drawn[name]) / len(drawn), bool(drawn[name + BELOW].any()), len(drawn)
