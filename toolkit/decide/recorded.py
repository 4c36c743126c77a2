"""What recordings say of a campaign: a line a run, every held channel and sweep, power over the runs (rank 7)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import PHASES, Brief
from toolkit.intake import dyno_summary, dyno_sweeps
from toolkit.intake.dyno_summary import Summary
from toolkit.intake.records import Records
from toolkit.numeric import reference_trend
from toolkit.numeric.reference_trend import Change

RUNS = (
    *("run_id", "phase", "verdict", "files", "hours", "gaps", "gaps_h", "restarts", "longest_gap_h", "sweeps"),
    *("sweep_torque_Nm", "sweep_power_kW", "peak_torque_Nm", "peak_power_kW", "raw_torque_Nm", "raw_power_kW"),
    *("power_sd_kW", "power_trend_pct_per_100h", "power_trend_low", "power_trend_high"),
)
_FIGURES = {
    "sweep_torque_Nm": "sweep torque",
    "sweep_power_kW": "sweep power",
    "peak_torque_Nm": "peak torque",
    "peak_power_kW": "peak power",
    "raw_torque_Nm": "raw sweep torque",
    "raw_power_kW": "raw sweep power",
    "power_sd_kW": "sweep power sd",
}
OUTSIDE = ("run_id", "channel", "low", "high", "from_h", "to_h", "length_min", "furthest", "beyond")
_FEWEST = 3


@dataclass(frozen=True, eq=False)
class Recorded:
    """What recordings say.

    Attributes
    ----------
    runs : DataFrame
        One row a run in the order made: hours credited, gaps, restarts, sweeps that count, figures of sweeps (at
        standard conditions where the brief asks for them, and raw), power through the run.
    channels, sweeps : DataFrame
        One row a run and held channel, and a run and sweep, as ``dyno_summary.Summary`` has them.
    outside : DataFrame
        One row a stretch of a held channel outside its window, runs in the order made: the window, from, to [h run],
        how long [min], the furthest reading, and how far beyond the window it lies (negative: below) [as the channel];
        up to 200 a channel and run, the longest, of those that ``channels`` counts.
    trend : Change or None
        Of the power of runs that are valid, per cent of its mean a run, in the order made; None with fewer than three.
    proposals : DataFrame
        As ``judging.proposals`` gives them; of every run that was made, recorded or not.
    at_standard : bool
        True where figures are at standard conditions.
    """

    runs: pd.DataFrame
    channels: pd.DataFrame
    sweeps: pd.DataFrame
    outside: pd.DataFrame
    trend: Change | None
    proposals: pd.DataFrame
    at_standard: bool

    @property
    def empty(self) -> bool:
        """True where no run has a recording."""
        return self.runs.empty

    @property
    def sentence(self) -> str:
        """The trend of power through the campaign, in a sentence; empty where it cannot be told."""
        found = self.trend
        if found is None or found.low is None or found.high is None:
            return ""
        where = "at standard conditions" if self.at_standard else "as recorded"
        return (
            f"Power {where} changes by {found.estimate:+z.2f} % of its mean from run to run, "
            f"{100 * found.conf_level:g} % interval {found.low:+z.2f} to {found.high:+z.2f} %"
        )

    def to_json(self) -> dict[str, Any]:
        """runs[], channels[], sweeps[], trend{} (null where it cannot be told), at_standard."""
        trend = None if self.trend is None else asdict(self.trend)
        parts = {name: stamp.records(getattr(self, name)) for name in ("runs", "channels", "sweeps")}
        return stamp.plain({**parts, "trend": trend, "at_standard": self.at_standard})

    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables by name, for CSV files; none where no run has a recording."""
        made = {} if self.proposals.empty else {"proposals": self.proposals.copy()}
        if self.empty:
            return made
        return {**made, "recorded_runs": self.runs.copy(), "recorded_channels": self.channels.copy(),
                "recorded_outside": self.outside.copy(), "recorded_sweeps": self.sweeps.copy()}  # fmt: skip

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence


def recorded(brief: Brief, records: Records) -> Recorded:
    """What the recordings of a campaign say.

    Parameters
    ----------
    brief : Brief
    records : Records

    Returns
    -------
    Recorded

    Notes
    -----
    The trend is a line by least squares through the figures of valid runs, with a t interval; factors are not taken
    into account, so that it is a look at the engine and no answer.

    Checked against: a line put in, tests/unit/decide/test_recorded.py.
    """
    runs = records.runs
    places = runs["phase"].map(lambda phase: PHASES.index(phase) if phase in PHASES else len(PHASES))
    ordered = runs.assign(_at=places).sort_values(["_at", "actual_order", "planned_order"], kind="stable")
    found = records.recordings
    rows = [_row(run, found[str(run["run_id"])]) for run in stamp.rows(ordered) if str(run["run_id"]) in found]
    table = pd.DataFrame(rows, columns=list(RUNS), dtype=object)
    channels = [item.channels.assign(run_id=run) for run, item in found.items() if len(item.channels)]
    pulls = [item.sweeps.assign(run_id=run) for run, item in found.items() if len(item.sweeps)]
    valid = table[(table["verdict"] == "valid") & table["sweep_power_kW"].notna()]
    trend = None
    if len(valid) >= _FEWEST:
        power = valid["sweep_power_kW"].astype(float).to_numpy()
        trend = reference_trend.slope(list(range(1, len(valid) + 1)), 100.0 * power / power.mean())
    return Recorded(
        table,
        _below(channels, dyno_summary.CHANNELS),
        _below(pulls, dyno_sweeps.COLUMNS),
        pd.DataFrame(
            [line for run in table["run_id"] for line in _outside(run, found[run])], columns=list(OUTSIDE), dtype=object
        ),
        trend,
        records.proposals,
        brief.dyno_log is not None and brief.dyno_log.standard is not None,
    )


def _row(run: Mapping[str, Any], found: Summary) -> dict[str, object]:
    """One run in a line."""
    return {
        "run_id": str(run["run_id"]),
        "phase": str(run["phase"]),
        "verdict": str(run["verdict"]),
        "files": " ".join(found.files),
        "hours": found.hours,
        "gaps": found.gaps,
        "gaps_h": found.gaps_h,
        "restarts": found.restarts,
        "longest_gap_h": found.longest_gap_h,
        "sweeps": int(found.sweeps["counts"].astype(bool).sum()),
        **{name: found.figures.get(what) for name, what in _FIGURES.items()},
        "power_trend_pct_per_100h": found.trend.get("per_100h_pct"),
        "power_trend_low": found.trend.get("low"),
        "power_trend_high": found.trend.get("high"),
    }


def _outside(run: str, found: Summary) -> list[dict[str, object]]:
    """The stretches of a run outside the windows, channel by channel, in the order of time."""
    windows = {row["channel"]: (float(row["low"]), float(row["high"])) for row in stamp.rows(found.channels)}
    made: list[dict[str, object]] = []
    for row in stamp.rows(found.excursions):
        (low, high), furthest = windows[row["channel"]], float(row["furthest"])
        made.append(
            {
                **{"run_id": run, "channel": row["channel"], "low": low, "high": high},
                **{"from_h": row["from_h"], "to_h": row["to_h"], "length_min": 60.0 * (row["to_h"] - row["from_h"])},
                **{"furthest": furthest, "beyond": furthest - (high if furthest > high else low)},
            }
        )
    return made


def _below(parts: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    """Tables below each other, the run first."""
    names = ["run_id", *columns]
    return pd.concat(parts, ignore_index=True)[names] if parts else pd.DataFrame(columns=names, dtype=object)
