"""Which runs an analysis rests on, and what is said about every run it does not rest on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import stamp
from toolkit.brief import axial_points
from toolkit.brief.model import CENTRE, PHASES, Brief, Response
from toolkit.design import latin, phases, strata
from toolkit.errors import Fault, ModelError, listing, nearest, raise_all

FINDING = ("severity", "run_id", "part_id", "column", "rule", "found", "expected", "action")
VERDICTS = ("valid", "invalid", "not interpretable", "pending")


@dataclass(frozen=True, eq=False)
class Selection:
    """The rows to analyse for one response.

    Attributes
    ----------
    runs : DataFrame
        The rows, in the order given, index from 0; build_id as the analysis takes it.
    brief : Brief
        The brief the strata are made from: the one given, with builds as blocks where another phase is one more
        block.
    findings : DataFrame
        severity, run_id, part_id, column, rule, found, expected, action: one row a run that is left out.
    notes : tuple of str
    """

    runs: pd.DataFrame
    brief: Brief
    findings: pd.DataFrame
    notes: tuple[str, ...]


def analysed(runs: pd.DataFrame, response: Response | str, brief: Brief, *, phase: str = "main") -> Selection:
    """The runs of a phase that are valid and have a value; with the main phase those of every phase that counts
    (see ``Brief.counted_phases``).

    Parameters
    ----------
    runs : DataFrame
        Run values: run_id, build_id, one column per factor, the response's column; phase and verdict when
        known (without them every run is a valid run of the main phase).
    response : Response or str
    brief : Brief
    phase : str
        main, pilot or extension.

    Returns
    -------
    Selection
        Runs that are left out stand in its findings, each with its reason; none is dropped silently.

    Raises
    ------
    ModelError
        When columns, levels, builds or values are not in order (all faults at once), a value at or below zero
        meets the log scale, a value lies below its detection limit, or no run is left.
    """
    asked = brief.response(response) if isinstance(response, str) else response
    table = runs.reset_index(drop=True)
    headline = f"{asked.name}: the run values are not in order."
    raise_all(ModelError, headline, _column_faults(brief, asked, table))
    table = _with_defaults(table)
    raise_all(ModelError, headline, _row_faults(brief, asked, table))
    # Before any run is left out: one that was broken off had its place.
    table = latin.with_places(brief, table)
    if phase not in PHASES:
        raise ModelError(f"phase = '{phase}': expected one of {listing(PHASES)}.")
    counted = brief.counted_phases if phase == "main" else (phase,)
    beside = _beside(table, counted) if phase == "main" else ()
    table = table[table["phase"].isin(counted)]
    valid = table["verdict"] == "valid"
    below = _below_limit(asked, table)
    missing = table[asked.name].isna() & ~below
    _refuse_censored(asked, table[valid & below])
    _refuse_log(asked, table[valid & ~missing & ~below])
    findings = pd.concat(
        [_judged(table[~valid]), _without_value(asked, table[valid & missing])], ignore_index=True
    )
    chosen = table[valid & ~missing].reset_index(drop=True)
    if chosen.empty:
        raise ModelError(
            f"{asked.name}: no valid run of the {phase} phase has a value yet ({len(table)} recorded). Enter "
            f"the measurements, or judge the runs that are pending."
        )
    chosen[asked.name] = chosen[asked.name].astype(float)
    if len(counted) > 1:
        return _together(chosen, brief, findings, beside)
    return Selection(chosen, brief, findings, beside)


def finding(
    severity: str,
    rule: str,
    found: str,
    expected: str,
    action: str,
    *,
    run_id: str | None = None,
    column: str | None = None,
) -> dict[str, object]:
    """One row for a table of findings.

    Parameters
    ----------
    severity : str
        stop, exclude or note.
    rule, found, expected, action : str
        What is checked, what was found, what would have been in order, what to do.
    run_id, column : str or None

    Returns
    -------
    dict
        One value for each column of a table of findings.
    """
    return dict(zip(FINDING, (severity, run_id, None, column, rule, found, expected, action), strict=True))


def findings_table(rows: Sequence[dict[str, object]]) -> pd.DataFrame:
    """A table of findings, of one shape also when there are none."""
    return pd.DataFrame(list(rows), columns=list(FINDING), dtype=object)


def _column_faults(brief: Brief, response: Response, table: pd.DataFrame) -> list[Fault]:
    """Columns that are needed and not there."""
    needed = ["run_id", *brief.factor_names, response.name]
    if strata.layout_of_builds(brief) != strata.RANDOMISED:
        needed.append("build_id")
    had = [str(column) for column in table.columns]
    return [Fault("run values", f"no column '{name}'", f"the columns {', '.join(needed)}", nearest(name, had))
            for name in needed if name not in had]


def _with_defaults(table: pd.DataFrame) -> pd.DataFrame:
    """The table with phase, verdict and build_id filled where the columns are not there at all."""
    usual = {"phase": "main", "verdict": "valid", "build_id": "B1"}
    return table.assign(**{name: value for name, value in usual.items() if name not in table.columns})


def _row_faults(brief: Brief, response: Response, table: pd.DataFrame) -> list[Fault]:
    """What is wrong in single rows; levels and builds count only where the run is valid."""
    faults = [Fault(f"run {name}", "two rows or more", "one row a run", "Give each run its own run_id.")
              for name in table["run_id"][table["run_id"].duplicated()].unique()]
    blocked = strata.layout_of_builds(brief) != strata.RANDOMISED
    for line in stamp.rows(table):
        name, verdict = line["run_id"], line["verdict"]
        faults += _choice_fault(f"run {name}, verdict", verdict, VERDICTS)
        faults += _choice_fault(f"run {name}, phase", line["phase"], PHASES)
        value = line[response.name]
        if not pd.isna(value) and not _is_number(value):
            faults.append(Fault(f"run {name}, {response.name}", f"'{value}'", "a finite number or nothing"))
        if verdict != "valid":
            continue
        for factor in brief.factors:
            allowed = (*factor.names, CENTRE, *axial_points.added(brief, factor)) if factor.numeric else factor.names
            faults += _choice_fault(f"run {name}, {factor.name}", line[factor.name], allowed)
        if blocked and (pd.isna(line["build_id"]) or not str(line["build_id"]).strip()):
            faults.append(Fault(f"run {name}, build_id", "no build", "the build it was run in"))
    return faults


def _choice_fault(where: str, found: object, allowed: Sequence[str]) -> list[Fault]:
    """A fault when the word is not among those allowed."""
    if found in allowed:
        return []
    return [Fault(where, "nothing" if pd.isna(found) else f"'{found}'", f"one of {listing(allowed)}",
                  nearest(str(found), allowed))]


def _is_number(value: object) -> bool:
    """True for a finite number that is not a truth value."""
    if isinstance(value, (bool, str)):
        return False
    try:
        return math.isfinite(float(value))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return False


def _below_limit(response: Response, table: pd.DataFrame) -> pd.Series:
    """Which rows were reported as below the detection limit."""
    name = f"{response.name}_below_limit"
    if name not in table.columns:
        return pd.Series(False, index=table.index)
    return table[name].map(lambda mark: False if pd.isna(mark) else bool(mark)).astype(bool)


def _refuse_censored(response: Response, rows: pd.DataFrame) -> None:
    """Stop on values below the detection limit: they are no numbers, and none is made up for them."""
    faults = [
        Fault(f"run {name}", f"{response.name} is below the detection limit", "a measured number")
        for name in rows["run_id"]
    ]
    raise_all(
        ModelError,
        f"{response.name}: values below the detection limit cannot be analysed with these methods, and none "
        f"is set to 0, to the limit or to half of it. Ways out: (1) ask the laboratory for the number behind "
        f"the '<' or a repeat with a lower limit; (2) judge the run, with a verdict and a reason, if its log "
        f"shows that it is void; (3) leave this response out and answer from the others.",
        faults,
    )


def _refuse_log(response: Response, rows: pd.DataFrame) -> None:
    """Stop on values at or below zero where the log scale is asked."""
    if response.scale != "log":
        return
    faults = [
        Fault(
            f"run {line['run_id']}", f"{response.name} = {float(line[response.name]):.6g}", "a value above 0"
        )
        for _, line in rows.iterrows()
        if float(line[response.name]) <= 0.0
    ]
    raise_all(
        ModelError,
        f"{response.name}: on the log scale every run value must be above 0, and none is dropped or set to a "
        'small number. Ways out: (1) analyse differences instead of ratios: scale = "linear" for this '
        "response; (2) judge the run, with a verdict and a reason, if its log shows that it is void; (3) "
        "lift the value out of the gauge's noise: measure again, with more stations or readings or a finer "
        "gauge, or run longer.",
        faults,
    )


def _judged(rows: pd.DataFrame) -> pd.DataFrame:
    """One finding for every run that is not valid."""
    made = []
    for _, line in rows.iterrows():
        reason = line.get("reason")
        told = "" if reason is None or pd.isna(reason) or not str(reason).strip() else f": {reason}"
        pending = line["verdict"] == "pending"
        severity = "note" if pending else "exclude"
        action = ("judge the run once its records are in" if pending
                  else "left out of the analysis; repeat the run if its combination is needed")
        made.append(finding(severity, "run verdict", f"{line['verdict']}{told}", "valid", action,
                            run_id=str(line["run_id"]), column="verdict"))
    return findings_table(made)


def _without_value(response: Response, rows: pd.DataFrame) -> pd.DataFrame:
    """One finding for every valid run without a value."""
    action = "left out of the analysis of this response; enter the measurement, or judge the run"
    expected = f"a run value of {response.name}"
    return findings_table([finding("exclude", "value missing", "no value", expected, action, run_id=str(name),
                                   column=response.name) for name in rows["run_id"]])


def _beside(table: pd.DataFrame, counted: Sequence[str]) -> tuple[str, ...]:
    """What is said of runs of phases that the analysis does not rest on."""
    why = {
        "pilot": "of the pilot only lend their scatter and are not in this analysis",
        "extension": "of an extension are not in this analysis, because the brief has no [extension]",
    }
    held = {phase: int((table["phase"] == phase).sum()) for phase in why if phase not in counted}
    return tuple(f"{number} runs {why[phase]}" for phase, number in held.items() if number)


def _together(chosen: pd.DataFrame, brief: Brief, findings: pd.DataFrame, beside: tuple[str, ...]) -> Selection:
    """The main phase with each build of the pilot and of the extension as a block of its own."""
    if strata.layout_of_builds(brief) == strata.WHOLE_PLOTS:
        if "pilot" in brief.counted_phases:
            raise ModelError(
                'pilot, use = "block": not covered where builds are the units of a factor, because a build of '
                'the pilot would count as one more unit of the main phase. Write use = "scatter".'
            )
        raise ModelError(
            "[extension]: not covered where builds are the units of a factor, because a build of the extension would "
            "count as one more unit of the main phase. Delete the section."
        )
    made, runs = phases.side_by_side(brief, chosen)
    notes = list(beside)
    for phase in brief.counted_phases:
        there = int((runs["phase"] == phase).sum())
        if phase == "pilot" and not there:
            notes.append("no run of the pilot has a value; it does not count here")
        elif phase != "main" and there:
            whole = phase == "extension" and brief.block_by is None
            each = "as one block" if whole else f"each build of the {phase} as a block of its own"
            notes.append(f"{there} runs of the {phase} count, {each}")
    return Selection(runs, made, findings, tuple(notes))
