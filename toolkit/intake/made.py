"""Raw tables, files that were taken in and notes become the frames of the records, or every fault at once (rank 6)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from toolkit.brief.model import PER_RUN, Brief
from toolkit.errors import listing
from toolkit.intake import (
    against_gauge,
    as_planned,
    attribution,
    checks,
    columns,
    corrections,
    dyno_merged,
    dyno_runs,
    fitted,
    gathered,
    history,
    judging,
    masters,
    oil,
    oil_checks,
    oil_viscosity,
    positions,
    run_values,
    slips,
    sources,
    tables,
    taken,
    together,
    trace_wear,
)
from toolkit.intake.cells import Problem, clean, identifier, same_name, shown
from toolkit.intake.dyno_runs import Recorded
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.fitted import Parts
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.metrology import Handed, Metrology
from toolkit.intake.raw import Entry, Raw
from toolkit.intake.received import Correction, ReceivedFile, Registers
from toolkit.intake.taken import Taken

RUNS, STATIONS, OIL = "raw/runs.csv", "raw/stations.csv", "raw/oil.csv"
# Run to its phase, to what the recordings of the runs say.
Recorder = Callable[[Mapping[str, str]], Recorded]


@dataclass(frozen=True, eq=False)
class Brought:
    """What there is to read: hand-kept tables, files that were taken in, registers and notes."""

    runs: Raw | None = None
    stations: Raw | None = None
    oil: Raw | None = None
    history: Raw | None = None
    received: Sequence[ReceivedFile] = ()
    registers: Registers | None = None
    corrections: Sequence[Correction] = ()
    changed: Sequence[tuple[str, str]] = ()
    rules: Mapping[str, Brief] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    handed: Handed = field(default_factory=Handed)
    recordings: Recorder | None = None


@dataclass(frozen=True, eq=False)
class Frames:
    """The frames of the records, as ``records.Records`` gives them."""

    runs: pd.DataFrame
    readings: pd.DataFrame | None
    stations: pd.DataFrame | None
    oil: pd.DataFrame | None
    history: pd.DataFrame | None
    findings: pd.DataFrame
    corrections: pd.DataFrame
    as_built: pd.DataFrame
    sources: pd.DataFrame
    metrology: Metrology = field(default_factory=Metrology)
    positions: pd.DataFrame | None = None
    proposals: pd.DataFrame = field(default_factory=judging.none)
    recorded: Mapping[str, Summary] = field(default_factory=dict)


def frames(brief: Brief, brought: Brought, plan: pd.DataFrame | None, told: Gathered) -> Frames:
    """The frames of the records.

    Parameters
    ----------
    brief : Brief
    brought : Brought
    plan : DataFrame or None
        As for ``records.read``.
    told : Gathered
        Faults met before.

    Raises
    ------
    IntakeError
        With every fault.
    """
    _check_brief(brief, told)
    _check_plan(brief, plan, told)
    files = taken.read(brought.received, brief, plan, told)
    findings = [*brought.findings, *files.findings, *_changed(brought.changed)]
    joined, built, about = _runs(brief, brought, files, plan, told)
    runs, findings = joined.raw, findings + about
    parts = Parts.of(brought.registers.parts if brought.registers else None)
    there = fitted.parts_of(built, parts)
    readings_raw, samples_raw, past, about = _others(brief, brought, files, there, parts, told)
    findings += about
    known = _known(told, runs, plan)
    none = Raw(RUNS, "line", columns.of_runs(brief), ())
    dyno = _recorded(brought, runs or none, plan, told)
    given = dyno_merged.given(brief, dyno.runs, dyno.phases, brought.rules)
    made, lost = tables.runs(runs or none, brief, told, given)
    valid = frozenset(made.loc[made["verdict"] == "valid", "run_id"])
    findings += lost
    readings = samples = earlier = None
    if readings_raw is not None:
        readings, lost = tables.stations(readings_raw, brief, known, told, valid=valid)
        findings += lost
    if samples_raw is not None:
        samples, lost = oil.samples(samples_raw, brief, known, told, valid=valid)
        findings += lost
    if past is not None:
        earlier, others = history.scatter(past, brief, told)
        findings += others
    if readings is not None:
        readings, about = positions.moved(brief, readings, there)
        findings += about
    corrected, traced, drifts, about = _metrology(brief, brought.handed, readings, there, parts, known, told)
    findings += about
    told.raise_all()
    findings += fitted.findings(brief, built, parts, brought.registers.samples if brought.registers else None)
    findings += positions.findings(brief, built, parts) if brief.positions is not None else []
    if plan is not None:
        made = as_planned.filled(brief, made, plan)
        recorded = made[made["run_id"].isin(runs.ids("run_id") if runs else ())]
        findings += as_planned.differences(brief, recorded, plan)
    noted = {(item.run_id, item.column) for item in brought.corrections}
    made, about = dyno_merged.filled(brief, made, dyno.runs, noted, brought.rules)
    findings += [*dyno.findings, *(row for item in dyno.runs.values() for row in item.findings), *about]
    findings += judging.findings(brief, made, dyno.runs, brought.rules)
    findings += _against_rules(brief, brought.rules, made, samples)
    proposals = judging.proposals(brief, made, samples, dyno.runs, brought.rules)
    findings += oil_checks.findings(brief, made, samples)
    made, about = oil_viscosity.filled(brief, made)
    findings += about
    wear = None
    uncertainty = Metrology()
    table = readings
    readings, used = _with_traces(readings, traced), _with_traces(corrected, traced)
    if readings is not None and used is not None:
        wear = run_values.station_wear(brief, used)
        findings += checks.parts_twice(brief, readings)
        far = checks.far_apart(brief, used, wear)
        findings += far
        findings += [] if table is None else slips.findings(brief, table, far)
    made, about_values = run_values.add(brief, made, used, samples)
    if readings is not None and used is not None:
        table, shares, about = against_gauge.uncertainties(brief, made, readings, used, traced, drifts)
        findings += about
        uncertainty = Metrology(uncertainty=table, covariances=shares)
    handed = brought.handed
    metrology = replace(uncertainty, traces=traced, masters=handed.masters, drifts=drifts, gauge=handed.gauge,
                        earlier=handed.earlier)  # fmt: skip
    return Frames(
        made,
        readings,
        wear,
        samples,
        earlier,
        gathered.table([*findings, *about_values]),
        corrections.table(brought.corrections),
        _as_built(brief, made, built, there, readings, files.sheets),
        sources.table(runs, built, readings_raw, samples_raw),
        metrology,
        positions.values(brief, made, wear),
        proposals,
        dyno.runs,
    )


def _metrology(
    brief: Brief,
    handed: Handed,
    readings: pd.DataFrame | None,
    there: Mapping[str, str],
    parts: Parts,
    known: frozenset[str] | None,
    told: Gathered,
) -> tuple[pd.DataFrame | None, trace_wear.TraceWear | None, tuple[masters.MasterDrift, ...], list[Finding]]:
    """The readings with drift taken off where the brief asks for it, the wear by traces, and what masters show."""
    given, findings = trace_wear.with_runs(handed.traces, there, parts)
    traced = trace_wear.wear(brief, given, known, told) if brief.traces else None
    drifts = () if told.about(masters.NAME) else masters.found(brief, handed.masters)
    findings += [*handed.findings, *(traced.findings if traced else ()), *masters.findings(drifts)]
    corrected = readings
    broken = told.about(masters.NAME) or told.about(STATIONS)
    if readings is not None and columns.by_session(brief) and not broken:
        corrected = masters.corrected(brief, readings, drifts, told, STATIONS)
    return corrected, traced, drifts, findings


def _with_traces(readings: pd.DataFrame | None, traced: trace_wear.TraceWear | None) -> pd.DataFrame | None:
    """Readings of the table with those of traces below them; None where there are neither."""
    if traced is None or traced.readings.empty:
        return readings
    if readings is None:
        return traced.readings
    made = pd.concat([readings, traced.readings], ignore_index=True)
    own = [name for name in readings if name not in traced.readings]
    texts = [name for name in own if not pd.api.types.is_numeric_dtype(readings[name])]
    made[texts] = made[texts].fillna("")
    return made


def _runs(
    brief: Brief, brought: Brought, files: Taken, plan: pd.DataFrame | None, told: Gathered
) -> tuple[together.Together, dict[str, Mapping[str, Entry]], list[Finding]]:
    """The table of runs, the cells of the runs that files and notes tell of, and findings of the notes."""
    planned = corrections.as_planned(brief, plan) if brought.corrections else {}
    joined = together.together(
        "runs",
        brought.runs,
        files.rows["runs"],
        brief,
        together.run_key,
        columns.of_runs(brief),
        told,
        notes=corrections.noted(brief, brought.corrections, told),
        planned=planned,
    )
    known = {key for key, cells in joined.rows.items() if fitted.text(cells, "phase")} | _planned(plan)
    known |= {(name,) for name in (brought.runs.ids("run_id") if brought.runs else ())}
    for row in files.rows["runs"]:
        run = row.text("run_id")
        if run and (run,) not in known:
            near = same_name(run, [key[0] for key in known])
            told.add(row.file, row.cells["run_id"].place("run_id"), f"unknown run {shown(run)}",
                     "a planned run, or one with a phase", near, column="run_id", kind="unknown run")  # fmt: skip
    for cells in joined.rows.values():
        part = identifier(fitted.text(cells, "part_id"))
        if isinstance(part, Problem):
            told.add(cells["part_id"].file, cells["part_id"].place("part_id"), part.found, part.expected,
                     column="part_id", kind=part.kind)  # fmt: skip
    built = {key[0]: cells for key, cells in joined.rows.items()}
    return joined, built, corrections.findings(brief, brought.corrections, joined.before, planned)


def _others(
    brief: Brief, brought: Brought, files: Taken, there: Mapping[str, str], parts: Parts, told: Gathered
) -> tuple[Raw | None, Raw | None, Raw | None, list[Finding]]:
    """The tables of readings, samples and history, each row with its run."""
    rows, findings = attribution.readings(files.rows["stations"], there, parts)
    drawn, about = attribution.samples(
        files.rows["oil"], brought.registers.samples if brought.registers is not None else None
    )
    findings += about
    if brought.stations is not None:
        findings += attribution.by_hand(brought.stations, there, parts)
    made = [
        together.together(table, live, found, brief, key, header, told).raw
        for table, live, found, key, header in (
            ("stations", brought.stations, rows, together.reading_key, columns.of_stations(brief)),
            ("oil", brought.oil, drawn, together.sample_key, columns.of_oil(brief)),
            ("history", brought.history, files.rows["history"], lambda texts: None, columns.HISTORY),
        )
    ]
    return made[0], made[1], made[2], findings


def _against_rules(
    brief: Brief, rules: Mapping[str, Brief], runs: pd.DataFrame, samples: pd.DataFrame | None
) -> list[Finding]:
    """Findings of windows, limits and bounds: those a phase was sealed with, else today's."""
    return [
        row
        for phase, mine in runs.groupby("phase", sort=False, dropna=False)
        for row in checks.protocol(rules.get(str(phase), brief), mine, samples)
    ]


