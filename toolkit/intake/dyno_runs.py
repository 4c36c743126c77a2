"""Which recordings belong to which run, and what each run's say (rank 6). Recordings are read and never written."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from toolkit import stamp
from toolkit.brief.dyno_log import DynoLog
from toolkit.brief.model import Brief, Held
from toolkit.errors import Fault, IntakeError
from toolkit.intake import cells, columns, dyno_file, dyno_summary
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.gathered import Finding, finding

FOLDER = "raw/dyno"
KIND = "recording"
# Of what is kept of a recording: another number when any of it is worked out otherwise.
EDITION = 1
_ENDS = (".csv", ".csv.gz")


@dataclass(frozen=True, eq=False)
class Recorded:
    """What the recordings of a campaign say.

    Attributes
    ----------
    runs : mapping of str to Summary
        Run to what its recordings say.
    faults : tuple of Fault
        Of recordings that cannot be read.
    findings : tuple
        Of files in raw/dyno that belong to no run.
    inputs : mapping of str to str
        sha256 of every recording, by its name in the campaign's folder.
    phases : mapping of str to str
        Every run that is known to its phase.
    """

    runs: Mapping[str, Summary] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    findings: tuple[Finding, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)
    phases: Mapping[str, str] = field(default_factory=dict)


Kept = Callable[[str], Summary | None]
Keep = Callable[[str, Summary], None]


def run_of(name: str, runs: Sequence[str]) -> str:
    """The run that a file belongs to by its name: the run_id, and what follows begins with no letter or digit."""
    fitting = [run for run in runs if re.match(rf"{re.escape(run)}(?![A-Za-z0-9])", name)]
    return max(fitting, key=len, default="")


def is_file_of(name: str) -> bool:
    """True for the name of a file that can be a recording."""
    return name.endswith(_ENDS) and not name.startswith(".")


def read(
    folder: Path,
    brief: Brief,
    phases: Mapping[str, str],
    *,
    rules: Mapping[str, Brief] | None = None,
    more: Sequence[Path] = (),
    without: Collection[str] = (),
    kept: Kept = lambda key: None,
    keep: Keep = lambda key, made: None,
) -> Recorded:
    """What the recordings in raw/dyno of a campaign's folder say, run by run.

    Parameters
    ----------
    folder : Path
    brief : Brief
    phases : mapping of str to str
        Every run that is planned or on record to its phase.
    rules : mapping of str to Brief, optional
        Phase to the brief whose windows and rules its runs are judged by; others go by ``brief``.
    more : sequence of Path
        Recordings that lie elsewhere and are read as if they lay there.
    without : collection of str
        Files, by their name in the campaign's folder, that are not read.
    kept, keep : callable, optional
        What was worked out before of the same files by the same rules, by a checksum of both; and what keeps it.

    Returns
    -------
    Recorded
        Faults are told and not raised; nothing where the folder is not there.
    """
    place = Path(folder) / FOLDER
    found: dict[str, list[Path]] = {}
    told: list[Finding] = []
    faults: list[Fault] = []
    there = sorted(place.iterdir()) if place.is_dir() else []
    mine = {path.name: path for path in there if f"{FOLDER}/{path.name}" not in without}
    for path in (item for item in [*mine.values(), *more] if not item.name.startswith(".")):
        run = run_of(path.name, list(phases))
        where = f"{FOLDER}/{cells.said(path.name)}"
        inside = path in more or path.resolve().is_relative_to(place.resolve())
        if not inside or not path.is_file():
            faults.append(Fault(where, "no file of this folder", "recordings themselves, no links and no folders"))
        elif not is_file_of(path.name) or not run:
            told.append(_of_no_run(where, is_file_of(path.name)))
        else:
            found.setdefault(run, []).append(path)
    made: dict[str, Summary] = {}
    inputs: dict[str, str] = {}
    unruled: dict[str, list[str]] = {}
    for run, paths in found.items():
        judged = (rules or {}).get(phases[run], brief)
        sums = {f"{FOLDER}/{path.name}": checksum(path) for path in paths}
        inputs |= sums
        if judged.dyno_log is None:
            unruled.setdefault(phases[run], []).append(run)
            continue
        key = key_of(judged, run, sums)
        before = kept(key)
        if before is None:
            before = _worked_out(paths, judged.dyno_log, columns.held(judged), run, faults)
            if before is None:
                continue
            keep(key, before)
        made[run] = before
    told += [_unruled(phase, runs, brief) for phase, runs in unruled.items()]
    return Recorded(made, tuple(faults), tuple(told), inputs, dict(phases))


def key_of(brief: Brief, run: str, sums: Mapping[str, str]) -> str:
    """A checksum of a run's recordings and of all that is made of them rests on."""
    asked = None if brief.dyno_log is None else asdict(brief.dyno_log)
    held = [asdict(item) for item in columns.held(brief)]
    return stamp.checksum([EDITION, run, dict(sums), asked, held])


def checksum(path: Path) -> str:
    """sha256 of a file, read in pieces."""
    import hashlib

    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def _worked_out(
    paths: Sequence[Path], rule: DynoLog, held: Sequence[Held], run: str, faults: list[Fault]
) -> Summary | None:
    """What a run's recordings say; None, and its faults kept, when they cannot be read."""
    recording = dyno_file.gathered(paths, rule, faults, run_id=run, wanted=dyno_summary.looked_at(rule, held))
    if recording is None:
        return None
    try:
        return dyno_summary.summarise(recording, rule, held, run_id=run)
    except IntakeError as problem:
        told = str(problem).split("\n  ", 1)[-1]
        found, _, rest = told.partition("; expected ")
        expected, _, remedy = rest.partition(". ")
        faults.append(Fault(f"recording of run {run}", found, expected.rstrip(".") or "a recording", remedy))
        return None


def _of_no_run(where: str, named: bool) -> Finding:
    """The finding of a file that is no recording of a run."""
    what = "begins with no run_id of this campaign" if named else "ends in neither .csv nor .csv.gz"
    return finding(
        "note",
        "recording",
        found=f"{where}: its name {what}",
        expected="recordings named <run_id>*.csv or <run_id>*.csv.gz",
        action="rename it if it is a recording; it is not read",
    )


def _unruled(phase: str, runs: Sequence[str], brief: Brief) -> Finding:
    """The finding of recordings that no rule was given for."""
    some = f"{len(runs)} run{'s' * (len(runs) > 1)}"
    sealed = brief.dyno_log is not None
    return finding(
        "note",
        "recording",
        found=f"{FOLDER}: recordings of {some} of the {phase or 'unnamed'} phase",
        expected=f"[dyno_log] {'sealed with that phase' if sealed else 'in campaign.toml'}",
        action="take it up with `wearbook amend`; until then they are not read"
        if sealed
        else "describe them in [dyno_log]; until then they are not read",
    )
