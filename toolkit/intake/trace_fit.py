"""Traces that are alone, in another unit, turned round, or of another part, found against the others (rank 6).

A finding tells; no trace is dropped or turned round for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from toolkit.brief.metrology import Traces
from toolkit.errors import IntakeError
from toolkit.intake.gathered import Finding, finding, some
from toolkit.intake.trace_files import FOLDER, Trace
from toolkit.intake.trace_pairs import Pair, aligned_of

# A pair fits this much worse than usual, and another way at most half as badly: common practice and no test. Both are
# far beyond what the scatter of readings does to the scatter of forty.
WORSE, BETTER = 3.0, 0.5
# Factors of units that are mixed up, and how far the logarithm of a ratio may lie from theirs.
SLIPS = {"mm for inch": 25.4, "µm for mm": 1000.0}
_SLIP_NEAR = 0.4
_LEAST = 4


def lone(
    rule: Traces, keys: Sequence[tuple[str, str, str, str]], states: Mapping[str, Mapping[tuple[str, ...], Trace]]
) -> list[Finding]:
    """Findings of stations with a trace in one state only."""
    made = []
    for lacking, there in (("before", "after"), ("after", "before")):
        lone: dict[tuple[str, str], list[str]] = {}
        for run, part, station, _ in (key for key in keys if key in states[there] and key not in states[lacking]):
            lone.setdefault((run, part), []).append(station)
        made += [
            finding(
                "note",
                "trace alone",
                run_id=run,
                part_id=part,
                column=rule.response,
                found=f"no trace {lacking} of station{'s' * (len(stations) > 1)} {some(stations)}",
                expected="one before and one after",
                action="the station has no wear until the other trace is there",
            )
            for (run, part), stations in lone.items()
        ]
    return made


def slips(rule: Traces, mine: Sequence[Trace]) -> list[Finding]:
    """Findings of traces whose positions span another length by the factor of another unit."""
    made = []
    spans = [float(np.ptp(item.position)) if len(item.position) else 0.0 for item in mine]
    usual = float(np.median(spans)) if len(mine) >= _LEAST else 0.0
    for item, span in zip(mine, spans, strict=True):
        ratio = math.log(span / usual) if span > 0.0 and usual > 0.0 else 0.0
        slip = next((words for words, factor in SLIPS.items() if abs(abs(ratio) - math.log(factor)) < _SLIP_NEAR), None)
        if slip is not None:
            found = f"{item.where}, station {item.station_id} {item.state}: its positions span {span:.4g}"
            made.append(
                finding(
                    "exclude",
                    "unit of a trace",
                    run_id=item.run_id,
                    part_id=item.part_id,
                    column=rule.response,
                    found=found,
                    expected=f"about {usual:.4g}, as usual in these records",
                    action=f"look for {slip}, and take the corrected file in its place; it is read as it is",
                )
            )
    return made


def unfit(rule: Traces, pairs: Sequence[Pair]) -> list[Finding]:
    """Findings of pairs that cannot be brought together, or fit far worse than the others."""
    made = []
    usual = [item.aligned.scatter for item in pairs if item.aligned is not None]
    middle = float(np.median(usual)) if len(usual) >= _LEAST else math.inf
    for item in pairs:
        if item.aligned is None:
            found, action = (
                f"station {item.after.station_id}: {item.note}",
                "the station has no wear until it is put right",
            )
            made.append(_told(item, "note", "trace", found, "two traces that can be brought together", action))
        elif item.aligned.scatter > WORSE * middle:
            made.append(_worse(rule, item, pairs, middle))
    return made


def _worse(rule: Traces, item: Pair, pairs: Sequence[Pair], middle: float) -> Finding:
    """The finding of a pair that fits far worse than usual, with what it fits better."""
    own = item.aligned.scatter if item.aligned is not None else math.inf
    fits = min(BETTER * own, WORSE * middle)
    station = f"station {item.after.station_id}"
    found = f"{station}: traces lie {own:.3g} µm apart on the reference zones"
    usual = f"about {middle:.3g} µm, as usual in these records"
    if _scatter(rule, item.before, item.after, turned=True) < fits:
        return _told(
            item,
            "exclude",
            "ends swapped",
            f"{found}, and turned round they fit",
            usual,
            "look at which end came first, and take the corrected file in its place; it is read as it is",
        )
    slip = _unit(rule, item, middle, fits)
    if slip:
        action = "correct the file and take it in again; it is read as it is"
        return _told(item, "exclude", "unit of a trace", f"{found}, and they fit with {slip}", usual, action)
    others = [
        other for other in pairs if other.before is not item.before and other.before.part_id != item.before.part_id
    ]
    tried = [(_scatter(rule, other.before, item.after), other.before) for other in others]
    best = min(tried, key=lambda pair: pair[0], default=(math.inf, None))
    if best[1] is not None and best[0] < fits:
        other = best[1]
        words = f"{found}; the one after fits that before of part {other.part_id}, station {other.station_id}"
        return _told(
            item, "exclude", "wrong part", words, usual, "find out which part was measured; it is read as it is"
        )
    return _told(
        item,
        "exclude",
        "traces do not fit",
        found,
        usual,
        "look at part, station and clamping, and measure again; it is read as it is",
    )


def _unit(rule: Traces, item: Pair, middle: float, fits: float) -> str:
    """What makes two traces fit when the heights of one are in another unit; empty when nothing does."""
    tried = []
    for words, factor in SLIPS.items():
        for times, told in ((factor, "times"), (1.0 / factor, "divided by")):
            before, after = (replace(one, height=one.height * times) for one in (item.before, item.after))
            how = f"{told} {factor:g} ({words})"
            tried.append((_scatter(rule, item.before, after), f"the heights after {how}"))
            tried.append((_scatter(rule, before, item.after), f"the heights before {how}"))
    # Both made small by the same factor fit too, and far better than any gauge reads.
    best = min((pair for pair in tried if pair[0] > middle / WORSE), default=(math.inf, ""))
    return best[1] if best[0] < fits else ""


def _scatter(rule: Traces, before: Trace, after: Trace, *, turned: bool = False) -> float:
    """How badly two traces fit on the reference zones."""
    try:
        return aligned_of(rule, before, after, turned=turned).scatter
    except IntakeError:
        return math.inf


def _told(item: Pair, severity: str, rule: str, found: str, expected: str, action: str) -> Finding:
    """A finding about a pair."""
    where = f" ({item.after.where})" if FOLDER in item.after.where else ""
    return finding(
        severity,
        rule,
        run_id=item.run_id,
        part_id=item.after.part_id,
        column=item.rule.response,
        found=f"{found}{where}",
        expected=expected,
        action=action,
    )
