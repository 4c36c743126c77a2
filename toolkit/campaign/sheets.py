"""Issuing what leaves for the test cell, metrology and the laboratory, from the sealed plan of a phase (rank 9)."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.campaign import editions, log, registers, seal, storage
from toolkit.campaign.editions import ISSUED, Editions
from toolkit.campaign.folder import Campaign
from toolkit.campaign.written import csv_text
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError
from toolkit.running import measuring, printed, workbook
from toolkit.running.register import Register
from toolkit.running.sheets import RunSheet
from toolkit.wording import counted, headed

FOLDER = "runsheets"
WITHDRAWN = "withdrawn"


@dataclass(frozen=True, eq=False)
class Issued:
    """The registers and sheets of a phase, and the files they stand in (under the campaign folder).

    ``written`` are the files that were not there before; the others had the same bytes already. ``withdrawn`` tells
    which of the files that were issued before an amendment now lie where; ``filled`` are those that are good still and
    were filled in or edited where they lie.
    """

    register: Register
    sheets: tuple[RunSheet, ...]
    seal: str
    files: tuple[str, ...]
    written: tuple[str, ...]
    withdrawn: Mapping[str, str]
    filled: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a run: run_id, part_id, the checksum of its row in the plan, its sheet."""
        # Where positions hold parts of their own a run has several, in their order.
        parts = self.register.parts
        if "position" in parts:
            order = ["", *self.register.brief.positions.names]
            parts = parts.sort_values("position", key=lambda names: names.map(order.index), kind="stable")
        parts = parts.groupby("run_id")["part_id"].agg(", ".join)
        rows = [
            {
                "run_id": sheet.run_id,
                "part_id": parts[sheet.run_id],
                "row_checksum": sheet.row,
                "seal": sheet.seal,
                "sheet": next(name for name in self.files if name.endswith(f"/{sheet.run_id}.xlsx")),
            }
            for sheet in self.sheets
        ]
        return pd.DataFrame(rows)

    def to_json(self) -> dict[str, Any]:
        """phase, seal, sheets[], parts[], samples[], files; which were written now, withdrawn, or filled in already."""
        return stamp.plain(
            {
                "phase": self.register.phase,
                "seal": self.seal,
                "sheets": stamp.records(self.table),
                "parts": stamp.records(self.register.parts),
                "samples": stamp.records(self.register.samples),
                "files": list(self.files),
                "written": list(self.written),
                "withdrawn": dict(self.withdrawn),
                "filled": list(self.filled),
            }
        )

    def __repr__(self) -> str:
        """Which part goes on which run and where its sheet lies, as text."""
        told = self.table[["run_id", "part_id", "sheet"]].to_string(index=False)
        return f"{self.register.phase}: sheets of {counted(len(self.sheets), 'run')}; seal {self.seal[:12]}\n{told}"

    def _repr_html_(self) -> str:
        """Which part goes on which run and where its sheet lies."""
        told = headed(self.table[["run_id", "part_id", "sheet"]]).to_html(index=False, escape=True)
        head = f"{self.register.phase}: sheets of {counted(len(self.sheets), 'run')}; seal {self.seal[:12]}"
        return f"<p>{html.escape(head)}</p>{told}"


def next_phase(campaign: Campaign) -> str:
    """The phase whose sheets are to be issued: the last one that is sealed.

    Raises
    ------
    CampaignError
        When no phase is sealed.
    """
    found = [phase for phase in PHASES if campaign.sealed(phase)]
    if not found:
        raise CampaignError(
            "No phase is sealed yet, so there are no runs to issue sheets for. Run `wearbook plan` first."
        )
    return found[-1]


