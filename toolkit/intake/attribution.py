"""Whose reading and whose sample it is: blind codes find their run through run sheets and registers (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from toolkit.intake import cells
from toolkit.intake.fitted import PLACE, Parts, place
from toolkit.intake.gathered import Finding, finding, some
from toolkit.intake.raw import Entry, Raw
from toolkit.intake.told import Told

_KEPT = "the readings are kept and not used until then"


def readings(rows: Sequence[Told], fitted: Mapping[str, str], parts: Parts) -> tuple[list[Told], list[Finding]]:
    """Rows of stations with the run that their part ran in.

    Parameters
    ----------
    rows : sequence of Told
        Of received tables; some may name their run themselves.
    fitted : mapping
        Run to the part that was fitted, by its sheet.
    parts : Parts

    Returns
    -------
    rows : list of Told
        Those whose run is known: the run on whose sheet the part was fitted, else that of the register.
    findings : list of Finding
        stop: parts that nobody knows, or that two sheets name. note: parts that were measured and not fitted.
    """
    made: list[Told] = []
    left: dict[tuple[str, str], list[Told]] = {}
    told: list[Finding] = []
    differ: dict[tuple[str, str, str], list[Told]] = {}
    for row in rows:
        part = parts.code(row.text("part_id").strip())
        entry = row.cells.get("part_id")
        if row.text("run_id"):
            run, _ = _run_of(part, fitted, parts)
            if run and run != row.text("run_id"):
                differ.setdefault((row.text("run_id"), part, run), []).append(row)
            made.append(row)
        elif entry is None or not part:
            # Without a part it is a fault of its cell, which the strict readers tell.
            made.append(_with(row, "run_id", Entry(None, row.file, row.where)))
        else:
            run, why = _run_of(part, fitted, parts)
            if run:
                named = _with(row, "part_id", replace(entry, text=part))
                made.append(_with(named, "run_id", Entry(run, entry.file, entry.where)))
            else:
                left.setdefault((why, part), []).append(row)
    told += [_left(why, part, found, fitted, parts) for (why, part), found in left.items() if why != "spare"]
    spares = {part: found for (why, part), found in left.items() if why == "spare"}
    if spares:
        count = sum(len(found) for found in spares.values())
        told.append(
            finding(
                "note",
                "spare not used",
                column="part_id",
                found=f"{count} reading{'s' * (count > 1)} of spare part{'s' * (len(spares) > 1)} {some(list(spares))}",
                expected="readings of parts that were fitted",
                action="none: kept, and used if a run sheet says that one was fitted",
            )
        )
    for (named, part, run), found in differ.items():
        told.append(_differs(named, part, run, f"{_count(found)} of part {part} for {named}"))
    return made, told


def _differs(named: str, part: str, run: str, found: str) -> Finding:
    """The finding of a part that a table gives to another run."""
    expected = f"{run}, as its sheet or the register has it"
    action = "check which run the part ran in; the run that the table names is used"
    return finding("note", "part of another run", run_id=named, part_id=part, column="part_id", found=found,
                   expected=expected, action=action)  # fmt: skip


def by_hand(raw: Raw, fitted: Mapping[str, str], parts: Parts) -> list[Finding]:
    """Findings of a hand-kept table of readings that names another run for a part than its sheet or the register."""
    if not parts.lines or not {"run_id", "part_id"} <= set(raw.header):
        return []
    at = [raw.header.index(name) for name in ("run_id", "part_id")]
    pairs: dict[tuple[str, str], int] = {}
    for number, line in raw.rows:
        run, part = (cells.clean(line[place] or "") for place in at)
        pairs.setdefault((run, part), number)
    made = []
    for (named, part), number in pairs.items():
        run, _ = _run_of(parts.code(part), fitted, parts)
        if run and named and run != named:
            made.append(_differs(named, parts.code(part), run, f"part {part} for {named} ({raw.place(number)} and on)"))
    return made


def _run_of(part: str, fitted: Mapping[str, str], parts: Parts) -> tuple[str, str]:
    """The run of a part, or why there is none: unknown, several, spare, not fitted."""
    runs = [run for run, other in fitted.items() if other == part]
    if len(runs) > 1:
        return "", "several"
    if runs:
        return runs[0].split(PLACE)[0], ""
    line = parts.line(part)
    if line is None:
        return "", "unknown"
    owner = place(line)
    if not owner:
        return "", "spare"
    return (owner.split(PLACE)[0], "") if fitted.get(owner, part) == part else ("", "not fitted")


def _left(why: str, part: str, rows: Sequence[Told], fitted: Mapping[str, str], parts: Parts) -> Finding:
    """The finding of readings that belong to no run."""
    found, severity, rule = _count(rows), "stop", "part unknown"
    expected = "a part of the register, or of a run sheet"
    action = f"{cells.same_name(part, parts.codes)} Correct the code, or the register; {_KEPT}".strip()
    if not parts.lines:
        action = f"issue the registers with `wearbook sheets`, or name the run in the table; {_KEPT}"
    told = f"{found} of part {cells.shown(part)}"
    if why == "several":
        runs = [run for run, other in fitted.items() if other == part]
        named = [run.replace(PLACE, "/") for run in runs]
        rule, told = "part on two sheets", f"{told}, which the sheets of {some(named)} name"
        expected, action = "a part on one sheet", f"correct the wrong sheet with a note; {_KEPT}"
    elif why == "not fitted":
        owner = place(parts.lines[part.casefold()])
        severity, rule = "note", "part not fitted"
        told = f"{told}, planned for {owner.replace(PLACE, '/')}, which ran with part {fitted[owner]}"
        expected, action = "readings of parts that were fitted", "none if the run sheets are right; kept and not used"
    return finding(severity, rule, part_id=part, column="part_id", found=told, expected=expected, action=action)


def samples(rows: Sequence[Told], register: pd.DataFrame | None) -> tuple[list[Told], list[Finding]]:
    """Oil samples with the run and the hour of the register.

    Parameters
    ----------
    rows : sequence of Told
        Of received tables; some may name run and hour themselves.
    register : DataFrame or None
        sample_id, run_id, at_h.

    Returns
    -------
    rows : list of Told
        Those whose run is known.
    findings : list of Finding
        stop: samples that nobody knows. exclude: samples that the table gives to another run or hour than the
        register; the table's own word is used.
    """
    lines = {} if register is None else {str(row["sample_id"]).casefold(): row for row in register.to_dict("records")}
    made: list[Told] = []
    told: list[Finding] = []
    unknown: list[Told] = []
    for row in rows:
        code, entry = row.text("sample_id").strip(), row.cells.get("sample_id")
        line = lines.get(code.casefold())
        if entry is None or not code:
            made.append(_with(row, "run_id", Entry(None, row.file, row.where)))
            continue
        if line is None:
            if row.text("run_id"):
                made.append(row)
            else:
                unknown.append(row)
            continue
        kept = _with(row, "sample_id", replace(entry, text=str(line["sample_id"])))
        for name in ("run_id", "at_h"):
            own, registered = row.text(name), str(line[name])
            if name in row.cells and row.cells[name].text is None:
                continue
            if not own:
                kept = _with(kept, name, Entry(registered, entry.file, entry.where))
            elif not _equal(own, registered):
                told.append(
                    finding(
                        "exclude",
                        "sample differs",
                        run_id=row.text("run_id") or str(line["run_id"]),
                        column=name,
                        found=f"sample {line['sample_id']}: {name} {own} ({row.file} {row.where})",
                        expected=f"{registered}, as the register has it",
                        action="look for a mixed-up label; what the table says is used",
                    )
                )
        made.append(kept)
    if unknown:
        told.append(_unknown(unknown, [str(line["sample_id"]) for line in lines.values()]))
    return made, told


def _unknown(rows: Sequence[Told], known: Sequence[str]) -> Finding:
    """The finding of samples that belong to no run."""
    codes = [row.text("sample_id").strip() for row in rows]
    near = next((text for text in (cells.same_name(code, known) for code in codes) if text), "")
    action = f"{near} Correct the code, or the register; the samples are kept and not used until then".strip()
    if not known:
        action = "issue the registers with `wearbook sheets`, or name run and hour in the table; not used until then"
    return finding(
        "stop",
        "sample unknown",
        column="sample_id",
        found=f"{len(rows)} sample{'s' * (len(rows) > 1)} without a run: {some(codes)} "
        f"({rows[0].file} {rows[0].where})",
        expected="a sample of the register",
        action=action,
    )


def _with(row: Told, column: str, entry: Entry) -> Told:
    """The same row with another cell."""
    return replace(row, cells={**row.cells, column: entry})


def _count(rows: Sequence[Told]) -> str:
    """How many readings, and where the first stands."""
    return f"{len(rows)} reading{'s' * (len(rows) > 1)} ({rows[0].file} {rows[0].where})"


def _equal(one: str, other: str) -> bool:
    """True for the same text or number."""
    try:
        return one == other or float(one) == float(other)
    except ValueError:
        return False
