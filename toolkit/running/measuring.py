"""Blank tables for metrology and the laboratory: blind codes, stations, readings; no run, no treatment (rank 5)."""

from __future__ import annotations

from toolkit import sheetfile
from toolkit.brief.model import Response
from toolkit.running.register import Register, station_ids, stations_of
from toolkit.sheetfile import Cell, Sheet

_REMARK = "remark"
_READING = "92.5 or 92,5. Blank: not measured yet. lost: there will be no figure. Another unit: write it behind."
_AMOUNT = "30.5 or 30,5. Below your limit: <0.5. Blank: not measured yet. lost: there will be no figure."


def tables(register: Register, *, at: str) -> dict[str, bytes]:
    """Workbooks to hand over, by file name: one for each state in which parts are measured, one for the oil.

    Parameters
    ----------
    register : Register
    at : str
        The time that stands in the documents, ISO 8601.

    Returns
    -------
    dict of bytes
        ``measure-<state>.xlsx`` (``measure.xlsx`` where wear is read as such) with a sheet for each kind of station
        and a line a part, station and reading, parts in the order of their codes (none for what is read from traces);
        ``lab-request.xlsx`` with a line a sample. What the brief does not need is left out. Spare parts are on the
        list: one of them may be fitted.
    """
    brief = register.brief
    made: dict[str, bytes] = {}
    traced = {rule.response for rule in brief.traces}
    stationed = [item for item in brief.responses if item.stations is not None and item.name not in traced]
    states = list(dict.fromkeys(state for item in stationed for state in _states(item)))
    for at_state, state in enumerate(states, start=1):
        sheets = []
        for kind, ids in station_ids(brief).items():
            asked = [item for item in stationed if item.stations.kind == kind and state in _states(item)]
            if asked:
                sheets.append(_stations(register, kind, ids, state, asked))
        name = f"measure-{_plain(state, at_state)}" if state else "measure"
        name = f"{name}-{at_state}" if f"{name}.xlsx" in made else name
        made[f"{name}.xlsx"] = sheetfile.write(sheets, title=f"Measurements {brief.id} {state}".strip(), at=at)
    oil = [item for item in brief.responses if item.source == "oil"]
    if oil:
        made["lab-request.xlsx"] = sheetfile.write(
            [_oil(register, oil)], title=f"Request to the laboratory {brief.id}", at=at
        )
    return made


def _stations(register: Register, kind: str, ids: tuple[str, ...], state: str, asked: list[Response]) -> Sheet:
    """One kind of station in one state: a line a part, station and reading."""
    read_off = any(item.response in [one.name for one in asked] for item in register.brief.masters)
    head = ["part_id", "station_id", "reading", *(["state"] if state else []), *(["session_id"] if read_off else [])]
    rows = [_heading(head, asked)]
    for line in register.parts.to_dict("records"):
        part, own = line["part_id"], stations_of(register.brief, line).get(kind, ())
        for place, station in enumerate(ids):
            if station not in own:
                continue
            for reading in range(max(item.stations.readings for item in asked)):
                known = [Cell(part), Cell(station), Cell(reading + 1), *([Cell(state)] if state else [])]
                known += [Cell(None, "input")] if read_off else []
                for item in asked:
                    wanted = place < item.stations.count and reading < item.stations.readings
                    box = Cell(None, "number", hint=_READING) if wanted else Cell(None, "plain")
                    known += [box, Cell(item.measured_in)]
                rows.append((*known, Cell(None, "input")))
    return _sheet(register, _plain(kind, 1), rows, len(head), asked)


def _oil(register: Register, asked: list[Response]) -> Sheet:
    """A line a sample, in the order of the codes: neither run nor hours are told."""
    rows = [_heading(["sample_id"], asked)]
    for code in sorted(register.samples["sample_id"]):
        known = [Cell(code)]
        for item in asked:
            # Text, because a laboratory writes < 0.5 where it finds nothing.
            known += [Cell(None, "input", hint=_AMOUNT), Cell(item.measured_in)]
        rows.append((*known, Cell(None, "input")))
    return _sheet(register, "samples", rows, 1, asked)


def _heading(head: list[str], asked: list[Response]) -> tuple[Cell, ...]:
    """The headings: keys, then each response with what it is measured in beside it, then remarks."""
    names = [*head, *(name for item in asked for name in (item.name, f"{item.name} measured in")), _REMARK]
    return tuple(Cell(name, "head") for name in names)


def _sheet(register: Register, name: str, rows: list[tuple[Cell, ...]], keys: int, asked: list[Response]) -> Sheet:
    """The rows as a sheet that is printed over as many pages as it takes, headings on each."""
    widths = [14.0] * keys + [18.0, 12.0] * len(asked) + [30.0]
    return Sheet(
        name=name,
        rows=tuple(rows),
        widths=tuple(widths),
        heights=(34.0, *([18.0] * (len(rows) - 1))),
        repeated=1,
        one_page=False,
        foot=f"{register.brief.id} {register.phase}: {name}",
    )


def _states(response: Response) -> tuple[str, ...]:
    """The states in which a response is measured; one without a name where wear is read as such."""
    return response.stations.states or ("",)


def _plain(word: str, place: int) -> str:
    """A word as a file or a sheet can be called; its place where nothing of it is left."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in word).strip("-")[:28]
    return kept or str(place)