def issue(campaign: Campaign, *, phase: str | None = None, hours: Sequence[float] | None = None) -> Issued:
    """Run sheets, registers and blank tables of a sealed phase; nothing that people wrote is lost.

    Writes plan/<phase>/parts.csv and samples.csv, runsheets/<phase>/ (a workbook a run, all.html to print) and
    runsheets/<phase>/blind/ (tables for metrology and the laboratory, codes only), and a row of the log the first
    time. The same plan gives the same bytes.

    After an amendment the sheets of unchanged rows stay as they are; what is another one now is put into
    runsheets/<phase>/withdrawn/ and issued anew, registers with the serials, batches and drums that were written in.

    Parameters
    ----------
    campaign : Campaign
    phase : str, optional
        Left out: the last phase that is sealed.
    hours : sequence of float, optional
        When oil is sampled; see ``running.register.register``. Left out: as it was issued before.

    Raises
    ------
    CampaignError
        When the phase is not sealed, or a file of that name was never issued, or other hours were asked for than it was
        issued with, or a register was changed beyond serials, batches and drums. All such files are named and nothing
        is written.
    DesignError
        When the hours do not fit the run, or the sheet does not fit its page.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import folder, start, steps
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = folder.open_campaign(start.new(f"{place}/trial").folder)
    ...     planned = steps.plan(campaign, phase="pilot")
    ...     issued = issue(campaign)
    >>> issued.table["sheet"].tolist()[:2]
    ['runsheets/0-pilot/P01.xlsx', 'runsheets/0-pilot/P02.xlsx']
    >>> issued.files[:2]
    ('plan/0-pilot/parts.csv', 'plan/0-pilot/samples.csv')
    """
    phase = phase or next_phase(campaign)
    campaign.plan(phase)
    with storage.locked(campaign.folder):
        rows = [row for row in log.read(campaign.folder) if row["kind"] == ISSUED and row["phase"] == phase]
        amended = bool(campaign.plan(phase).get("amendment"))
        if hours is None:
            hours = _hours_before(campaign, phase)
        found = editions.of_phase(campaign, phase, hours=hours)
        files = _files(campaign, phase, found)
        sheets = tuple(found.of_run(run).sheets[run] for run in found.now.sheets)
        made = found.of_tables().register
        told = [log.told(row) for row in rows]
        states = _states(campaign.folder, files, told, amended)
        withdrawn = _withdrawn(campaign.folder, phase, found, states)
        subject = stamp.checksum({name: stamp.checksum_bytes(content) for name, content in files.items()})
        # Where all of it lies there as an earlier version of the toolkit made it, nothing is issued anew.
        kept = _KEPT in states.values() and not set(states.values()) & {_ABSENT, _OLD, _GONE}
        if not kept and not any(row["subject"] == subject for row in rows):
            last = told[-1].get("files", {}) if told else {}
            listed = {
                name: last[name] if states[name] in (_KEPT, _FILLED) else _checksum(name, content)
                for name, content in files.items()
            }
            log.append(
                campaign.folder,
                kind=ISSUED,
                phase=phase,
                subject=subject,
                what=_told(found.now.short, made, sheets, listed, withdrawn),
            )
        written = _write(campaign.folder, files, states, withdrawn)
    filled = tuple(name for name, state in states.items() if state == _FILLED)
    return Issued(made, sheets, str(found.now.plan["seal"]), tuple(files), written, withdrawn, filled)


# What is known of a file under a name that is issued: not there, as issued now, as issued before, filled in since but
# good still, no longer issued, as an earlier version of the toolkit issued it for the same work.
_ABSENT, _GOOD, _OLD, _FILLED, _GONE, _KEPT = "absent", "good", "old", "filled in", "gone", "kept"


def _hours_before(campaign: Campaign, phase: str) -> list[float] | None:
    """When oil was sampled by what was issued before; None when nothing was issued."""
    found = registers.tables(campaign.folder, [phase])
    hours = [] if found is None else sorted({float(hour) for hour in found[1]["at_h"]})
    return hours or None


def _files(campaign: Campaign, phase: str, found: Editions) -> dict[str, bytes]:
    """Every file that is issued, by its path under the campaign folder."""
    plan = seal.folder_of(campaign.folder, phase)
    at = plan.relative_to(campaign.folder).as_posix()
    target = f"{FOLDER}/{plan.name}"
    tables = found.of_tables()
    files = {f"{at}/{registers.PARTS}": csv_text(tables.register.parts).encode()}
    if len(tables.register.samples):
        files[f"{at}/{registers.SAMPLES}"] = csv_text(tables.register.samples).encode()
    for run in found.now.sheets:
        edition = found.of_run(run)
        files[f"{target}/{run}.xlsx"] = workbook.workbook(edition.sheets[run], at=edition.at)
    files[f"{target}/all.html"] = printed.printed([found.of_run(run).sheets[run] for run in found.now.sheets]).encode()
    for name, content in measuring.tables(tables.register, at=tables.at).items():
        files[f"{target}/blind/{name}"] = content
    return files


