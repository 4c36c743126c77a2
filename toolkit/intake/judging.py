"""What the sealed rules say of each run, before its wear is looked at and without it: a proposal, no verdict (rank 6).

A verdict is a person's. Nothing here sees what was measured on worn parts: readings of stations, run values and metal
in the oil that is a response stay out of reach.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.dyno_log import DynoLog
from toolkit.brief.model import Brief, Held
from toolkit.intake import columns
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.gathered import Finding, figure, finding, quantity

VALID, INVALID, SAYS_NOTHING, REVIEW, OPEN = "valid", "invalid", "not interpretable", "review", "not yet"
# The gravest first: one rule that says invalid outweighs any number that ask for a review.
GRAVER = (INVALID, SAYS_NOTHING, REVIEW, OPEN, VALID)
COLUMNS = ("run_id", "phase", "proposed", "rules", "reason", "judged_by", "verdict", "agrees")


@dataclass(frozen=True)
class Broken:
    """A rule that a run did not keep: what it proposes, which rule, the column, what was found, what was asked."""

    proposes: str
    rule: str
    column: str
    found: str
    expected: str

    @property
    def sentence(self) -> str:
        """The rule in a sentence."""
        return f"{measured_in.label(self.column)} {self.found} (expected {self.expected})"


def proposals(
    brief: Brief,
    runs: pd.DataFrame,
    samples: pd.DataFrame | None,
    recorded: Mapping[str, Summary],
    rules: Mapping[str, Brief] | None = None,
) -> pd.DataFrame:
    """What the rules propose for every run that was made.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them, with the figures of recordings.
    samples : DataFrame or None
        Oil samples: a bound on an element holds for every sample of the run.
    recorded : mapping of str to Summary
    rules : mapping of str to Brief, optional
        Phase to the brief that its runs are judged by.

    Returns
    -------
    DataFrame
        run_id, phase, proposed (valid, invalid, not interpretable; review: a person decides; not yet: figures are
        missing), rules (those that were not kept), reason, judged_by (the role that the rules name), verdict (on
        record) and agrees (true, false, or None while there is no verdict, or where a person had to decide).

    Notes
    -----
    Outside hard limits or above a bound: invalid, or not interpretable where the bound is named so. Outside a window,
    a quality index below nought, a per cent deviation above what is allowed, a channel without readings: review.
    """
    made = []
    none = (rules or {}).get
    for run in stamp.rows(runs):
        judged = none(str(run["phase"])) or brief
        summary = recorded.get(str(run["run_id"]))
        mine = None if samples is None else samples[samples["run_id"] == run["run_id"]]
        if run["verdict"] == "pending" and _nothing_known(judged, run):
            continue
        broken = of_run(judged, run, mine, summary)
        blank = missing(judged, run, mine)
        proposed = min([item.proposes for item in broken] or [OPEN if blank else VALID], key=GRAVER.index)
        reasons = [item.sentence for item in broken]
        if proposed in (OPEN, REVIEW) and blank:
            reasons.append(f"not on record: {', '.join(blank)}")
        agrees = None if run["verdict"] == "pending" or proposed in (REVIEW, OPEN) else proposed == run["verdict"]
        made.append(
            [
                str(run["run_id"]),
                str(run["phase"]),
                proposed,
                ", ".join(dict.fromkeys(item.rule for item in broken)),
                "; ".join(reasons) or "every rule was kept",
                judged.protocol.judged_by,
                str(run["verdict"]),
                agrees,
            ]
        )
    return pd.DataFrame(made, columns=list(COLUMNS), dtype=object)


def none() -> pd.DataFrame:
    """No proposals."""
    return pd.DataFrame(columns=list(COLUMNS), dtype=object)


def of_run(
    brief: Brief, run: Mapping[str, object], samples: pd.DataFrame | None, summary: Summary | None
) -> list[Broken]:
    """Every rule that a run did not keep."""
    made = []
    for item in _held(brief):
        value = _number(run.get(item.name))
        if not math.isnan(value):
            made += _against(item, value)
    responses = {item.name for item in brief.responses}
    for name, bound in brief.protocol.max.items():
        # A bound on a response would be judged by what the run is to tell.
        most = math.nan if name in responses else _most(name, run, samples)
        if most > bound:
            proposes = SAYS_NOTHING if name in brief.protocol.not_interpretable else INVALID
            made.append(Broken(proposes, "protocol", name, quantity(most, name), f"at most {quantity(bound, name)}"))
    return made if summary is None else made + of_recording(brief.dyno_log, summary)


def missing(brief: Brief, run: Mapping[str, object], samples: pd.DataFrame | None) -> list[str]:
    """What a run is judged by and is not on record."""
    blank = [item.name for item in _held(brief) if math.isnan(_number(run.get(item.name)))]
    responses = {item.name for item in brief.responses}
    bounds = [name for name in brief.protocol.max if name not in responses]
    return blank + [name for name in bounds if math.isnan(_most(name, run, samples))]


def findings(
    brief: Brief,
    runs: pd.DataFrame,
    recorded: Mapping[str, Summary],
    rules: Mapping[str, Brief] | None = None,
) -> list[Finding]:
    """Findings of what recordings say against the rules; windows and bounds of the runs are told elsewhere.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
    recorded : mapping of str to Summary
    rules : mapping of str to Brief, optional
    """
    made = []
    for run in stamp.rows(runs):
        summary = recorded.get(str(run["run_id"]))
        if summary is None:
            continue
        judged = (rules or {}).get(str(run["phase"]), brief)
        for item in of_recording(judged.dyno_log, summary):
            made.append(
                finding(
                    "note",
                    item.rule,
                    run_id=str(run["run_id"]),
                    column=item.column,
                    found=item.found,
                    expected=item.expected,
                    action=_action(run),
                )
            )
    return made


def _action(run: Mapping[str, object]) -> str:
    """What follows from a rule that asks for a review."""
    verdict, reason = str(run["verdict"]), str(run.get("reason") or "")
    if verdict == "pending":
        return "review the run before its wear is looked at; this alone makes no run invalid"
    if verdict in columns.VOID:
        return "none: the run is void"
    if reason:
        return f"none: judged valid ({reason})"
    return "review the run; it counts as valid, and no reason is on record"


def of_recording(rule: DynoLog | None, summary: Summary) -> list[Broken]:
    """The rules that only a recording can tell of, those that were not kept."""
    made = []
    most = None if rule is None else rule.review_deviation_pct
    for row in stamp.rows(summary.channels):
        name, unit = str(row["channel"]), measured_in.shown(str(row["channel"]))
        window = f"{figure(row['low'])} to {figure(row['high'])} {unit}".strip()
        if row["mean"] is None:
            found = f"{row['readings']} readings that count"
            made.append(Broken(REVIEW, "silent channel", name, found, f"a channel within {window}"))
            continue
        where = f"{row['inside_pct']:.3g} % of the time within {window}"
        if row["furthest"] is not None:
            where += f", furthest {row['furthest']:.4g} {unit}".rstrip()
        if row["quality_index"] < 0.0:
            found = f"quality index {row['quality_index']:.2f}: {where}"
            made.append(Broken(REVIEW, "quality index", name, found, "0 or more"))
        if most is not None and row["deviation_pct"] > most:
            found = f"deviation {row['deviation_pct']:.3g} %: {where}"
            made.append(Broken(REVIEW, "per cent deviation", name, found, f"at most {figure(most)} %"))
    return made


def _held(brief: Brief) -> Sequence[Held]:
    """What must stay in a window, the length of the run last."""
    length = brief.protocol.run_time_h
    return (*columns.held(brief), *(() if length is None else (length,)))


def _against(item: Held, value: float) -> list[Broken]:
    """What a figure of a held variable says."""
    if item.limits is not None and not item.limits[0] <= value <= item.limits[1]:
        low, high = item.limits
        span = f"{figure(low)} to {quantity(high, item.name)}"
        return [Broken(INVALID, "limits", item.name, quantity(value, item.name), span)]
    low, high = item.window
    if low <= value <= high:
        return []
    span = f"{figure(low)} to {quantity(high, item.name)}"
    return [Broken(REVIEW, "window", item.name, quantity(value, item.name), span)]


def _most(name: str, run: Mapping[str, object], samples: pd.DataFrame | None) -> float:
    """The highest figure that a bound is held against; NaN without any."""
    values = [_number(run.get(name))]
    if samples is not None and name in samples:
        values += [_number(value) for value in samples[name]]
    return max((value for value in values if not math.isnan(value)), default=math.nan)


def _nothing_known(brief: Brief, run: Mapping[str, object]) -> bool:
    """True for a run of which nothing that it is judged by is on record: it was not made yet."""
    names = [*(item.name for item in _held(brief)), *brief.protocol.max]
    return all(math.isnan(_number(run.get(name))) for name in names)


def _number(value: object) -> float:
    """A figure of a cell; NaN where there is none."""
    return float(value) if isinstance(value, (int, float)) else math.nan
