"""What metrology room, oil laboratory and reference runs say beside the answers, in one object (rank 7).

Nothing here changes a run value or a verdict.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.model import Brief, Response
from toolkit.decide import counted_too, mass_balance, reference_chart, verdict
from toolkit.decide.answered import Answered
from toolkit.decide.mass_balance import MassBalance
from toolkit.decide.reference_chart import ReferenceChart
from toolkit.errors import DesignError, ModelError
from toolkit.intake import masters, oil_checks
from toolkit.intake.records import Records
from toolkit.model import gauge_readings, gauge_study
from toolkit.model.gauge_study import GaugeStudy
from toolkit.wording import counted

ADJUSTED, CORRECTED = "adjusted by the reference runs", "with the correction's own doubt counted"
COMPARED = ("response", "basis", "verdict", "verdict_then", "sentence")


@dataclass(frozen=True, eq=False)
class Measured:
    """Accounts, checks and charts of what was measured.

    Attributes
    ----------
    traces : DataFrame
        One row a pair of traces (see ``trace_wear.TraceWear``).
    uncertainty : DataFrame
        One row a run value from stations (see ``against_gauge.uncertainties``).
    masters : mapping of str to DataFrame
        Master to its sessions.
    gauge : GaugeStudy or None
    readings_that_pay : DataFrame
        What more readings would make of the scatter between runs; empty without a gauge study.
    accounts, duplicates : DataFrame
        The metals in the oil of every run with and without corrections; figures of one sample against each other.
    balance : MassBalance or None
    charts : tuple of ReferenceChart
        A response each; empty where the brief does not ask for them.
    compared : DataFrame
        Comparisons of adjusted or corrected run values with the variance that adds: response, basis, verdict (as
        judged), verdict_then, sentence, and the schema of estimates.
    sentences : tuple of str
    heed : tuple of (response or None, sentence)
        What whoever decides must know.
    """

    traces: pd.DataFrame
    uncertainty: pd.DataFrame
    masters: Mapping[str, pd.DataFrame]
    gauge: GaugeStudy | None
    readings_that_pay: pd.DataFrame
    accounts: pd.DataFrame
    duplicates: pd.DataFrame
    balance: MassBalance | None
    charts: tuple[ReferenceChart, ...]
    compared: pd.DataFrame
    sentences: tuple[str, ...] = ()
    heed: tuple[tuple[str | None, str], ...] = ()

    @property
    def empty(self) -> bool:
        """True when there is nothing beside tables of stations and samples."""
        return not (len(self.traces) or self.masters or self.gauge or len(self.accounts) or self.balance or self.charts)

    def to_json(self) -> dict[str, Any]:
        """Everything as plain data; what is missing is null."""
        return stamp.plain(
            {
                "sentences": list(self.sentences),
                "traces": stamp.records(self.traces),
                "uncertainty": stamp.records(self.uncertainty),
                "masters": {name: stamp.records(table) for name, table in self.masters.items()},
                "gauge": None if self.gauge is None else self.gauge.to_json(),
                "readings_that_pay": stamp.records(self.readings_that_pay),
                "oil_accounts": stamp.records(self.accounts),
                "duplicates": stamp.records(self.duplicates),
                "mass_balance": None if self.balance is None else self.balance.to_json(),
                "reference_charts": [item.to_json() for item in self.charts],
                "compared": stamp.records(self.compared),
            }
        )

    def tables(self) -> dict[str, pd.DataFrame]:
        """Those that are not empty, by name, for CSV files."""
        made = {
            "traces": self.traces,
            "uncertainty": self.uncertainty,
            "readings_that_pay": self.readings_that_pay,
            "oil_accounts": self.accounts,
            "duplicates": self.duplicates,
        }
        made |= {"gauge_study": self.gauge.table} if self.gauge is not None else {}
        made |= {"mass_balance": self.balance.table} if self.balance is not None else {}
        sessions = [table.assign(master_id=name) for name, table in self.masters.items()]
        made |= {"masters": pd.concat(sessions, ignore_index=True)} if sessions else {}
        points = [item.table.assign(response=item.response) for item in self.charts]
        made |= {"reference_charts": pd.concat(points, ignore_index=True)} if points else {}
        return {name: table for name, table in made.items() if len(table)}

    def _repr_html_(self) -> str:
        """The sentences."""
        return "<ul>" + "".join(f"<li>{html.escape(line)}</li>" for line in self.sentences) + "</ul>"

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def measured(brief: Brief, records: Records, found: Mapping[str, Answered]) -> Measured:
    """What metrology, laboratory and reference runs say of a campaign.

    Parameters
    ----------
    brief : Brief
    records : Records
        Without what was measured on runs that are not judged.
    found : mapping of str to Answered
        The answers, for the scatter between runs.

    Returns
    -------
    Measured
    """
    room, empty = records.metrology, pd.DataFrame()
    study, told = _study(brief, records)
    pays, about = _pays(brief, study, found)
    accounts, oil = records.oil_accounts, records.oil
    twice = oil_checks.duplicates(brief, oil) if oil is not None and _labs(brief, oil) else empty
    balance = mass_balance.balance(brief, records.runs, oil)
    charts, notes = _charts(brief, records)
    compared, more = _compared(brief, records, charts, found)
    lines = [*(item.sentence for item in room.drifts), *told, *about]
    lines += [] if balance is None else [f"Mass balance: {note}" for note in balance.notes]
    lines += [f"{_capital(measured_in.label(item.response))}, {item.finding}" for item in charts]
    every = tuple(line.rstrip(".") for line in (*lines, *notes, *more))
    return Measured(
        empty if room.traces is None else room.traces.table,
        room.uncertainty if brief.traces or brief.masters else room.uncertainty.iloc[:0],
        {item.master.name: item.table for item in room.drifts},
        study,
        pays,
        empty if accounts is None else accounts,
        twice,
        balance,
        charts,
        compared,
        every,
        tuple(_heed(records, balance, charts, compared)),
    )


def _capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def _study(brief: Brief, records: Records) -> tuple[GaugeStudy | None, list[str]]:
    """The gauge study, and what it says in a line."""
    table = records.metrology.gauge
    if table is None or table.empty:
        return None, []
    try:
        made = gauge_study.study(table, conf_level=brief.conf_level)
    except ModelError as problem:
        return None, [" ".join(str(problem).split())]
    known = made.table.set_index("source")
    sd = known.loc[gauge_study.READING]
    limits = "" if sd["conf_low"] is None else f" ({sd['conf_low']:.2g} to {sd['conf_high']:.2g})"
    unit = f" {_unit(brief)}".rstrip()
    parts = [f"Gauge study, {made.layout}: one reading has an SD of {sd['sd']:.2g}{unit}{limits}"]
    if gauge_study.OPERATORS in known.index:
        parts.append(f"operators add {known.loc[gauge_study.OPERATORS, 'sd']:.2g}{unit}")
    return made, ["; ".join(parts)]


def _gauged(brief: Brief) -> Response | None:
    """The response that the gauge study is of: the first with stations."""
    return next((item for item in brief.responses if item.stations is not None), None)


def _unit(brief: Brief) -> str:
    """The unit of the gauge study."""
    response = _gauged(brief)
    return "" if response is None else response.measured_in


def _pays(brief: Brief, study: GaugeStudy | None, found: Mapping[str, Answered]) -> tuple[pd.DataFrame, list[str]]:
    """What more readings of each station would make of the scatter found, and the number that pays."""
    response = _gauged(brief)
    if (
        study is None
        or response is None
        or response.stations is None
        or response.per_run not in ("mean", "mean_of_log")
    ):
        return pd.DataFrame(), []
    fitted = found[response.name].fit if response.name in found else None
    square = None if fitted is None else fitted.mean_squares.get("run", (None, 0))[0]
    if fitted is None or not square:
        return pd.DataFrame(), []
    level = None
    if response.scale == "log":
        level = math.exp(float(np.log(fitted.runs[response.name].astype(float)).mean()))
    stations = response.stations
    states = max(1, len(stations.states))
    prices = _prices(brief, stations.count * states * stations.readings)
    asked = {"stations": stations.count, "readings": stations.readings, "states": states}
    asked["most"] = max(10, stations.readings)
    table = gauge_readings.readings_that_pay(study, math.sqrt(square), level=level, **asked, **prices)
    now = table[table["readings"] == stations.readings].iloc[0]
    share = f"{now['gauge_share_pct']:.2g} % of the variance between runs as it is read now"
    line = f"{response.name}: the gauge makes {share}"
    best = table[[value is True for value in table["pays"]]]
    if len(best):
        line += f"; {counted(int(best.iloc[0]['readings']), 'reading')} of each station pay best"
    note = f"; {now['note']}" if now["note"] else ""
    return table, [f"{line}{note}"]


def _prices(brief: Brief, readings: int) -> dict[str, float]:
    """The price of a reading, and of a run without its readings; none where the brief does not price readings."""
    total = {per: math.fsum(item.hours * item.rate + item.amount for item in brief.cost.items
                            if item.per == per and not item.where) for per in ("run", "reading")}  # fmt: skip
    known = total["reading"] > 0.0 and total["run"] > 0.0 and readings > 0
    return {"run_cost": total["run"], "reading_cost": total["reading"]} if known else {}


def _labs(brief: Brief, oil: pd.DataFrame) -> bool:
    """True when duplicates can be judged: the brief has [oil], or the samples name their laboratory."""
    return brief.oil is not None or "lab_id" in oil


def _charts(brief: Brief, records: Records) -> tuple[tuple[ReferenceChart, ...], list[str]]:
    """The chart of every response over the reference runs, and why one cannot be made."""
    asked = brief.reference
    if asked is None:
        return (), []
    made, notes = [], []
    for response in sorted(brief.responses, key=lambda item: item.role != "primary"):
        try:
            made.append(
                reference_chart.chart(
                    brief,
                    records.runs,
                    response.name,
                    combination=asked.combination or None,
                    conf_level=asked.conf_level,
                    adjust=asked.adjust,
                    earlier=records.metrology.earlier,
                )
            )
        except ModelError as problem:
            notes.append(" ".join(str(problem).split()))
    return tuple(made), notes


def _heed(
    records: Records, balance: MassBalance | None, charts: tuple[ReferenceChart, ...], compared: pd.DataFrame
) -> list[tuple[str | None, str]]:
    """A drift that nothing takes off, reference runs that moved, metal that does not fit, other verdicts."""
    made: list[tuple[str | None, str]] = [
        (item.master.response, f"{item.sentence}. Nothing is taken off for it.")
        for item in records.metrology.drifts
        if item.shown and item.master.correct == "none"
    ]
    for chart in charts:
        out = [row for row in chart.table.to_dict("records") if row["outside"] or row["smoothed_outside"]]
        if out:
            made.append((chart.response, f"Reference runs, {measured_in.label(chart.response)}: {chart.finding}."))
    for row in () if balance is None else balance.outside.to_dict("records"):
        low, high = (float(row[name]) for name in ("recovery_low", "recovery_high"))
        found = f"{low:.2g}" if f"{low:.2g}" == f"{high:.2g}" else f"{low:.2g} to {high:.2g}"
        band = " to ".join(f"{edge:g}" for edge in balance.band) if balance else ""
        metal = measured_in.label(str(row["element"])).capitalize()
        told = f"{row['run_id']}: the oil holds {found} times the {metal} that the parts lost"
        made.append((None, f"{told} (expected {band}). Look for: {row['causes']}."))
    for row in compared.to_dict("records") if len(compared) else ():
        if row["verdict"] is not None and row["verdict"] != row["verdict_then"]:
            told = f"'{row['verdict']}' as judged, '{row['verdict_then']}' {row['basis']}"
            made.append((row["response"], f"{row['comparison']}: {told}."))
    return made


def _compared(
    brief: Brief, records: Records, charts: tuple[ReferenceChart, ...], found: Mapping[str, Answered]
) -> tuple[pd.DataFrame, list[str]]:
    """The comparisons of adjusted and of corrected values, with what that adds; and why some are not told."""
    parts, notes = [], []
    runs = records.runs
    for chart in charts:
        if chart.adjusted is not None and len(chart.adjusted):
            values = chart.adjusted.set_index("run_id")["adjusted"].astype(float)
            asked = {"adjusted": values, "shape": chart.covariance}
            _attempt(parts, notes, brief, runs, found.get(chart.response), chart.response, ADJUSTED, asked)
    for name, covariance in records.metrology.covariances.items():
        if masters.correcting(brief, records.metrology.drifts, name) is None or covariance.isna().any(axis=None):
            continue
        values = runs.set_index("run_id")[name]
        scaled = counted_too.on_scale(covariance, values, brief.response(name).scale == "log")
        _attempt(parts, notes, brief, runs, found.get(name), name, CORRECTED, {"added": scaled.fillna(0.0)})
    return (pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()), notes


def _attempt(
    parts: list[pd.DataFrame],
    notes: list[str],
    brief: Brief,
    runs: pd.DataFrame,
    judged: Answered | None,
    response: str,
    basis: str,
    asked: Mapping[str, Any],
) -> None:
    """The comparisons on a basis, or a note why there are none."""
    if not brief.comparisons or judged is None or judged.fit is None or judged.interim:
        return
    try:
        table = counted_too.comparisons(brief, runs, response, **asked)
    except (ModelError, DesignError) as problem:
        notes.append(f"{response}, {basis}: {' '.join(str(problem).split())}")
        return
    now = dict(zip(judged.verdicts["comparison"], judged.verdicts["verdict"], strict=True))
    then = verdict.verdicts(table, brief)
    own = [name for name in table if name not in COMPARED]
    told = {"response": response, "basis": basis, "verdict": [now.get(name) for name in table["comparison"]]}
    told |= {"verdict_then": then["verdict"].tolist(), "sentence": then["sentence"].tolist()}
    parts.append(table[own].assign(**told)[[*COMPARED, *own]])
