"""What intake, note and status print for people (rank 11)."""

from __future__ import annotations

import shlex
import textwrap

import pandas as pd

from toolkit.campaign.notes import Noted
from toolkit.campaign.status import Status
from toolkit.campaign.taken_back import TakenBack
from toolkit.campaign.taking import Taken
from toolkit.campaign.what_next import ISSUED, NOT_ISSUED, Phase
from toolkit.cli import words
from toolkit.intake.columns import VERDICTS

_WIDE = 110
# What is still to come is told by the status.
_MISSING = ("no record yet", "no value")


def taken(made: Taken) -> str:
    """What was taken in, as what, of which runs; then what the records say that they did not say before."""
    lines = []
    for item in made.new:
        runs = ", ".join(made.runs.get(item.file, ()))
        by = f" by '{item.mapping}'" if item.mapping else ""
        of = f" of {runs}" if runs and item.kind in ("run sheet", "runs") else ""
        lines.append(f"{item.given_as}: {item.kind}{of}{by}, kept as {item.file}")
        if item.replaces:
            late = f", AFTER wear of {', '.join(sorted(made.seen))} had been seen" if made.seen else ""
            lines.append(f"  in place of {item.replaces}, which stays where it is{late}")
    if made.seen and not any(item.replaces for item in made.new):
        runs = ", ".join(sorted(made.seen))
        lines.append(f"  figures of {runs} changed AFTER wear of them had been seen; this is marked")
    lines += [f"{item.given_as}: taken in already as {item.file}; nothing was done" for item in made.already]
    if len(made.proposals):
        lines += ["", "What the sealed rules propose, without the wear:", *proposed(made.proposals)]
    told = made.findings[~made.findings["rule"].isin(_MISSING)]
    if len(told):
        lines += ["", "What came with it and needs a look:", *words.findings(told)]
    return "\n".join(lines)


def taken_back(made: TakenBack) -> str:
    """What was taken back and why, what counts in its place, and what the records say now that they did not before."""
    late = f", AFTER wear of {', '.join(sorted(made.seen))} had been seen" if made.seen else ""
    of = f"it told of {', '.join(made.runs)}; " if made.runs else ""
    lines = [
        f"{made.entry.given_as}: taken back ({made.reason}; {made.role}){late}",
        f"  {of}nothing in it counts any more; {made.entry.file} stays where it is",
    ]
    if made.counts_again is not None:
        lines.append(f"  {made.counts_again.given_as}, which it had replaced, counts again")
    told = made.findings[~made.findings["rule"].isin((*_MISSING, "taken back"))]
    if len(told):
        lines += ["", "What the records say without it:", *words.findings(told)]
    return "\n".join(lines)


def proposed(table: pd.DataFrame) -> list[str]:
    """What the rules propose for runs, a line each, and the note that records a verdict of a run without one."""
    lines = []
    for row in table.to_dict("records"):
        by = f", for the {row['judged_by']} to say" if row["judged_by"] else ""
        what = {"review": f"review{by}", "not yet": "nothing can be proposed yet"}.get(row["proposed"], row["proposed"])
        on_record = "" if row["verdict"] == "pending" else f" (on record: {row['verdict']})"
        lines.append(f"  {row['run_id']}: {what}{on_record}: {row['reason']}")
        if row["verdict"] == "pending" and row["proposed"] in VERDICTS:
            role = row["judged_by"] or "ROLE"
            word = str(row["proposed"])
            note = ["note", "CAMPAIGN", row["run_id"], "--verdict", word, "--reason", "TEXT", "--role", role]
            lines.append(f"    to record it: wearbook {shlex.join(str(item) for item in note)}")
    return lines


def noted(made: Noted) -> str:
    """The note in one sentence, then what the sealed rules say of the run."""
    note = made.note
    unit = f" {note.measured_in}" if note.measured_in else ""
    change = f"{note.column} {_shown(note.old, unit)} -> {_shown(note.new, unit)}" if note.column else "remark"
    if note.column and note.old == note.new:
        change = f"{note.column} {_shown(note.new, unit)}, as before"
    late = ", noted AFTER its wear had been seen" if note.after_look else ""
    lines = [f"{note.run_id}: {change} ({note.reason}; {note.role}){late}"]
    if not made.written:
        lines.append("noted already; nothing was written")
    return "\n".join([*lines, *(f"  by the sealed rules: {rule}" for rule in made.rules)])


def stood(found: Status) -> str:
    """A table a phase, then lost runs, what else there is to know, and what comes next."""
    lines = [f"campaign '{found.campaign}'"]
    table = found.table
    if not found.phases:
        lines.append("nothing is planned and nothing is recorded yet")
    for phase in found.phases:
        mine = table[table["phase"] == phase.name]
        counts = ", ".join(f"{number} {word}" for word, number in phase.verdicts.items())
        lines += [
            "",
            f"{phase.name}: {len(mine)} run{'' if len(mine) == 1 else 's'} ({counts}); {_plan(phase)}",
            words.table(
                [
                    [row["planned_order"], row["run_id"], row["build_id"], row["stage"], row["verdict"], row["missing"]]
                    for row in mine.to_dict("records")
                ],
                ["order", "run", "build", "stage", "verdict", "missing"],
            ),
        ]
        away = [f"{row['run_id']}: {row['deviations']}" for row in mine.to_dict("records") if row["deviations"]]
        lines += ["  off plan or protocol:", *(_wrapped(item) for item in away)] if away else []
    if len(found.proposals):
        told = proposed(found.proposals)
        lines += ["", "runs without a verdict, by the sealed rules and without their wear:"]
        lines += [line if "wearbook note" in line else _wrapped(line.strip()) for line in told]
    if found.lost:
        lines += ["", "lost runs:", *(_wrapped(f"{run_id}: {why}") for run_id, why in found.lost)]
    if found.lines:
        lines += ["", "to be known:", *(_wrapped(item) for item in found.lines)]
    if found.faults:
        lines += ["", found.faults]
    return "\n".join(lines)


def _plan(phase: Phase) -> str:
    """Whether a phase is sealed and its sheets are issued."""
    if not phase.seal:
        return "no sealed plan"
    late = " AFTER records of it existed" if phase.sealed_after_records else ""
    amended = f", amendment {phase.amendment}" if phase.amendment else ""
    sheets = {NOT_ISSUED: "no sheets issued", ISSUED: "sheets issued"}.get(
        phase.issued, f"sheets issued {phase.issued}"
    )
    return f"sealed ({phase.seal[:12]}{amended}){late}; {sheets}"


def _wrapped(text: str) -> str:
    """A line set in, broken at the width of a terminal."""
    return textwrap.fill(
        text, _WIDE, initial_indent="    ", subsequent_indent="      ", break_long_words=False, break_on_hyphens=False
    )


def _shown(value: str, unit: str) -> str:
    """A value with its unit; blank in words."""
    return f"{value}{unit}" if value else "blank"
