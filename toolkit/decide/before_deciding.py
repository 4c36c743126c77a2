"""What whoever decides must know first: runs that carry a verdict, a trend, runs to judge again (rank 7)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.decide import as_far_as, verdict
from toolkit.decide.answered import Answered
from toolkit.decide.as_run import AsRun
from toolkit.decide.beside import TOUCHY_SD
from toolkit.design import alias_words, base, questions
from toolkit.design.orders import ALONG
from toolkit.design.terms import Term, name_of
from toolkit.intake.records import Records
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import _few_df as few_df
from toolkit.model.comparisons import AS_JUDGED, WITH_VOID, WITHOUT_FLAGGED
from toolkit.model.diagnostics import LOOK
from toolkit.model.residual_shape import SCALE
from toolkit.wording import joined

COLUMNS = ("response", "kind", "comparison", "run_ids", "sentence")
FLAGGED, VOID, ONE_RUN, AVERAGE, TREND, ODD, JUDGE = (
    "flagged runs",
    "void runs",
    "one run",
    "average",
    "trend",
    "odd run",
    "judge again",
)
ALONG_BUILDS = "goes along with builds"
FEW_DF = "few degrees of freedom"
OTHERWISE = "answered otherwise"
NOT_ADJUSTED = "not adjusted"
MEASURED = "measurement"
_CLAIMS = frozenset(verdict.NAMES) - {"not known yet"}


def before_deciding(
    brief: Brief,
    found: Mapping[str, Answered],
    records: Records,
    as_run: AsRun,
    measured: Sequence[tuple[str | None, str]] = (),
) -> pd.DataFrame:
    """What could change an answer and needs a person to look, the primary response first.

    Parameters
    ----------
    brief : Brief
    found : mapping of str to Answered
    records : Records
    as_run : AsRun
    measured : sequence of (response or None, sentence)
        What metrology, laboratory and reference runs give to heed.

    Returns
    -------
    DataFrame
        response (None for the records), kind (flagged runs, void runs, one run, average, trend, odd run, scale,
        answered otherwise, goes along with builds, few degrees of freedom, not adjusted, measurement, judge again),
        comparison (None where it is not about one), run_ids (a tuple), sentence. Empty when nothing is. While a
        response waits for runs only 'judge again' is told of it.
    """
    rows: list[dict[str, Any]] = _again(found, records)
    for item in found.values():
        if item.fit is None or item.interim:
            continue
        rows += [*_other_runs(item, brief, records), *_carried(item), *_averages(item, brief)]
        rows += [*_trend(item, as_run), *_odd(item), *_scale(item), *_answered_otherwise(item), *_not_adjusted(item)]
        rows += [*_along_builds(item, brief), *_few_df(item)]
    rows += [_line(response, MEASURED, sentence) for response, sentence in measured]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _line(
    response: str | None, kind: str, sentence: str, *, comparison: str | None = None, runs: tuple[str, ...] = ()
) -> dict[str, Any]:
    """One row."""
    return dict(zip(COLUMNS, (response, kind, comparison, runs, sentence), strict=True))


def _again(found: Mapping[str, Answered], records: Records) -> list[dict[str, Any]]:
    """Runs in the answers that a rule says are invalid."""
    used = {run for item in found.values() if item.fit is not None for run in item.fit.runs["run_id"]}
    table = records.findings
    table = table[(table["severity"] == "exclude") & table["run_id"].isin(used)]
    rows = []
    for run_id, part in table.groupby("run_id", sort=False):
        what = "; ".join(dict.fromkeys(f"{row['rule']}: {row['found']}" for row in part.to_dict("records")))
        told = f"{run_id} is in the answers and breaks a rule ({what}): judge it again."
        rows.append(_line(None, JUDGE, told, runs=(str(run_id),)))
    return rows


def _other_runs(item: Answered, brief: Brief, records: Records) -> list[dict[str, Any]]:
    """Comparisons whose verdict is another one without the flagged runs, or with void ones that have a value."""
    table = item.sensitivity
    if not len(table) or table["runs"].nunique() < 2:
        return []
    judged = verdict.verdicts(table, brief)["verdict"]
    by = {(row["runs"], row["comparison"]): name for row, name in zip(table.to_dict("records"), judged, strict=True)}
    runs = records.runs
    void = runs["verdict"].isin(["invalid", "not interpretable"]) & runs[item.response].notna()
    void_ids = tuple(runs.loc[void & runs["phase"].isin(brief.counted_phases), "run_id"])
    label = measured_in.label(item.response)
    kinds = (
        (WITHOUT_FLAGGED, FLAGGED, item.flagged, f"without {joined(item.flagged)} (flagged)"),
        (WITH_VOID, VOID, void_ids, f"with {joined(void_ids)} (void) taken in"),
    )
    rows = []
    for which, kind, ids, told in kinds:
        for comparison in brief.comparisons:
            now, then = by.get((AS_JUDGED, comparison.name)), by.get((which, comparison.name))
            if then is None or then == now:
                continue
            sentence = f"{comparison.name} ({label}): '{now}' becomes '{then}' {told}."
            rows.append(_line(item.response, kind, sentence, comparison=comparison.name, runs=ids))
    return rows


def _apart(one: float, other: float) -> tuple[str, str]:
    """Two values to three significant digits, or to as many more as tell them apart."""
    digits = next((many for many in range(3, 9) if f"{one:.{many}g}" != f"{other:.{many}g}"), 9)
    return f"{one:.{digits}g}", f"{other:.{digits}g}"


def _carried(item: Answered) -> list[dict[str, Any]]:
    """Claims that less than one error SD of one run would take away or change."""
    if item.beside is None:
        return []
    rows = []
    for name, part in item.beside.fragility.groupby("comparison", sort=False):
        row = part.iloc[0]
        if row["shift_in_sd"] is None or row["verdict"] not in _CLAIMS or abs(row["shift_in_sd"]) >= TOUCHY_SD:
            continue
        unit = measured_in.shown(item.response)
        needed, now = _apart(float(row["value_needed"]), float(row["value"]))
        sentence = (
            f"{name} ({measured_in.label(item.response)}): '{row['verdict']}' hangs on run {row['run_id']}; "
            f"{f'{needed} {unit}'.rstrip()} in place of {now} would make it '{row['verdict_then']}'."
        )
        rows.append(_line(item.response, ONE_RUN, sentence, comparison=str(name), runs=(str(row["run_id"]),)))
    return rows


def _averages(item: Answered, brief: Brief) -> list[dict[str, Any]]:
    """Comparisons that average over a factor on which what they compare is shown to depend."""
    if item.in_detail is None:
        return []
    lines = item.anova.set_index("term")
    aliased = _aliased(item)
    rows = []
    for comparison in brief.comparisons:
        for term in item.in_detail.shown:
            compared = [name for name in term if name in comparison.of]
            p_value = lines.loc[name_of(term), "p_value"]
            if len(compared) != 1 or p_value is None or p_value >= brief.alpha:
                continue
            other = next(name for name in term if name not in compared)
            label = measured_in.label(item.response)
            sentence = (
                f"{comparison.name} ({label}) is an average over {other}, and what {compared[0]} does depends on "
                f"{other} (p = {p_value:.2g}): read it level by level."
            )
            if also := aliased.get(term):
                told = as_far_as.shortened([_depends(pair) for pair in also])
                sentence = (
                    f"{comparison.name} ({label}): {compared[0]} depends on {other}, or {', or '.join(told)} "
                    f"(p = {p_value:.2g}), and these runs cannot tell which. If it is the first, {comparison.name} is "
                    f"an average over {other}: read it level by level."
                )
            rows.append(_line(item.response, AVERAGE, sentence, comparison=comparison.name))
    return rows


def _aliased(item: Answered) -> dict[Term, tuple[Term, ...]]:
    """Terms with the other effects their test may speak of, where a part of the combinations is run."""
    if item.fit is None or not base.part(item.fit.brief):
        return {}
    lines = alias_words.of_strata(item.fit.strata)
    return {line.term: tuple(term for term, _ in line.others) for line in lines if line.others}


def _depends(term: Term) -> str:
    """An effect in words: 'cc on ee' for an interaction, 'cc does something itself' for a main effect."""
    return f"{term[0]} on {' and '.join(term[1:])}" if len(term) > 1 else f"{term[0]} does something itself"


def _trend(item: Answered, as_run: AsRun) -> list[dict[str, Any]]:
    """A trend of the residuals with the order of the runs, and the comparisons that go along with that order."""
    if item.checks is None:
        return []
    table = item.checks.table
    seen = table[(table["check"] == "trend") & (table["result"] == LOOK)]
    rows = []
    for row in seen.to_dict("records"):
        along = _along(item.response, as_run)
        told = (
            f"going along with that order, and so moved by it: {'; '.join(along)}"
            if along
            else f"no comparison goes along with that order (none by {ALONG:g} or more), so it widens the intervals "
            f"more than it moves the answers"
        )
        sentence = f"{measured_in.label(item.response)}, {row['sentence']}; {told}."
        rows.append(_line(item.response, TREND, sentence))
    return rows


def _along(response: str, as_run: AsRun) -> list[str]:
    """Comparisons that go along with the order of the runs, with their correlation."""
    if "with_run_order_as_run" not in as_run.power:
        return []
    rows = as_run.power[as_run.power["response"] == response].to_dict("records")
    known = [(row["comparison"], row["with_run_order_as_run"]) for row in rows]
    return [
        f"{name} (correlation {value:+.2f})".replace("-", "−")
        for name, value in known
        if value is not None and not pd.isna(value) and abs(value) >= ALONG
    ]


def _odd(item: Answered) -> list[dict[str, Any]]:
    """A run whose residual is further out than chance allows."""
    if item.checks is None:
        return []
    table = item.checks.table
    seen = table[(table["check"] == "odd run") & (table["result"] == LOOK)].to_dict("records")
    label = measured_in.label(item.response)
    return [
        _line(item.response, ODD, f"{label}, {row['sentence']}.", runs=(str(row["run_id"]),)) for row in seen
    ]


def _scale(item: Answered) -> list[dict[str, Any]]:
    """That the runs speak for another scale than the one declared."""
    if item.shape is None:
        return []
    seen = item.shape[(item.shape["check"] == SCALE) & (item.shape["result"] == LOOK)].to_dict("records")
    return [_line(item.response, SCALE, f"{measured_in.label(item.response)}, {row['sentence']}.") for row in seen]


def _answered_otherwise(item: Answered) -> list[dict[str, Any]]:
    """Comparisons with another verdict at equal covariates, without a common scatter or with the gauge counted."""
    if item.otherwise is None:
        return []
    table = item.otherwise.verdicts
    label = measured_in.label(item.response)
    rows = []
    for row in table[table["differs"].astype(bool)].to_dict("records"):
        sentence = f"{row['comparison']} ({label}): '{row['verdict']}' becomes '{row['verdict_then']}' {row['basis']}."
        rows.append(_line(item.response, OTHERWISE, sentence, comparison=str(row["comparison"])))
    return rows


def _along_builds(item: Answered, brief: Brief) -> list[dict[str, Any]]:
    """Comparisons whose sides were not made alike in builds that are neither units nor blocks."""
    laid = item.fit.strata if item.fit is not None else None
    rows = []
    for comparison in brief.comparisons if laid is not None else ():
        row = questions.of_comparison(laid.brief, comparison, laid.terms).row
        if not laid.estimable(row):
            continue
        if why := aligned_builds.why_withheld(laid, row) or aligned_builds.why_told(laid, row):
            sentence = f"{comparison.name} ({measured_in.label(item.response)}) {why}."
            rows.append(_line(item.response, ALONG_BUILDS, sentence, comparison=comparison.name))
    return rows


def _few_df(item: Answered) -> list[dict[str, Any]]:
    """Comparisons that mix strata of which one has so few degrees of freedom that the level is held less well."""
    if item.comparisons is None:
        return []
    rows = []
    for row in item.comparisons.to_dict("records"):
        told = next((part for part in str(row["note"]).split("; ") if part.endswith(few_df.WORDS)), "")
        if told.startswith("rests on "):
            sentence = f"{row['comparison']} ({measured_in.label(item.response)}) {told}."
            rows.append(_line(item.response, FEW_DF, sentence, comparison=str(row["comparison"])))
    return rows


def _not_adjusted(item: Answered) -> list[dict[str, Any]]:
    """A covariate sealed to carry the verdicts that is not in them: figures that lack, or values below a limit."""
    left_out = next((told for told in map(as_far_as.unadjusted, item.fit.notes if item.fit else ()) if told), "")
    if not left_out:
        return []
    label = measured_in.label(item.response)
    return [_line(item.response, NOT_ADJUSTED, f"{label}: the verdicts are {left_out}.")]
