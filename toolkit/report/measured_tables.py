"""What metrology, laboratory and reference runs say, as tables (rank 10)."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.decide.measured import Measured
from toolkit.plot import answers
from toolkit.report import table as cells
from toolkit.report.table import NONE, Table, plain

MOST = 60


def tables(found: Measured, brief: Brief) -> list[Table]:
    """Every table that says something, in the order of the work: gauge, traces, uncertainty, oil, mass balance.

    Parameters
    ----------
    found : Measured
    brief : Brief
    """
    made = [gauge(found), pays(found), masters(found, brief), uncertainty(found, brief)]
    made += [accounts(found), duplicates(found), balance(found), adjusted(found), compared(found, brief)]
    return [table for table in made if table is not None]


def gauge(found: Measured) -> Table | None:
    """The components of the gauge study with their intervals."""
    if found.gauge is None:
        return None
    rows = [
        (
            row["source"],
            cells.number(row["sd"]),
            _range(row["conf_low"], row["conf_high"]),
            _share(row["share_pct"]),
            row["how"] or NONE,
            row["note"] or NONE,
        )
        for row in found.gauge.table.to_dict("records")
    ]
    level = answers.level_text(found.gauge.conf_level)
    head = ("source", "SD", f"{level} interval", "share of the variance", "limits by", "note")
    table = plain(
        f"Gauge study ({found.gauge.layout}): where the scatter of readings comes from", head, rows, head[1:4]
    )
    return replace(table, notes=found.gauge.notes)


def pays(found: Measured) -> Table | None:
    """What more readings of each station would bring."""
    if not len(found.readings_that_pay):
        return None
    head = (
        "readings of each station",
        "gauge, SD",
        "run value, SD",
        "share of the gauge",
        "runs for the same interval",
    )
    head = (*head, "cost of the same interval", "pays best")
    rows = [
        (
            str(row["readings"]),
            cells.number(row["gauge_sd"]),
            cells.number(row["run_sd"]),
            _share(row["gauge_share_pct"]),
            _share(row["runs_pct"]),
            _share(row["cost_pct"]),
            "yes" if row["pays"] else NONE,
        )
        for row in found.readings_that_pay.to_dict("records")
    ]
    return plain("How many readings pay (against those of today)", head, rows, head[1:6])


def masters(found: Measured, brief: Brief) -> Table | None:
    """What every master reads off its value, session by session."""
    rows = []
    for item in brief.masters:
        unit = measured_in.shown(item.response)
        for row in found.masters.get(item.name, pd.DataFrame()).to_dict("records"):
            rows.append(
                (
                    item.name,
                    row["session_id"],
                    row["measured_at"],
                    f"{cells.number(row['off'])} {unit}".rstrip(),
                    cells.number(row["off_sd"]),
                    cells.number(row["line"]),
                )
            )
    head = ("master", "session", "day", "read off", "standard uncertainty", "line")
    rules = {item.name: item.correct for item in brief.masters}
    notes = tuple(f"{name}: {_RULES[rule]}." for name, rule in rules.items() if name in found.masters)
    return replace(plain("Masters: what does not wear", head, rows, head[3:]), notes=notes) if rows else None


_RULES = {
    "none": "nothing is taken off the readings",
    "session": "what it reads off in a session is taken off the readings of that session",
    "line": "the line through all sessions is taken off the readings",
}


def uncertainty(found: Measured, brief: Brief) -> Table | None:
    """The standard uncertainty of every run value, by what it is made of."""
    if not len(found.uncertainty):
        return None
    rows = []
    for row in found.uncertainty.to_dict("records")[:MOST]:
        unit = measured_in.shown(str(row["response"]))
        parts = [cells.number(row[name]) for name in ("of_readings", "of_alignment", "of_correction", "combined_sd")]
        value = f"{cells.number(row['value'])} {unit}".rstrip()
        rows.append(
            (
                row["run_id"],
                measured_in.label(str(row["response"])),
                value,
                cells.number(row["as_read"]),
                *parts,
                row["source"] or row["note"] or NONE,
            )
        )
    head = (
        "run",
        "response",
        "run value",
        "as read",
        "of readings",
        "of alignment",
        "of correction",
        "together",
        "from",
    )
    table = plain("Standard uncertainty of each run value by the gauge", head, rows, head[2:8])
    left = len(found.uncertainty) - len(rows)
    return replace(table, notes=(f"and {left} more in derived/uncertainty.csv",) if left > 0 else (), breaks=True)


def accounts(found: Measured) -> Table | None:
    """Each metal as sampled and with what samples, top-ups and consumption took and brought."""
    if not len(found.accounts):
        return None
    rows = [
        (
            row["run_id"],
            measured_in.label(str(row["element"])).capitalize(),
            cells.number(row["hours"]),
            cells.number(row["increase_ppm"]),
            cells.number(row["corrected_ppm"]),
            _range(row["corrected_low_ppm"], row["corrected_high_ppm"]),
            _range(row["low_mg"], row["high_mg"]),
            _range(row["rate_low_mg_h"], row["rate_high_mg_h"]),
            row["note"] or NONE,
        )
        for row in found.accounts.to_dict("records")
    ]
    head = ("run", "metal", "hours", "increase as sampled (mg/kg)", "accounted (mg/kg)", "whatever leaves (mg/kg)")
    head = (*head, "given in (mg)", "rate (mg/h)", "note")
    table = plain("Metals in the oil, as sampled and accounted for", head, rows[:MOST], head[2:8])
    left = len(rows) - MOST
    return replace(table, notes=(f"and {left} more in derived/oil_accounts.csv",) if left > 0 else (), breaks=True)


def duplicates(found: Measured) -> Table | None:
    """Figures of one sample against each other."""
    if not len(found.duplicates):
        return None
    words = {True: "yes", False: "no", None: NONE}
    rows = [
        (
            row["run_id"],
            cells.number(row["at_h"]),
            measured_in.label(str(row["element"])).capitalize(),
            row["figures"],
            cells.number(row["range_ppm"]),
            cells.number(row["limit_ppm"]),
            row["compared"],
            words[row["agree"]],
            row["source"] or NONE,
        )
        for row in found.duplicates.to_dict("records")
    ]
    head = ("run", "hours", "element", "figures", "apart (mg/kg)", "at most (mg/kg)", "compared", "agree", "limit from")
    return plain("Samples drawn twice", head, rows, ("hours", "apart (mg/kg)", "at most (mg/kg)"))


def balance(found: Measured) -> Table | None:
    """Metal in the oil over metal lost by the parts."""
    if found.balance is None:
        return None
    words = {True: "yes", False: "no", None: NONE}
    rows = [
        (
            row["run_id"],
            measured_in.label(str(row["element"])).capitalize(),
            _range(row["oil_low_mg"], row["oil_high_mg"]),
            cells.number(row["parts_mg"]),
            _range(row["recovery_low"], row["recovery_high"]),
            words[row["inside"]],
            row["causes"] or row["note"] or NONE,
        )
        for row in found.balance.table.to_dict("records")
    ]
    low, high = found.balance.band
    head = (
        "run",
        "metal",
        "in the oil (mg)",
        "lost by the parts (mg)",
        "oil over parts",
        f"within {low:g} to {high:g}",
    )
    head = (*head, "look for")
    table = plain("Mass balance: a check of units, sump mass and the list of parts", head, rows, head[2:5])
    return replace(table, notes=found.balance.notes)


def adjusted(found: Measured) -> Table | None:
    """What the reference runs take off each other run where that is asked for, and the variance that this adds."""
    rows = []
    for chart in found.charts:
        unit = measured_in.shown(chart.response)
        for row in () if chart.adjusted is None else chart.adjusted.to_dict("records"):
            off = cells.number(row["adjustment"])
            rows.append(
                (
                    row["run_id"],
                    measured_in.label(chart.response),
                    f"{cells.number(row['value'])} {unit}".rstrip(),
                    f"× {off}" if chart.scale == "log" else f"{off} {unit}".rstrip(),
                    f"{cells.number(row['adjusted'])} {unit}".rstrip(),
                    row["references"],
                    cells.number(row["variance_added"]),
                )
            )
    head = ("run", "response", "run value", "adjusted by", "adjusted", "by the runs", "variance added (of a run)")
    table = plain("Runs adjusted by the reference runs near them", head, rows[:MOST], (*head[2:5], head[6]))
    left = len(rows) - MOST
    return replace(table, notes=(f"and {left} more in derived/analysis.json",) if left > 0 else ()) if rows else None


def compared(found: Measured, brief: Brief) -> Table | None:
    """Answers of adjusted or corrected run values, with the variance that adds."""
    if not len(found.compared):
        return None
    rows = []
    for (response, basis), part in found.compared.groupby(["response", "basis"], sort=False):
        judged = dict(zip(part["comparison"], zip(part["verdict"], part["verdict_then"], strict=True), strict=True))
        for answer in answers.of(part, None, brief):
            now, then = judged[answer.name]
            rows.append(
                (
                    answer.name,
                    measured_in.label(str(response)),
                    basis,
                    answer.change,
                    answer.interval,
                    then,
                    now or NONE,
                )
            )
    head = ("comparison", "response", "answered", "change", "interval", "verdict", "as judged")
    return plain("Answers of adjusted and corrected values; the verdicts are those as judged", head, rows, head[3:5])


def _range(low: object, high: object) -> str:
    """Two ends; one where they are the same; a dash where there are none."""
    ends = [cells.number(low), cells.number(high)]
    if NONE in ends:
        return NONE
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _share(value: object) -> str:
    """A share in per cent; a dash where there is none."""
    found = answers.value(value)
    return NONE if found is None else f"{found:.3g} %"