def _changed(changed: Sequence[tuple[str, str]]) -> list[Finding]:
    """Findings of hand-kept tables that are not what was taken in."""
    return [
        finding(
            "note",
            "changed since taken in",
            found=f"{name}: {words}",
            expected="the table as it was taken in",
            action="take it in again with `wearbook intake`; the table as it is now is read",
        )
        for name, words in changed
    ]


def _as_built(
    brief: Brief,
    made: pd.DataFrame,
    built: Mapping[str, Mapping[str, Entry]],
    there: Mapping[str, str],
    readings: pd.DataFrame | None,
    sheets: Mapping[str, Sequence[str]],
) -> pd.DataFrame:
    """What was fitted and when, a row a run; the part also where the readings of a run are of one part."""
    measured = {} if readings is None else readings.groupby("run_id", sort=False)["part_id"].unique().to_dict()
    rows = []
    for run in made["run_id"]:
        row = {name: fitted.text(built.get(run, {}), name) for name in columns.fitted(brief)}
        only = list(measured.get(run, ()))
        row["part_id"] = there.get(run, "") or (str(only[0]) if len(only) == 1 else "")
        rows.append({"run_id": run, **row, "sheet": (sheets.get(run) or [""])[-1]})
    return pd.DataFrame(rows, columns=["run_id", *columns.fitted(brief), "sheet"], dtype=object)


