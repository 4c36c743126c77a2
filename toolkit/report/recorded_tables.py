"""Tables and pictures of recordings, and what the sealed rules say of each run without its wear (rank 10)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

from toolkit import measured_in
from toolkit.decide.analysis import Analysis
from toolkit.decide.recorded import Recorded
from toolkit.intake.dyno_summary import Summary
from toolkit.plot import recorded as pictures
from toolkit.plot import rounding
from toolkit.report.table import NONE, Table, number

# So many stretches outside fit on a printed page; the CSV file has the others.
MOST_OUTSIDE = 30
OUTSIDE_CSV = "derived/recorded_outside.csv"
_REVIEW = {"review": "review: a person decides", "not yet": "not yet"}


def proposals(found: Recorded) -> Table | None:
    """What the rules propose beside the verdict on record; None where no run was made."""
    if found.proposals.empty:
        return None
    agrees = {True: "yes", False: "NO", None: NONE}
    rows = tuple(
        (
            str(row["run_id"]),
            _REVIEW.get(row["proposed"], row["proposed"]),
            str(row["verdict"]),
            agrees[row["agrees"]],
            rounding.minus(str(row["reason"])),
        )
        for row in found.proposals.to_dict("records")
    )
    roles = sorted({str(role) for role in found.proposals["judged_by"] if role})
    note = (f"Verdicts are given by: {', '.join(roles)}.",) if roles else ()
    head = ("run", "by the sealed rules", "on record", "agree", "why")
    return Table("Verdicts by the sealed rules, without the wear of the run", head, rows, notes=note)


def runs(found: Recorded) -> Table:
    """A line a run: hours credited, gaps, sweeps, power."""
    swept = bool(found.runs["raw_power_kW"].notna().any())
    rows = []
    for row in found.runs.to_dict("records"):
        gaps = f"{row['gaps']} ({row['gaps_h']:.3g} h)" if row["gaps"] else "0"
        cells = [row["run_id"], f"{row['hours']:.4g}", gaps, str(row["restarts"])]
        if swept:
            low, high = row["power_trend_low"], row["power_trend_high"]
            change = row["power_trend_pct_per_100h"]
            trend = NONE if low is None else f"{_signed(change)} ({_signed(low)} to {_signed(high)})"
            names = ("sweep_torque_Nm", "sweep_power_kW", "peak_torque_Nm", "peak_power_kW", "raw_power_kW")
            cells += [str(row["sweeps"]), *(number(row[name]) for name in names), trend]
        rows.append(tuple(cells))
    standard = ", standard" if found.at_standard else ""
    head = ["run", "hours credited (h)", "gaps", "restarts"]
    if swept:
        head += ["sweeps", f"torque{standard} (N·m)", f"power{standard} (kW)", "peak torque (N·m)", "peak power (kW)"]
        head += ["power as recorded (kW)", "change of power per 100 h (%)"]
    notes = ["Time without readings is not credited."]
    if swept:
        notes.append("Torque and power are means over the window of speed of the sweeps that count; peaks lie in it.")
    if found.sentence:
        notes.append(f"{rounding.minus(found.sentence)}.")
    return Table("Recordings, run by run", tuple(head), tuple(rows), tuple(head[1:]), tuple(notes))


def _signed(value: float) -> str:
    """A change to two decimals with its sign."""
    return rounding.fixed(value, 2, sign=True)


def channels(found: Recorded) -> Table | None:
    """Every held channel of every run against its window; None where there is none."""
    if found.channels.empty:
        return None
    rows = []
    for row in found.channels.to_dict("records"):
        window = f"{row['low']:g} to {row['high']:g}"
        name = measured_in.quantity(str(row["channel"]))
        if row["mean"] is None:
            rows.append((str(row["run_id"]), name, window, *["no readings"], *[NONE] * 5))
            continue
        cut = f"{row['under_range']} / {row['over_range']}"
        furthest = NONE if row["furthest"] is None else number(row["furthest"])
        figures = (rounding.significant(row["mean"], 5), f"{row['inside_pct']:.4g}", f"{row['deviation_pct']:.3g}")
        index = rounding.fixed(row["quality_index"], 2)
        rows.append((str(row["run_id"]), name, window, *figures, index, cut, furthest))
    head = ("run", "channel", "window", "mean", "inside (%)", "deviation (%)", "quality index", "cut off", "furthest")
    note = (
        "Quality index: 1 is always on target, below 0 asks for a review and makes no run invalid. Cut off: readings "
        "below / above the hard limits, which count as these."
    )
    return Table("Held channels against their windows", head, tuple(rows), head[3:], (note,))


def outside(found: Recorded) -> Table | None:
    """Every stretch of a held channel outside its window, run by run, those that weigh most where there are many."""
    table = found.outside
    if table.empty:
        return None
    half = (table["high"].astype(float) - table["low"].astype(float)) / 2.0
    weight = table["length_min"].astype(float) * table["beyond"].astype(float).abs() / half
    heaviest = weight.sort_values(ascending=False, kind="stable").index[:MOST_OUTSIDE]
    rows = tuple(
        (
            str(row["run_id"]),
            measured_in.quantity(str(row["channel"])),
            f"{row['low']:g} to {row['high']:g}",
            f"{row['from_h']:.2f}",
            number(row["length_min"]),
            number(row["furthest"]),
            f"{number(abs(row['beyond']))} {'above' if row['beyond'] > 0 else 'below'}",
        )
        for row in table.loc[sorted(heaviest)].to_dict("records")
    )
    notes = ["Hours run leave gaps and pauses out. How far outside is of the furthest reading of the stretch."]
    if len(table) > len(rows):
        notes.append(
            f"{len(rows)} of {len(table)} stretches: those longest and furthest out (length times distance in half "
            f"windows); {len(table) - len(rows)} more stand in {OUTSIDE_CSV}."
        )
    every = int(found.channels["excursions"].fillna(0).astype(int).sum())
    if every > len(table):
        notes.append(f"{every - len(table)} shorter ones of channels with very many are counted and not kept.")
    head = ("run", "channel", "window", "from (h run)", "length (min)", "furthest", "outside by")
    return Table("Stretches outside the window", head, rows, head[3:], tuple(notes))


def drawings(analysis: Analysis) -> list[Callable[[], tuple[Any, str, str]]]:
    """What draws each picture, and gives it with its text alternative and what it is."""
    found = analysis.records.recordings
    names = dict.fromkeys(str(name) for item in found.values() for name in item.channels["channel"])
    made = [partial(_window, found, name) for name in names if pictures.chosen(found, name)]
    return [*made, *([partial(_sweeps, found)] if any(len(item.curves) for item in found.values()) else [])]


def figures(analysis: Analysis) -> Iterator[tuple[Any, str, str]]:
    """Each picture with its text alternative and what it is."""
    return (draw() for draw in drawings(analysis))


def _window(found: Mapping[str, Summary], channel: str) -> tuple[Any, str, str]:
    """A channel against its window."""
    caption = f"{measured_in.label(channel).capitalize()} of every run against its window"
    return pictures.windows(found, channel), pictures.alt_windows(found, channel), caption


def _sweeps(found: Mapping[str, Summary]) -> tuple[Any, str, str]:
    """The sweeps of all runs."""
    return pictures.sweeps(found), pictures.alt_sweeps(found), "Full-load sweeps, overlaid"
