"""What the log tells of a campaign: looks at results, notes on runs, amended plans, files replaced (rank 10)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from markupsafe import Markup

from toolkit import measured_in
from toolkit.campaign import corrections, log, manifest
from toolkit.campaign.corrections import Note
from toolkit.report.table import NONE, Table

AFTER = "yes: noted after a look"
AFTER_SEEN = "after wear of its runs had been seen"


def looks(rows: Sequence[Mapping[str, str]]) -> Table | None:
    """Every state of the records that was looked at, the first time it was; None when nobody looked.

    Parameters
    ----------
    rows : sequence of mapping
        The log.
    """
    first: dict[str, Mapping[str, str]] = {}
    for row in rows:
        if row["kind"] == log.LOOK:
            first.setdefault(row["subject"], row)
    made = []
    known: set[str] = set()
    for at, row in enumerate(first.values(), start=1):
        told = log.told(row)
        seen = dict(told.get("seen", {}))
        new = [name for name in seen if name not in known]
        known |= set(seen)
        counted = str(told.get("counted", row["what"])).removeprefix("analysed ")
        made.append((str(at), _time(row["at"]), counted, str(len(seen)) if seen else NONE, ", ".join(new) or NONE))
    if not made:
        return None
    head = ("look", "first at (UTC)", "runs then", "runs with values", "seen for the first time")
    notes = ("The same records looked at again are the same look.",)
    return Table("Looks at the results so far", head, tuple(made), ("look", "runs with values"), notes)


def notes(rows: Sequence[Mapping[str, str]]) -> Table | None:
    """Every note on a run: what it says, the old value struck through, after a look or before; None without any."""
    found = corrections.notes(rows)
    if not found:
        return None
    made = [
        (
            note.run_id,
            "remark" if not note.column else measured_in.label(note.column),
            _change(note),
            note.reason,
            note.role,
            _time(note.at),
            Markup("<strong>{}</strong>").format(AFTER) if note.after_look else "no",
        )
        for note in found
    ]
    head = ("run", "cell", "what stood there, and what counts", "reason", "role", "noted (UTC)", "looked at before")
    return Table("Notes on runs", head, tuple(made))


def amendments(rows: Sequence[Mapping[str, str]]) -> Table | None:
    """Every amended plan: what changed, why, who says so; None without any."""
    done = {row["subject"] for row in rows if row["kind"] == log.AMENDED}
    made = []
    for row in rows:
        if row["kind"] != log.AMENDING or row["subject"] not in done:
            continue
        told = log.told(row)
        made.append(
            (
                f"{row['phase']} {told.get('amendment', '')}".strip(),
                "; ".join(_amended(told)) or NONE,
                row["reason"],
                row["role"],
                _time(row["at"]),
                Markup("<s>{}</s> → {}").format(str(told.get("replaces", ""))[:12], row["subject"][:12]),
            )
        )
        done.discard(row["subject"])
    if not made:
        return None
    head = ("amendment", "what changed", "reason", "role", "at (UTC)", "seal, old and new")
    return Table("Amendments of the sealed plan", head, tuple(made))


def replaced(rows: Sequence[Mapping[str, str]]) -> Table | None:
    """Files taken in in place of others, tables kept by hand that changed, files taken back; None without any."""
    names = {item.file: item for item in manifest.entries(rows)}
    made = []
    back = False
    for row in rows:
        if row["kind"] == log.TAKEN and row["reason"]:
            entry = dict(asdict(manifest.entries([row])[0]))
            old = names.get(entry["replaces"])
            was = old.given_as if old is not None else entry["replaces"]
            late = _late(log.told(row))
            before = Markup("<s>{}</s> → ").format(was) if was else ""
            text = Markup("{}{}{}").format(before, entry["given_as"], late)
            made.append((text, entry["kind"], row["reason"], row["role"], _time(row["at"])))
        elif row["kind"] == log.BACK:
            back, told = True, log.told(row)
            item = names.get(str(told.get("file")))
            was = str(told.get("given_as", ""))
            text = Markup("<s>{}</s> taken back{}").format(was, _late(told))
            made.append((text, item.kind if item else NONE, row["reason"], row["role"], _time(row["at"])))
    if not made:
        return None
    head = ("file, old and new", "kind", "reason", "role", "at (UTC)")
    also = ", files taken back," if back else ","
    caption = f"Files that replaced others{also} and tables that changed after they were taken in"
    return Table(caption, head, tuple(made))


def _late(told: Mapping[str, Any]) -> str:
    """The mark of a file put right after wear of its runs had been seen; '' for one before."""
    return Markup(" <strong>{}</strong>").format(AFTER_SEEN) if told.get("after_look") else ""


def _time(at: str) -> str:
    """A time of the log as people read it: '2026-03-20 08:00'."""
    return at.replace("T", " ").removesuffix("Z")[:16]


def _change(note: Note) -> str:
    """The old value struck through and the new one, with what both are measured in; a remark has neither."""
    if not note.column:
        return NONE
    unit = f" {note.measured_in}" if note.measured_in else ""
    return Markup("<s>{}</s> → {}").format(f"{note.old}{unit}" if note.old else "blank", f"{note.new}{unit}")


def _amended(told: Mapping[str, Any]) -> list[str]:
    """What an amendment did, in words; of the lost runs only those that it dealt with."""
    lost = [
        f"{item['run_id']} ({', as '.join(word for word in (item['choice'], item.get('instead', '')) if word)})"
        for item in told.get("lost", ())
        if item.get("amendment", told.get("amendment")) == told.get("amendment")
    ]
    words = (
        ("campaign.toml", told.get("changed", ())),
        ("lost", lost),
        ("added", told.get("added", ())),
        ("dropped", told.get("dropped", ())),
        ("order drawn again", told.get("redrawn", ())),
    )
    return [f"{what}: {', '.join(map(str, names))}" for what, names in words if names]
