"""The records of a campaign: read from its folder, or made from frames, with every fault at once (rank 6).

Raw files are read and never written.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from toolkit import stamp
from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.errors import IntakeError
from toolkit.intake import checks, columns, csv_text, dyno_runs, gathered, history, made, metrology, oil_corrections
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.gathered import Finding, Gathered
from toolkit.intake.made import OIL, RUNS, STATIONS, Brought, Frames
from toolkit.intake.metrology import Handed, Metrology
from toolkit.intake.raw import Raw, of_frame
from toolkit.intake.received import Correction, ReceivedFile, Registers
from toolkit.wording import filled

HISTORY = "raw/rig-history.csv"


@dataclass(frozen=True, eq=False)
class Records:
    """What came back from test cell, metrology and laboratory.

    Attributes
    ----------
    brief : Brief
    inputs : mapping of str to str
        sha256 of every file read, by its name in the campaign's folder; empty for frames.
    """

    brief: Brief
    inputs: Mapping[str, str]
    _frames: Frames

    @property
    def runs(self) -> pd.DataFrame:
        """Run values, one row a run, void and pending ones too (a copy).

        run_id, phase, build_id, planned_order, actual_order, the factors (level names as run), run_time_h,
        held variables, verdict, reason, role, and one column per response: its run value on its natural
        scale, signed, NaN where there is none. Oil responses have <response>_below_limit (true or false)
        beside them, and <response>_at_least where a value is only known to lie between two ends.
        """
        return self._frames.runs.copy()

    @property
    def table(self) -> pd.DataFrame:
        """The run values, as ``runs``."""
        return self.runs

    @property
    def readings(self) -> pd.DataFrame | None:
        """Readings of stations as they were taken (a copy); None while there is no such table.

        run_id, part_id, station_id, reading, state where there are states, one column per response.
        """
        return _copy(self._frames.readings)

    @property
    def stations(self) -> pd.DataFrame | None:
        """Wear of every station, the mean of its readings (a copy); None while there is no such table.

        run_id, part_id, station_id and one column per response, signed; NaN where a station has none.
        """
        return _copy(self._frames.stations)

    @property
    def positions(self) -> pd.DataFrame | None:
        """The value of each position of each run (a copy); None where runs are not divided.

        run_id, position, part_id and one column per response that has stations, signed; NaN where there is none. The
        levels that each position held stand in ``runs`` (ring@cyl 1).
        """
        return _copy(self._frames.positions)

    @property
    def oil(self) -> pd.DataFrame | None:
        """Oil samples (a copy); None while there is no such table.

        run_id, sample_id, at_h [h], for each element its concentration [mg/kg] and <element>_ppm_below_limit.
        """
        return _copy(self._frames.oil)

    @property
    def oil_accounts(self) -> pd.DataFrame | None:
        """Every metal's plain increase and its account, side by side; None without [oil] in the brief, or samples.

        As ``oil_corrections.accounts`` gives them: nothing in the run values follows from them unless per_run says so.
        """
        if self.brief.oil is None or self._frames.oil is None:
            return None
        return oil_corrections.accounts(self.brief, self._frames.runs, self._frames.oil)

    @property
    def metrology(self) -> Metrology:
        """Traces, masters, gauge study, earlier reference runs, and the uncertainty of every run value."""
        return self._frames.metrology

    @property
    def history(self) -> pd.DataFrame | None:
        """Scatter in earlier campaigns of the rig (a copy); None when the brief names no such table."""
        return _copy(self._frames.history)

    @property
    def findings(self) -> pd.DataFrame:
        """What is to be known about the records (a copy), the gravest first; nothing is dropped for it.

        severity (stop, exclude, note), run_id, part_id, column, rule, found, expected, action.
        """
        return self._frames.findings.copy()

    @property
    def corrections(self) -> pd.DataFrame:
        """What notes put right, in their order (a copy): run_id, column, old, new, reason, role, at, after_look."""
        return self._frames.corrections.copy()

    @property
    def as_built(self) -> pd.DataFrame:
        """What was fitted and when, one row a run in the order of ``runs`` (a copy); '' where unknown.

        run_id, part_id, serial, oil_drum, started_at, stopped_at, and ``sheet``: the run sheet that came back.
        """
        return self._frames.as_built.copy()

    @property
    def sources(self) -> pd.DataFrame:
        """Where each figure of a run comes from (a copy): run_id, column, file, where ('R05!C12' or 'line 3')."""
        return self._frames.sources.copy()

    @property
    def proposals(self) -> pd.DataFrame:
        """What the sealed rules propose for every run that was made, without its wear (a copy).

        run_id, phase, proposed, rules, reason, judged_by, verdict, agrees, as ``judging.proposals`` gives them.
        """
        return self._frames.proposals.copy()

    @property
    def recordings(self) -> dict[str, Summary]:
        """Run to what its recordings of the dynamometer say; empty where there are none."""
        return dict(self._frames.recorded)

    @property
    def notes(self) -> tuple[str, ...]:
        """How many runs of each verdict there are, and how many findings."""
        counts = self._frames.runs["verdict"].value_counts()
        verdicts = ", ".join(f"{counts[name]} {name}" for name in columns.VERDICTS if name in counts)
        graves = self._frames.findings["severity"].value_counts()
        kinds = ", ".join(f"{graves[name]} {name}" for name in gathered.SEVERITIES if name in graves)
        return (
            f"{len(self._frames.runs)} runs{': ' + verdicts if verdicts else ''}.",
            f"{len(self._frames.findings)} findings{': ' + kinds if kinds else ''}.",
        )

    def with_findings(self, more: Sequence[Finding]) -> Records:
        """The same records with further findings among theirs, the gravest first."""
        if not more:
            return self
        every = [*self._frames.findings.to_dict("records"), *more]
        return replace(self, _frames=replace(self._frames, findings=gathered.table(every)))

    def to_json(self) -> dict[str, object]:
        """The records as plain data; what is missing is null."""
        parts = {
            "runs": self._frames.runs,
            "stations": self._frames.stations,
            **({} if self._frames.positions is None else {"positions": self._frames.positions}),
            "oil": self._frames.oil,
            "history": self._frames.history,
            "findings": self._frames.findings,
            "corrections": self._frames.corrections,
            "as_built": self._frames.as_built,
            "proposals": self._frames.proposals,
        }
        return stamp.plain(
            {
                "campaign": self.brief.id,
                "inputs": dict(self.inputs),
                "notes": list(self.notes),
                **{name: None if frame is None else stamp.records(frame) for name, frame in parts.items()},
            }
        )

    def _repr_html_(self) -> str:
        """The counts and the findings."""
        found = self._frames.findings
        shown = filled(found).to_html(index=False, escape=True) if len(found) else ""
        return f"<p>{html.escape(' '.join(self.notes))}</p>{shown}"

    def __repr__(self) -> str:
        """The counts."""
        return f"{self.brief.id}: {' '.join(self.notes)}"


def read(
    folder: Path | str,
    brief: Brief,
    plan: pd.DataFrame | None = None,
    *,
    received: Sequence[ReceivedFile] = (),
    registers: Registers | None = None,
    corrections: Sequence[Correction] = (),
    changed: Sequence[tuple[str, str]] = (),
    rules: Mapping[str, Brief] | None = None,
    recorder: Callable[..., dyno_runs.Recorded] = dyno_runs.read,
) -> Records:
    """The records of a campaign's folder.

    Parameters
    ----------
    folder : Path
        Holds raw/runs.csv, raw/stations.csv, raw/oil.csv as far as they are there yet, and the history the
        brief names. They are read as UTF-8 text with commas between columns and never written.
    brief : Brief
    plan : DataFrame, optional
        The planned runs (run_id, phase, build_id, planned_order, factors) of one phase or more: runs that
        differ are findings, runs not recorded yet are pending and shown as planned. Run sheets need the columns
        of ``received.issued_under`` too.
    received : sequence of ReceivedFile
        In the order in which they were taken in; those that a later one replaces too. Snapshots of the live tables
        in raw/ are not among them.
    registers : Registers, optional
        Whose part and whose sample it is: rows without a run find theirs there.
    corrections : sequence of Correction
        In the order in which they were noted.
    changed : sequence of (str, str)
        Live tables that are not what was taken in, and in words what changed; each becomes a finding.
    rules : mapping of str to Brief, optional
        Phase to the brief whose windows, limits and bounds its runs are judged by; others go by ``brief``.
    recorder : callable, optional
        Reads the recordings, in the place of ``dyno_runs.read``: one that knows what was worked out before.

    Returns
    -------
    Records

    Raises
    ------
    IntakeError
        With every fault of every table, each with file, line and column; or sheet and cell.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise IntakeError(f"{folder}: there is no such folder; expected the folder of a campaign.")
    told = Gathered()
    inputs: dict[str, str] = {}
    found: dict[str, Raw | None] = {}
    unread = []
    for name in (RUNS, STATIONS, OIL):
        found[name], checksum = csv_text.read(folder, name, told)
        if checksum is not None:
            inputs[name] = checksum
    if STATIONS in inputs and not columns.of_source(brief, "stations"):
        unread.append(STATIONS)
        found[STATIONS] = None
    past = history.read(folder, brief, inputs, told)
    if brief.scatter.history is None and (folder / HISTORY).is_file():
        unread.append(HISTORY)
    handed = metrology.read(folder, brief, inputs, told)
    later = [name for name in (STATIONS, OIL) if name in inputs and name not in unread]
    runs_came = any(item.kind in ("run sheet", "runs") for item in received)
    if RUNS not in inputs and not told.about(RUNS) and later and plan is None and not runs_came:
        told.add(
            RUNS,
            RUNS,
            f"there is no such file, though {' and '.join(later)} {'is' if len(later) == 1 else 'are'} there",
            "the runs that the others belong to",
            "Enter the runs first.",
        )
    inputs |= {item.name: stamp.checksum_bytes(item.content) for item in received}

    def recordings(phases: Mapping[str, str]) -> dyno_runs.Recorded:
        """What the recordings of the runs say."""
        recorded = recorder(folder, brief, phases, rules=rules)
        inputs.update(recorded.inputs)
        return recorded

    brought = Brought(
        found[RUNS],
        found[STATIONS],
        found[OIL],
        past,
        tuple(received),
        registers,
        tuple(corrections),
        tuple(changed),
        dict(rules or {}),
        checks.unused(unread),
        handed,
        recordings,
    )
    frames = made.frames(by_position.as_recorded(brief), brought, plan, told)
    return Records(brief, dict(inputs), frames)