def _recorded(brought: Brought, runs: Raw, plan: pd.DataFrame | None, told: Gathered) -> Recorded:
    """What the recordings of the runs say, planned runs too; faults are kept."""
    if brought.recordings is None:
        return Recorded()
    phases = {} if plan is None else dict(zip(plan["run_id"].astype(str), plan["phase"].astype(str), strict=True))
    at = [runs.header.index(name) for name in ("run_id", "phase") if name in runs.header]
    for _, line in runs.rows if len(at) == 2 else ():
        run, phase = (clean(line[place] or "") for place in at)
        phases |= {run: phase.casefold() or phases.get(run, "")} if run else {}
    found = brought.recordings(phases)
    for fault in found.faults:
        told.add(dyno_runs.FOLDER, fault.where, fault.found, fault.expected, fault.remedy)
    return found


def _check_brief(brief: Brief, told: Gathered) -> None:
    """A fault for an oil response whose run value is not said."""
    for response in columns.of_source(brief, "oil"):
        if response.per_run not in PER_RUN["oil"]:
            told.add(
                "brief",
                f"brief, response {response.name}",
                f"per_run = '{response.per_run}'",
                f"{listing(PER_RUN['oil'])} for a response read from oil samples",
            )


def _check_plan(brief: Brief, plan: pd.DataFrame | None, told: Gathered) -> None:
    """A fault for a plan that is none."""
    if plan is None:
        return
    lacking = [name for name in ("run_id", *as_planned.SHARED, *brief.factor_names) if name not in plan]
    if lacking:
        told.add("plan", "plan", f"no column {', '.join(lacking)}", "the table of the order drawn")
    elif plan["run_id"].duplicated().any():
        told.add("plan", "plan", "a run that stands twice", "each run once")


def _planned(plan: pd.DataFrame | None) -> set[tuple[str, ...]]:
    """The planned runs as keys."""
    return set() if plan is None or "run_id" not in plan else {(str(name),) for name in plan["run_id"]}


def _known(told: Gathered, runs: Raw | None, plan: pd.DataFrame | None) -> frozenset[str] | None:
    """The runs that other tables may name: recorded or planned; None when they cannot be told."""
    planned = frozenset(key[0] for key in _planned(plan))
    if told.about(RUNS) and runs is None:
        return None
    if runs is None:
        return planned
    return runs.ids("run_id") | planned if "run_id" in runs.header else None
