"""A campaign folder: where it is, what its brief says, and which records it holds (rank 9)."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import pandas as pd

from toolkit.brief import reading
from toolkit.brief.model import Brief
from toolkit.campaign import corrections, log, manifest, recordings, registers, seal, sealed_brief, unchanged
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError, IntegrityError, listing
from toolkit.intake import dyno_runs, gauge, masters, records, trace_files
from toolkit.intake.dyno_runs import Recorded
from toolkit.intake.received import Correction, ReceivedFile, Registers, issued_under
from toolkit.intake.records import Records

BRIEF = "campaign.toml"


@dataclass(frozen=True)
class Campaign:
    """One campaign folder and its brief."""

    folder: Path
    brief: Brief

    def __repr__(self) -> str:
        """Its name and its folder."""
        return f"campaign '{self.brief.id}' in {self.folder}"

    @property
    def raw_files(self) -> tuple[Path, ...]:
        """The tables, traces and recordings in raw/ and the files taken in, sorted by name."""
        raw = self.folder / "raw"
        found = (*raw.glob("*.csv"), *raw.glob("received/*"), *raw.glob("traces/*"), *raw.glob("dyno/*"))
        return tuple(sorted(path for path in found if path.is_file() and not path.name.startswith(".")))

    def sealed(self, phase: str) -> bool:
        """True when the phase has a plan on disk (see ``seal.exists``)."""
        return seal.exists(self.folder, phase)

    def plan(self, phase: str) -> dict[str, object]:
        """The sealed plan of a phase, checked (see ``seal.read``)."""
        return seal.read(self.folder, self.brief, phase)

    def order(self, phase: str, *, as_sealed: bool = False) -> pd.DataFrame | None:
        """The sealed run list of a phase, or None when it is not sealed; ``as_sealed``: whatever the brief says now."""
        if not self.sealed(phase):
            return None
        seal.kept(self.folder, phase) if as_sealed else self.plan(phase)
        return seal.run_list(seal.place(self.folder, phase))

    def records(
        self,
        *,
        as_sealed: bool = False,
        received: Sequence[ReceivedFile] = (),
        noted: Sequence[Correction] = (),
        recorded: Sequence[Path] = (),
        without: Collection[str] = (),
        back: Collection[str] = (),
    ) -> Records:
        """Everything that came back: tables in raw/, files taken in, notes; checked against the sealed plans.

        Parameters
        ----------
        as_sealed : bool
            Whatever the brief says now, as for ``order``.
        received : sequence of ReceivedFile
            Files that are not taken in yet.
        noted : sequence of Correction
            Notes that are not logged yet.
        recorded : sequence of Path
            Recordings that do not lie in raw/dyno yet.
        without : collection of str
            Recordings there, by their name in the folder, that are not read.
        back : collection of str
            Files taken in, by their name in the folder, that are read as if they had been taken back.

        Raises
        ------
        IntakeError
            With every fault of every table and file.
        IntegrityError
            When log, seals, or files taken in are not what they were.
        CampaignError
            When campaign.toml changed since a seal.
        """
        rows = log.read(self.folder)
        planned, rules = [], {}
        for phase in PHASES:
            table = self.order(phase, as_sealed=as_sealed)
            if table is not None:
                plans = seal.versions(self.folder, phase)
                planned.append(issued_under(table, [str(plan["seal"]) for plan in plans]))
                rules[phase] = _judged_by(self.brief, sealed_brief.brief_of(plans[-1]["brief"], self.brief))
        found = records.read(
            self.folder,
            self.brief,
            plan=pd.concat(planned, ignore_index=True) if planned else None,
            received=(*self._taken_in(rows, back), *received),
            registers=self._registers(list(rules)),
            corrections=(*corrections.corrections(corrections.notes(rows)), *noted),
            changed=self._changed(rows),
            rules=rules,
            recorder=self._recorder(rows, recorded, without, back),
        )
        return found.with_findings([*corrections.moved_verdicts(rows, found.runs), *manifest.findings(rows)])

    def checksums(self) -> dict[str, str]:
        """File in raw/ to its sha256."""
        return {
            path.relative_to(self.folder).as_posix(): dyno_runs.checksum(path) for path in self.raw_files
        }

    def _taken_in(self, rows: Sequence[Mapping[str, str]], back: Collection[str]) -> tuple[ReceivedFile, ...]:
        """The files taken in and not taken back, those replaced since too, their bytes checked."""
        found = manifest.entries(rows)
        broken = manifest.faults(self.folder, found)
        if broken:
            raise IntegrityError("\n".join(broken))
        return tuple(
            ReceivedFile(item.file, manifest.content(self.folder, item), item.kind, item.mapping, item.replaces)
            for item in manifest.standing(rows)
            if not item.by_hand and not item.recording and item.file not in back
        )

    def _recorder(
        self, rows: Sequence[Mapping[str, str]], more: Sequence[Path], without: Collection[str], back: Collection[str]
    ) -> Callable[..., Recorded]:
        """What reads the recordings: those replaced or taken back are left out, what was worked out before is taken.

        Raises
        ------
        IntegrityError
            When a recording is not what was taken in.
        """
        found = manifest.entries(rows)
        broken = recordings.changed(self.folder, found)
        if broken:
            raise IntegrityError("\n".join(broken))
        still = [item for item in manifest.standing(rows) if item.file not in back]
        gone = {item.file for item in found if item.recording} - {item.file for item in manifest.recordings(still)}
        return partial(
            dyno_runs.read,
            more=more,
            without={*without, *gone},
            kept=partial(recordings.kept, self.folder),
            keep=partial(recordings.keep, self.folder),
        )

    def _registers(self, phases: Sequence[str]) -> Registers | None:
        """The registers of the phases that are sealed; None when none is issued."""
        found = registers.tables(self.folder, phases)
        return None if found is None else Registers(*found)

    def _changed(self, rows: Sequence[Mapping[str, str]]) -> list[tuple[str, str]]:
        """Tables that changed and mappings that are others since they were taken in, in words."""
        found = manifest.standing(rows)
        told = []
        for name, item in manifest.copies(found).items():
            if (self.folder / name).is_file():
                grew, changed = unchanged.since(self.folder, name, item)
                told += [(name, line.removeprefix(f"{name}: ")) for line in (*grew, *changed)]
        told = [(name, line) for name, line in told if line != unchanged.AS_TAKEN_IN]
        now, then = manifest.mapping_checksums(self.brief), manifest.mappings(rows)
        for item in manifest.counting(found):
            # A draft of the mapping, whose answers were still open, says nothing of how the file is to be read.
            if item.mapping and then[item.file] and now.get(item.mapping) != then[item.file]:
                told.append((item.file, f"it was read by [[received]] '{item.mapping}', which has changed since"))
        return told


def _judged_by(brief: Brief, sealed: Brief) -> Brief:
    """Today's brief with the windows, limits and bounds that a phase was sealed with, in today's order."""
    held = {item.name: item for item in sealed.held}
    bounds = sealed.protocol.max
    order = [*(name for name in brief.protocol.max if name in bounds), *bounds]
    protocol = replace(sealed.protocol, max={name: bounds[name] for name in order})
    # A variable that is not held any more has no column that could be looked at.
    kept = tuple(held[item.name] for item in brief.held if item.name in held)
    return replace(brief, held=kept, protocol=protocol, dyno_log=sealed.dyno_log)


def kept_by_hand(brief: Brief, folder: Path | None = None) -> tuple[str, ...]:
    """The tables in raw/ that people keep by hand, there yet or not; with the folder, traces and gauge study too."""
    history = [brief.scatter.history] if brief.scatter.history else []
    earlier = [brief.reference.history] if brief.reference is not None and brief.reference.history else []
    read_off = [masters.NAME] if brief.masters else []
    names = [] if folder is None or not brief.traces else trace_files.names(folder)
    # Nobody is asked for a gauge study, and its table is read where it is there.
    study = [gauge.NAME] if folder is not None and (folder / gauge.NAME).is_file() else []
    return (records.RUNS, records.STATIONS, records.OIL, *history, *earlier, *read_off, *study, *names)


def open_campaign(path: str | Path = "") -> Campaign:
    """The campaign in a folder; where none is named, that of the current folder or of the nearest one above it.

    Parameters
    ----------
    path : str or Path
        Empty, or a point: the current folder.

    Raises
    ------
    CampaignError
        When it is a file, or there is no campaign.toml in the folder or above it.
    BriefError
        When campaign.toml is not in order; all faults are told.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.campaign import start
    >>> with tempfile.TemporaryDirectory() as place:
    ...     made = start.new(f"{place}/trial")
    ...     campaign = open_campaign(made.folder)
    >>> campaign.brief.id, campaign.brief.factor_names
    ('trial', ('factor_a', 'factor_b'))
    """
    # "." is where the person stands, as nothing is, and may be a folder of the campaign, such as its notebooks.
    here = str(path) in ("", ".")
    start = (Path(path) if str(path) else Path.cwd()).expanduser()
    if start.name == BRIEF and start.is_file():
        start = start.parent
    # Unlike Path's own, these answer no for a name that the system refuses or may not look at.
    if os.path.isfile(start):
        raise CampaignError(
            f"{start}: is a file; expected the folder of a campaign first, and files after it. Name both, as in "
            f"`wearbook intake FOLDER {start.name}`."
        )
    if not os.path.isdir(start):
        raise CampaignError(
            f"{start}: there is no such folder. Name a campaign folder, or start one with `wearbook new {start}`."
        )
    for folder in (start, *start.resolve().parents):
        if os.path.isfile(folder / BRIEF):
            return Campaign(folder, reading.read(folder / BRIEF))
        if not here:
            break
    raise CampaignError(f"{start}: holds no {BRIEF}. {_near(start)}")


def _near(start: Path) -> str:
    """Which campaign a folder lies in, or which lie in it; else how to start one."""
    for folder in start.resolve().parents:
        if os.path.isfile(folder / BRIEF):
            return f"It lies in the campaign {folder}. Name that folder."
    with suppress(OSError):
        below = sorted(str(item) for item in start.iterdir() if os.path.isfile(item / BRIEF))
        if below:
            return f"Campaigns in it are {listing(below)}. Name one of them."
    return f"Name a campaign folder, or start one with `wearbook new {start.name or 'FOLDER'}`."