def from_tables(
    brief: Brief,
    *,
    runs: pd.DataFrame | None = None,
    stations: pd.DataFrame | None = None,
    oil: pd.DataFrame | None = None,
    history: pd.DataFrame | None = None,
    plan: pd.DataFrame | None = None,
    received: Sequence[ReceivedFile] = (),
    registers: Registers | None = None,
    corrections: Sequence[Correction] = (),
    handed: Handed | None = None,
) -> Records:
    """The records made from frames, through the same checks as files.

    Parameters
    ----------
    brief : Brief
    runs, stations, oil, history : DataFrame
        With the columns of the raw tables; numbers may be numbers or text, missing cells None or NaN. They
        are not changed.
    plan, received, registers, corrections : optional
        As for ``read``.
    handed : Handed, optional
        Traces, masters, gauge study and earlier reference runs.

    Returns
    -------
    Records

    Raises
    ------
    IntakeError
        With every fault, each with table, row (counted from 1) and column.
    """
    told = Gathered()
    given = {"runs": runs, "stations": stations, "oil": oil, "history": history}
    unread = ["stations"] if stations is not None and not columns.of_source(brief, "stations") else []
    raw = {
        name: None if frame is None or name in unread else of_frame(name, frame, told) for name, frame in given.items()
    }
    if runs is None and not received and plan is None:
        told.add("runs", "runs", "no table of runs", "a DataFrame with one row a run")
    brought = Brought(
        raw["runs"],
        raw["stations"],
        raw["oil"],
        raw["history"],
        tuple(received),
        registers,
        tuple(corrections),
        (),
        {},
        checks.unused(unread),
        handed or Handed(),
    )
    inputs = {item.name: stamp.checksum_bytes(item.content) for item in received}
    return Records(brief, inputs, made.frames(by_position.as_recorded(brief), brought, plan, told))


def _copy(frame: pd.DataFrame | None) -> pd.DataFrame | None:
    """A copy of a frame that may not be there."""
    return None if frame is None else frame.copy()