def _states(
    folder: Path, files: Mapping[str, bytes], told: Sequence[Mapping[str, Any]], amended: bool
) -> dict[str, str]:
    """What is known of every file that is issued, or was.

    Parameters
    ----------
    folder : Path
    files : mapping of str to bytes
    told : sequence of mapping
        What the log says of every issue before, the last one last.
    amended : bool
        Whether the plan was amended: only then is a file that was issued before another one now.

    Raises
    ------
    CampaignError
        When a file holds bytes that were never issued, and what was issued under its name is not another one now.
    """
    states: dict[str, str] = {}
    before = [item.get("files", {}) for item in told]
    last = before[-1] if before else {}
    # A command that was stopped may have told the log of files that it did not put away any more.
    unfinished = {
        name
        for name, place in (told[-1].get("withdrawn", {}) if told else {}).items()
        if not (folder / place).exists() or _same(folder / name, folder / place)
    }
    # Pages may look otherwise than in the version that issued them; what they are for stands in the registers.
    other_version = not amended and bool(told) and told[-1].get("version") != _version()
    same_work = other_version and all(
        (folder / name).exists() and _checksum(name, (folder / name).read_bytes()) == _checksum(name, content)
        for name, content in files.items()
        if registers.is_register(name)
    )
    for name, content in files.items():
        path = folder / name
        there = path.read_bytes() if path.exists() else None
        if there is None:
            states[name] = _ABSENT
        elif _checksum(name, there) == _checksum(name, content):
            states[name] = _GOOD
        elif amended and any(_checksum(name, there) == item.get(name) for item in before):
            states[name] = _OLD
        elif name in last and registers.is_register(name):
            states[name] = ""
        elif name in last and last[name] == _checksum(name, content) and name not in unfinished:
            states[name] = _FILLED
        elif same_work and name in last and name not in unfinished:
            states[name] = _KEPT if last[name] == _checksum(name, there) else _FILLED
        elif amended and name in last:
            # Filled in where it lay, and withdrawn: it is kept with what stands in it.
            states[name] = _OLD
        else:
            states[name] = ""
    other = [name for name, state in states.items() if not state]
    if other:
        raise CampaignError(
            f"{', '.join(other)}: {'is' if len(other) == 1 else 'are'} there already and not as issued: filled in, "
            f"edited, or issued for another plan or other sampling hours. Nothing was written. To issue anew, move "
            f"{'it' if len(other) == 1 else 'them'} to another folder first."
        )
    gone = [name for item in before for name in item if name not in files] if amended else []
    return states | {name: _GONE for name in gone if (folder / name).exists()}


def _same(one: Path, other: Path) -> bool:
    """Whether two files are there with the same bytes."""
    return one.exists() and other.exists() and one.read_bytes() == other.read_bytes()


def _withdrawn(folder: Path, phase: str, found: Editions, states: Mapping[str, str]) -> dict[str, str]:
    """Where files go that are no longer good: under the seal that they were issued with."""
    target = f"{FOLDER}/{seal.folder_of(folder, phase).name}"
    made = {}
    for name in (name for name, state in states.items() if state in (_OLD, _GONE)):
        run = name.rpartition("/")[2].removesuffix(".xlsx")
        sheet = name == f"{target}/{run}.xlsx"
        # The edition in force is the last one; what lies there is of one before it.
        before = len(found.all) - 1
        known = sheet and any(run in item.sheets for item in found.all[:before])
        edition = found.of_run(run, before) if known else found.all[max(before - 1, 0)]
        inside = name.removeprefix(f"{target}/") if name.startswith(FOLDER) else name.rpartition("/")[2]
        place = f"{target}/{WITHDRAWN}/{edition.short}/{inside}"
        made[name] = _free(folder, place, (folder / name).read_bytes())
    return made


def _free(folder: Path, place: str, content: bytes) -> str:
    """A name that nothing else lies under."""
    stem, dot, kind = place.rpartition(".")
    number, name = 1, place
    while (folder / name).exists() and (folder / name).read_bytes() != content:
        number += 1
        name = f"{stem}-{number}{dot}{kind}"
    return name


def _write(
    folder: Path, files: Mapping[str, bytes], states: Mapping[str, str], withdrawn: Mapping[str, str]
) -> tuple[str, ...]:
    """Put away what is no longer good, and write what is not there; gives the names of what was written."""
    for name, place in withdrawn.items():
        if not (folder / place).exists():
            storage.write_bytes(folder / place, (folder / name).read_bytes())
    written = []
    for name, content in files.items():
        if states[name] in (_ABSENT, _OLD):
            if registers.is_register(name) and states[name] == _OLD:
                content = registers.filled_in(content, (folder / name).read_bytes())
            storage.write_bytes(folder / name, content)
            written.append(name)
    for name, state in states.items():
        if state == _GONE:
            storage.take_away(folder / name)
    return tuple(written)


def _told(
    short: str,
    made: Register,
    sheets: Sequence[RunSheet],
    files: Mapping[str, str],
    withdrawn: Mapping[str, str],
) -> str:
    """What the log is told: how much was issued, by which version, and the checksum of every file, of registers but
    for serials."""
    told: dict[str, Any] = {
        "issued": f"{len(sheets)} run sheets, {len(made.parts)} parts, {len(made.samples)} oil samples",
        "files": dict(files),
        "version": _version(),
    }
    return stamp.canonical({**told, "seal": short, "withdrawn": dict(withdrawn)} if withdrawn else told)


def _version() -> str:
    """The version of the toolkit."""
    return stamp.versions()["wearbook"]


def _checksum(name: str, content: bytes) -> str:
    """The checksum of a file as it was issued: serials, batches and drums may be written into a register."""
    return registers.as_issued(content) if registers.is_register(name) else stamp.checksum_bytes(content)
