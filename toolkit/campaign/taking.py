"""Taking files in: read completely first, then copied, listed and logged, or refused with every fault (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.campaign import after_look as looked
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign import grown, log, manifest, named_files, no_run, recordings, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.manifest import Entry
from toolkit.design.orders import PHASES
from toolkit.errors import CampaignError, Fault, IntakeError, IntegrityError, listing, nearest, raise_all
from toolkit.intake import dyno_runs, gauge, masters, trace_files
from toolkit.intake import records as intake_records
from toolkit.intake.received import ReceivedFile, identify
from toolkit.wording import counted

HEADLINE = "Nothing was taken in."
_BY_HAND = {
    intake_records.RUNS: "runs",
    intake_records.STATIONS: "stations",
    intake_records.OIL: "oil",
    masters.NAME: "masters",
    gauge.NAME: "gauge study",
}


@dataclass(frozen=True, eq=False)
class Taken:
    """What was taken in now, what was there already, and what the records say that they did not say before.

    Attributes
    ----------
    new : tuple of Entry
    already : tuple of Entry
        The files whose very bytes were taken in before; where none is named, of recordings only if there is nothing
        else.
    findings : DataFrame
        Findings that came with the new files.
    runs : mapping
        File to the runs that it tells of, as far as that can be told.
    proposals : DataFrame
        What the sealed rules propose for the runs whose recordings are new.
    seen : tuple of str
        The runs whose wear had been seen before, of the file that was replaced or of lines of a table that changed.
    """

    new: tuple[Entry, ...]
    already: tuple[Entry, ...]
    findings: pd.DataFrame
    runs: dict[str, tuple[str, ...]]
    proposals: pd.DataFrame
    seen: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """new[], already[], runs of each file, findings[], proposals[]; after_look[]: runs of ``seen``."""
        return stamp.plain(
            {
                "new": [asdict(item) for item in self.new],
                "already": [asdict(item) for item in self.already],
                "runs": {name: list(runs) for name, runs in self.runs.items()},
                "findings": stamp.records(self.findings),
                "proposals": stamp.records(self.proposals),
                "after_look": list(self.seen),
            }
        )

    def __repr__(self) -> str:
        """What was taken in and what was there already, a line each."""
        lines = [f"{item.given_as}: {item.kind}, kept as {item.file}" for item in self.new]
        lines += [f"{item.given_as}: taken in already as {item.file}" for item in self.already]
        return "\n".join([*lines, f"{counted(len(self.findings), 'new finding')}"])


def take(
    campaign: Campaign,
    files: Sequence[str | Path] = (),
    *,
    as_name: str = "",
    replace: str = "",
    reason: str = "",
    role: str = "",
    after_look: bool = False,
) -> Taken:
    """Take files in, or the tables kept by hand in raw/ when none is named.

    Every file is read completely and checked together with all that was taken in before; then copies go to
    raw/received/, rows to raw/manifest.csv and to the log. The files themselves are left as they are.

    Parameters
    ----------
    campaign : Campaign
    files : sequence of path
    as_name : str, optional
        The [[received]] table to read them by, whatever their names.
    replace : str, optional
        A file taken in before that the one file given replaces: its path, its name, or the start of its sha256.
    reason, role : str, optional
        Needed with ``replace``, and where lines of a table kept by hand changed since it was taken in.
    after_look : bool
        Replace a file, or take in a table kept by hand with other figures, although the wear of a run it tells of has
        been seen; this is marked everywhere then. Lines that were added and cells filled in do not need it.

    Returns
    -------
    Taken

    Raises
    ------
    IntakeError
        With every fault of every file; nothing is copied then.
    CampaignError
        When a file cannot be found or named so, or a reason is needed.
    IntegrityError
        When what was taken in before is not what it was.
    """
    root, brief = campaign.folder, campaign.brief
    with storage.locked(root):
        rows = log.read(root)
        known, standing = manifest.entries(rows), manifest.standing(rows)
        broken = manifest.faults(root, known)
        if broken:
            raise IntegrityError("\n  ".join([HEADLINE, *broken]))
        faults: list[Fault] = []
        paths = [Path(item) for item in files]
        recorded = recordings.are(root, brief, paths) if files else recordings.not_taken_in(root, known)
        others = [path for path in paths if path not in recorded]
        lying = () if files else manifest.recordings(standing)
        given = named_files.contents(others if files else _tables(campaign, bool(recorded or lying)), faults)
        old = _replaced(standing, [*given, *recorded] if files else [], replace, faults)
        if replace and not (reason.strip() and role.strip()):
            faults.append(Fault("--replace", "without --reason and --role", "why it is replaced, and who says so"))
        if as_name and not files:
            faults.append(Fault("--as", f"'{as_name}' without a file", "the file that is read by it"))
        new: list[tuple[Entry, bytes]] = []
        already: list[Entry] = []
        fresh: list[ReceivedFile] = []
        unknown: list[str] = []
        changed: dict[str, tuple[str, ...]] = {}
        for path, content in given.items():
            table = _table_of(campaign, path)
            try:
                made = (
                    manifest.entry(content, kind=_kind(table), given_as=table)
                    if table
                    else _received(path, content, brief, as_name, old)
                )
            except IntakeError as problem:
                unknown.append(str(problem))
                continue
            there = _there(standing, [item for item, _ in new], made)
            if there:
                already.append(there)
                continue
            if table:
                last = manifest.copies(known).get(table)
                was = b"" if last is None else manifest.content(root, last)
                _needs_reason(last, was, made, content, bool(reason.strip() and role.strip()), faults)
                changed[table] = looked.altered_of(campaign, rows, table, was, content) if was else ()
            else:
                made = manifest.again(made, known)
                fresh.append(ReceivedFile(str(path), content, made.kind, made.mapping, made.replaces))
            new.append((made, content))
        fresh_recorded, there_already = _recorded(campaign, known, standing, recorded, old, bool(files), faults)
        already += there_already if given or recorded else lying
        replacing = any(item.replaces for item, _ in [*new, *fresh_recorded])
        told_of = looked.told_of(campaign, rows, old) if replacing else ()
        seen = looked.seen(rows, told_of)
        if seen and not after_look:
            faults.append(looked.fault(rows, seen, f"--replace {replace}", "replaced"))
        changed = {table: runs for table, runs in changed.items() if runs}
        if not after_look:
            faults += [looked.fault(rows, runs, table, "changed") for table, runs in changed.items()]
        elif not replace and not changed:
            what = "the file that is replaced or taken back, or a table that changed"
            faults.append(Fault("--after-look", "without --replace or --take-back", what))
        raise_all(CampaignError, HEADLINE, faults)
        before, after = _records(campaign, fresh, unknown, fresh_recorded)
        news = _news(before.findings, after.findings)
        raise_all(IntakeError, HEADLINE, no_run.faults(fresh, after, news))
        for item, _ in new:
            if item.by_hand and after.inputs.get(item.given_as, item.sha256) != item.sha256:
                raise CampaignError(f"{HEADLINE} {item.given_as} changed while it was read. Repeat the command.")
        if new or fresh_recorded:
            manifest.keep(
                root,
                [*new, *fresh_recorded],
                mappings=manifest.mapping_checksums(brief),
                reason=reason.strip(),
                role=role.strip(),
                late=told_of if seen else (),
                changed=changed,
            )
    names = {str(path): item.file for path, (item, _) in zip([file.name for file in fresh], _fresh(new), strict=True)}
    runs = list(after.runs["run_id"])
    told = {item.file: (dyno_runs.run_of(path.name, runs),) for item, path in fresh_recorded}
    proposals = after.proposals
    mine = {run for of in told.values() for run in of}
    return Taken(
        tuple(item for item, _ in [*new, *fresh_recorded]),
        tuple(already),
        news,
        _runs(after, names) | told,
        proposals[proposals["run_id"].isin(mine)].reset_index(drop=True),
        tuple(dict.fromkeys([*seen, *(run for runs in changed.values() for run in runs)])),
    )


def _fresh(new: Sequence[tuple[Entry, bytes]]) -> list[tuple[Entry, bytes]]:
    """Those that are no copies of tables kept by hand."""
    return [pair for pair in new if not pair[0].by_hand]


def _recorded(
    campaign: Campaign,
    known: Sequence[Entry],
    standing: Sequence[Entry],
    paths: Sequence[Path],
    old: str,
    named: bool,
    faults: list[Fault],
) -> tuple[list[tuple[Entry, Path]], list[Entry]]:
    """The recordings that are new, and the entries of those that were taken in before."""
    if not paths:
        return [], []
    there = {f"{dyno_runs.FOLDER}/{path.name}" for path in recordings.not_taken_in(campaign.folder, known)}
    try:
        runs = campaign.records(without=there).runs["run_id"].tolist()
    except IntakeError:
        # Told with all others when everything is read.
        orders = [campaign.order(phase) for phase in PHASES]
        runs = [str(run) for table in orders if table is not None for run in table["run_id"]]
    told: list[Fault] = []
    made = recordings.entries(campaign.folder, campaign.brief, paths, runs, old, told)
    # What nobody named is a finding, not a fault.
    faults += told if named else []
    back = {item.file for item in known} - {item.file for item in standing}
    for item, path in made:
        if item.file in back:
            what = f"was taken back, and stays in {dyno_runs.FOLDER}"
            faults.append(Fault(path.name, what, "a name of its own", "Copy it: R05_2.csv is of run R05 too."))
    before = {(item.file, item.sha256): item for item in known if item.recording}
    already = [before[item.file, item.sha256] for item, _ in made if (item.file, item.sha256) in before]
    return [pair for pair in made if (pair[0].file, pair[0].sha256) not in before], already


def _tables(campaign: Campaign, recorded: bool) -> list[Path]:
    """The tables kept by hand that are there; there may be none where recordings are, taken in yet or not.

    Raises
    ------
    CampaignError
        When there is none.
    """
    names = campaign_folder.kept_by_hand(campaign.brief, campaign.folder)
    found = [campaign.folder / name for name in names if (campaign.folder / name).is_file()]
    if not found and not recorded:
        raise CampaignError(
            f"{HEADLINE} None of {', '.join(names)} is there. Name the files that came back: "
            f"wearbook intake CAMPAIGN FILE."
        )
    return found


def _table_of(campaign: Campaign, path: Path) -> str:
    """The table kept by hand that a path leads to; '' for a file of its own."""
    for name in campaign_folder.kept_by_hand(campaign.brief, campaign.folder):
        if path.resolve() == (campaign.folder / name).resolve():
            return name
    return ""


def _kind(table: str) -> str:
    """What a table kept by hand is."""
    return "traces" if table.startswith(f"{trace_files.FOLDER}/") else _BY_HAND.get(table, "history")


def _replaced(known: Sequence[Entry], given: Sequence[Path], replace: str, faults: list[Fault]) -> str:
    """The path of the file that is replaced; '' when none is."""
    if not replace:
        return ""
    if len(given) != 1:
        faults.append(Fault("--replace", f"{len(given)} files", "the one file that replaces it"))
    counting = (*manifest.counting(known), *manifest.recordings(known))
    found = [item for item in counting if manifest.is_meant(item, replace)]
    if len(found) == 1:
        return found[0].file
    names = [item.file for item in (found or counting)]
    faults.append(
        Fault(
            "--replace",
            f"'{replace}' {'means several files' if found else 'was not taken in, or was replaced already'}",
            listing(names) if names else "a file that was taken in",
            "" if found else nearest(replace, [item.given_as for item in counting]),
        )
    )
    return ""


def _received(path: Path, content: bytes, brief: Brief, as_name: str, old: str) -> Entry:
    """The entry of a file that came back."""
    kind, mapping = identify(path.name, content, brief, as_name)
    return manifest.entry(content, kind=kind, given_as=path.name, mapping=mapping, replaces=old)


def _there(known: Sequence[Entry], new: Sequence[Entry], made: Entry) -> Entry | None:
    """The entry under which these very bytes count already."""
    if made.by_hand:
        last = manifest.copies(known).get(made.given_as)
        return last if last is not None and last.sha256 == made.sha256 else None
    same = [item for item in (*manifest.counting(known), *new) if item.sha256 == made.sha256 and not item.by_hand]
    if same or made.replaces:
        return same[0] if same else None
    # Replaced since: it takes a --replace of its own to bring it back.
    return next((item for item in known if item.sha256 == made.sha256 and not item.by_hand), None)


def _needs_reason(
    last: Entry | None, was: bytes, made: Entry, content: bytes, given: bool, faults: list[Fault]
) -> None:
    """A fault when lines of a table changed since it was taken in and no reason and role are given."""
    gone = () if last is None else grown.lost(was, content)
    if last is not None and gone and not given:
        numbers = ", ".join(map(str, gone[:6])) + (f" and {len(gone) - 6} more" if len(gone) > 6 else "")
        faults.append(
            Fault(
                made.given_as,
                f"line{'' if len(gone) == 1 else 's'} {numbers} of {last.file} {'is' if len(gone) == 1 else 'are'} "
                f"not there any more",
                "every line that was taken in, unchanged and in order",
                "Put them back, or say why they changed: --reason TEXT --role ROLE.",
            )
        )


def _records(
    campaign: Campaign,
    fresh: Sequence[ReceivedFile],
    unknown: Sequence[str],
    recorded: Sequence[tuple[Entry, Path]] = (),
) -> tuple[intake_records.Records, intake_records.Records]:
    """The records without and with the new files.

    Raises
    ------
    IntakeError
        With the faults of files that are nothing known, and of all others.
    """
    told = list(unknown)
    try:
        place = (campaign.folder / dyno_runs.FOLDER).resolve()
        elsewhere = [path for _, path in recorded if path.resolve().parent != place]
        replaced = {item.replaces for item, _ in recorded}
        after = campaign.records(received=fresh, recorded=elsewhere, without=replaced)
    except IntakeError as problem:
        told.append(str(problem))
    if told:
        raise IntakeError("\n".join(told))
    if not fresh and not recorded:
        return after, after
    return campaign.records(without={item.file for item, _ in recorded}), after


def _news(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """The findings that were not there before."""
    old = {tuple(row) for row in before.itertuples(index=False)}
    # An empty list would choose no columns, where there are no findings at all.
    kept = pd.Series([tuple(row) not in old for row in after.itertuples(index=False)], index=after.index, dtype=bool)
    return after[kept].reset_index(drop=True)


def _runs(after: intake_records.Records, names: dict[str, str]) -> dict[str, tuple[str, ...]]:
    """File to the runs that it tells figures of."""
    where = after.sources
    return {file: tuple(dict.fromkeys(where.loc[where["file"] == name, "run_id"])) for name, file in names.items()}
