"""raw/masters.csv, readings of what does not wear: the drift of a gauge, and its correction where asked for (rank 6).

Nothing is corrected that the brief does not ask for, and the readings as they were taken stay on record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.brief.metrology import Master, masters_of
from toolkit.brief.model import Brief
from toolkit.errors import listing
from toolkit.intake import cells, typed
from toolkit.intake.cells import Problem
from toolkit.intake.columns import SESSION
from toolkit.intake.gathered import Finding, Gathered, finding, quantity, some
from toolkit.intake.raw import NOTE, Raw, Row, check_header, walk
from toolkit.numeric import master_drift
from toolkit.numeric.master_drift import Drift

NAME = "raw/masters.csv"
COLUMNS = ("master_id", "session_id", "measured_at", "reading", "value")
# Chance alone shows a drift as clear as this in one of a thousand campaigns.
SHOWN = 0.001
_MONTH = 30.0
_WHEN = "a day as 2026-03-31, or with a time as 2026-03-31 14:05"


@dataclass(frozen=True, eq=False)
class MasterDrift:
    """What one master shows.

    Attributes
    ----------
    master : Master
    sessions : tuple of str
        In the order of their days.
    days : tuple of str
    drift : Drift
    """

    master: Master
    sessions: tuple[str, ...]
    days: tuple[str, ...]
    drift: Drift

    @property
    def shown(self) -> bool:
        """True when the readings show a drift."""
        return self.drift.p_value is not None and self.drift.p_value < SHOWN

    @property
    def sentence(self) -> str:
        """What it shows, in a sentence."""
        unit, made = self.master.response, self.drift
        start = f"{self.master.name} ({measured_in.label(unit)}), {len(self.sessions)} sessions"
        if made.slope is None or made.slope_low is None or made.slope_high is None:
            return f"{start}: too few to tell a drift; off by {quantity(_short(made.off.mean()), unit)} on average"
        slope, low, high = (_short(_MONTH * part) for part in (made.slope, made.slope_low, made.slope_high))
        told = f"{slope:+g} {measured_in.shown(unit)} in 30 days ({low:+g} to {high:+g})".replace("  ", " ")
        return f"{start}: {'the gauge drifts by' if self.shown else 'no drift shown:'} {told}"

    @property
    def table(self) -> pd.DataFrame:
        """session_id, measured_at, off, off_sd, line: a row a session, in the unit of the response."""
        made = self.drift
        rows = zip(self.sessions, self.days, made.off.tolist(), made.off_sd.tolist(), made.line.tolist(), strict=True)
        frame = pd.DataFrame(rows, columns=["session_id", "measured_at", "off", "off_sd", "line"])
        return frame.astype(object).where(frame.notna(), None)

    def taken_off(self) -> tuple[np.ndarray, np.ndarray]:
        """What the rule of the brief takes off every reading of a session, and its covariance over the sessions."""
        if self.master.correct == "line":
            return self.drift.line, self.drift.line_covariance
        return self.drift.off, self.drift.session_covariance

    def __repr__(self) -> str:
        """What the master shows, in a sentence."""
        return self.sentence


def readings(raw: Raw, brief: Brief, told: Gathered) -> pd.DataFrame:
    """Readings of masters, one row a reading in the order of the table.

    Parameters
    ----------
    raw : Raw
        Columns master_id, session_id, measured_at (ISO 8601), reading and value; ``note`` may be there.
    brief : Brief
    told : Gathered

    Returns
    -------
    DataFrame
        Those columns, and ``day`` (a number of days); value NaN where blank or 'lost'.
    """
    check_header(raw, COLUMNS, (), told)
    names = {item.name: item for item in brief.masters}
    made = []
    seen: dict[object, int] = {}
    when: dict[str, tuple[str, int]] = {}
    rows = list(walk(raw, told))
    as_typed = typed.Column("measured_at", "when", day_first=typed.day_first(row.text("measured_at") for row in rows))
    for row in rows:
        line: dict[str, object] = {"master_id": row.take("master_id", cells.identifier, needed="the id of the master")}
        if line["master_id"] is not None and line["master_id"] not in names:
            known = list(names)
            row.fault(
                "master_id",
                "unknown",
                f"unknown master {cells.shown(str(line['master_id']))}",
                f"a [[master]] of campaign.toml: {listing(known)}",
                lambda row=row, known=known: cells.same_name(row.text("master_id"), known),
            )
        line[SESSION] = row.take(SESSION, cells.identifier, needed="the id of the session")
        line["measured_at"] = row.text("measured_at")
        line["day"] = row.take("measured_at", _day, as_typed, needed=_WHEN)
        line["reading"] = row.take("reading", cells.whole, needed="1, 2 ... in this session")
        key = (line["master_id"], line[SESSION], line["reading"])
        if None not in key:
            row.once(seen, "reading", key, "each reading of a master in a session once")
        _one_day(row, line, when)
        response = names[str(line["master_id"])].response if line["master_id"] in names else ""
        line["value"] = row.take("value", cells.measurement, response)
        made.append({**line, NOTE: cells.in_words(row.text(NOTE))})
    frame = pd.DataFrame(made, columns=[*COLUMNS, "day", *([NOTE] if NOTE in raw.header else [])])
    return frame.astype({"value": "float64", "day": "float64"})


def found(brief: Brief, table: pd.DataFrame | None) -> tuple[MasterDrift, ...]:
    """What every master of the brief shows, as far as it was read.

    Parameters
    ----------
    brief : Brief
    table : DataFrame or None
        As ``readings`` gives it.
    """
    made = []
    for item in brief.masters if table is not None else ():
        mine = table[(table["master_id"] == item.name) & table["value"].notna()]
        if mine.empty:
            continue
        mine = mine.sort_values(["day", SESSION, "reading"], kind="stable")
        sessions = list(dict.fromkeys(mine[SESSION]))
        at = [sessions.index(name) for name in mine[SESSION]]
        shown = master_drift.drift(mine["day"], at, mine["value"], item.value, conf_level=brief.conf_level)
        days = mine.drop_duplicates(SESSION)["measured_at"].tolist()
        made.append(MasterDrift(item, tuple(sessions), tuple(days), shown))
    return tuple(made)


def findings(shown: tuple[MasterDrift, ...]) -> list[Finding]:
    """Findings of gauges that drift."""
    made = []
    for item in shown:
        if not item.shown:
            continue
        action = {
            "none": "nothing is corrected: have the gauge looked at, or ask for a correction in [[master]]",
            "session": "what the master reads off is taken off the readings of each session, as the brief asks",
            "line": "the line is taken off the readings, as the brief asks",
        }[item.master.correct]
        made.append(
            finding(
                "note",
                "gauge drift",
                column=item.master.response,
                found=item.sentence,
                expected=f"the master to stay at {quantity(item.master.value, item.master.response)}",
                action=action,
            )
        )
    return made


def corrected(
    brief: Brief, taken: pd.DataFrame, shown: tuple[MasterDrift, ...], told: Gathered, name: str
) -> pd.DataFrame:
    """The readings of stations with what the brief asks to take off; the same where it asks for nothing.

    Parameters
    ----------
    brief : Brief
    taken : DataFrame
        As ``tables.stations`` gives them, with session_id; not changed.
    shown : tuple of MasterDrift
    told : Gathered
        Sessions without a reading of the master that corrects them are kept here.
    name : str
        The table, for messages.
    """
    made = taken.copy()
    for response in dict.fromkeys(item.response for item in brief.masters):
        rule = next((item for item in masters_of(brief.masters, response) if item.correct != "none"), None)
        if rule is None or response not in made:
            continue
        drift = next((item for item in shown if item.master is rule), None)
        known = {} if drift is None else dict(zip(drift.sessions, drift.taken_off()[0], strict=True))
        measured = made[response].notna()
        lacking = [str(item) for item in dict.fromkeys(made.loc[measured, SESSION]) if item not in known]
        if lacking:
            what = f"no reading of master '{rule.name}' in session{'s' * (len(lacking) > 1)} {some(lacking)}"
            told.add(
                NAME,
                NAME,
                what,
                f'one at least, as correct = "{rule.correct}" asks for',
                f'Enter it, or write correct = "none" in campaign.toml; readings stand in {name}.',
            )
            continue
        made.loc[measured, response] -= made.loc[measured, SESSION].map(known).astype(float)
    return made


def correcting(brief: Brief, shown: tuple[MasterDrift, ...], response: str) -> MasterDrift | None:
    """The master that corrects the readings of a response; None where none does."""
    return next((item for item in shown if item.master.response == response and item.master.correct != "none"), None)


def _day(text: str, column: typed.Column) -> float | Problem:
    """A date as a number of days."""
    made = typed.of_text(text, column)
    try:
        when = datetime.fromisoformat(made.text if isinstance(made, typed.Typed) else text)
    except ValueError:
        return Problem("no day", cells.shown(text), _WHEN, made.remedy if isinstance(made, Problem) else "")
    if when.tzinfo is not None:
        when = when.replace(tzinfo=None) - (when.utcoffset() or (when - when))
    return (when - datetime(2000, 1, 1)).total_seconds() / 86_400.0


def _one_day(row: Row, line: dict[str, object], when: dict[str, tuple[str, int]]) -> None:
    """A fault of a session that has two days."""
    session, day = line[SESSION], line["measured_at"]
    if session is None or line["day"] is None:
        return
    first = when.setdefault(str(session), (str(day), row.number))
    if first[0] != day:
        other = f"on {cells.shown(first[0])} on line {first[1]}"
        what = f"session {cells.said(str(session))} on {cells.shown(str(day))}, and {other}"
        row.fault("measured_at", "two days", what, "one time for a session", "Give sessions names of their own.")


def _short(value: float) -> float:
    """A figure to three digits."""
    return float(f"{value:.3g}") if math.isfinite(value) else value
