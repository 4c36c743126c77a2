"""The pictures of what metrology, laboratory and reference runs say (rank 10)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from toolkit import measured_in
from toolkit.decide.analysis import Analysis
from toolkit.intake import oil_corrections
from toolkit.intake.trace_pairs import Pair
from toolkit.plot import mass_balance, master_drift, metals, reference_chart, station_map, trace_wear

MOST_TRACES = 4


def figures(analysis: Analysis) -> Iterator[tuple[Any, str, str]]:
    """Each picture with its text alternative and what it is, in the order of the work.

    Parameters
    ----------
    analysis : Analysis
    """
    found, records = analysis.measured, analysis.records
    room = records.metrology
    if room.traces is not None:
        for pair in _chosen(analysis, room.traces.pairs):
            yield trace_wear.trace_wear(pair)[0], trace_wear.alt_trace_wear(pair), "A station before and after"
    for rule in analysis.brief.traces if records.stations is not None else ():
        if records.stations[rule.response].notna().any():
            given = (records.stations, rule.response)
            label = measured_in.label(rule.response)
            yield (
                station_map.station_map(*given),
                station_map.alt_station_map(*given),
                f"Stations of every run, {label}",
            )
    for item in room.drifts:
        yield master_drift.master_drift(item), master_drift.alt_master_drift(item), f"Master {item.master.name}"
    yield from _oil(analysis)
    for element in found.balance.table["element"].unique() if found.balance is not None else ():
        given = (found.balance, str(element))
        if found.balance.table.loc[found.balance.table["element"] == element, "recovery_low"].notna().any():
            yield mass_balance.mass_balance(*given), mass_balance.alt_mass_balance(*given), "Oil over parts"
    for chart in found.charts:
        label = measured_in.label(chart.response)
        drawn, alt = reference_chart.reference_chart(chart)[0], reference_chart.alt_reference_chart(chart)
        yield drawn, alt, f"Reference runs, {label}"


def _chosen(analysis: Analysis, pairs: tuple[Pair, ...]) -> list[Pair]:
    """Traces that something was found about first, then the first others."""
    told = analysis.records.findings
    rules = told[told["rule"].isin(["ends swapped", "wrong part", "unit of a trace", "traces do not fit", "trace"])]
    heard = {(row["run_id"], row["found"].split(":")[0].removeprefix("station ")) for row in rules.to_dict("records")}
    known = [pair for pair in pairs if pair.aligned is not None]
    marked = [pair for pair in known if (pair.run_id, pair.after.station_id) in heard]
    others = [pair for pair in known if pair not in marked]
    return [*others[:1], *marked][:MOST_TRACES] if marked else others[:2]


def _oil(analysis: Analysis) -> Iterator[tuple[Any, str, str]]:
    """The metals against hours that the brief asks about, or has a balance for."""
    brief, samples = analysis.brief, analysis.records.oil
    if brief.oil is None or samples is None:
        return
    asked = [item.name for item in brief.responses if item.source == "oil"]
    for element in dict.fromkeys([*asked, *brief.oil.mg_per_unit]):
        made = {
            str(run["run_id"]): oil_corrections.account(
                brief, run, samples[samples["run_id"] == run["run_id"]], element
            )
            for _, run in analysis.records.runs.iterrows()
            if element in samples and (samples["run_id"] == run["run_id"]).any()
        }
        if any(item.balance is not None for item in made.values()):
            yield metals.metals(made, element), metals.alt_metals(made, element), "Metal against hours"
