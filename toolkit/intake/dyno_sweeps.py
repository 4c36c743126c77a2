"""The full-load sweeps of a recording: curves, standard conditions, figures, and the trend through the run (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import measured_in
from toolkit.brief.dyno_log import DynoLog, StandardRule, SweepRule
from toolkit.errors import IntakeError
from toolkit.intake.dyno_file import Recording
from toolkit.intake.gathered import Finding, finding
from toolkit.numeric import reference_trend, standard_conditions, sweeps
from toolkit.numeric.log_clock import Clock

NAMES = ("sweep torque", "sweep power", "peak torque", "peak power", "sweep torque sd", "sweep power sd")
COLUMNS = ("number", "begun_h", "took_s", "counts", "torque_Nm", "power_kW", "factor", "within")
CURVES = ("number", "speed_rpm", "torque_Nm")
_HPA = {"mbar": 1.0, "kPa": 10.0, "bar": 1000.0}
_FEWEST = 3


@dataclass(frozen=True, eq=False)
class Swept:
    """The sweeps of a run.

    Attributes
    ----------
    table : DataFrame
        One row a sweep, as recorded: begun [h], took [s], whether it counts, mean torque and power over the window,
        the factor to standard conditions and whether its form may be used there (None: not asked for).
    curves : DataFrame
        number, speed_rpm, torque_Nm: as recorded, on even steps of speed.
    figures : dict
        ``NAMES`` (at standard conditions where asked for; peaks are those within the window, sd is between sweeps), the
        same with ``raw`` before; None where they cannot be told.
    trend : dict
        Of power through the run, in per cent of its mean per 100 h: per_100h_pct, low, high, sweeps; None each with
        fewer than three sweeps.
    """

    table: pd.DataFrame
    curves: pd.DataFrame
    figures: dict[str, float | None]
    trend: dict[str, float | None]


def swept(recording: Recording, clock: Clock, rule: DynoLog, run_id: str, told: list[Finding]) -> Swept:
    """What the sweeps of a recording say; what is odd about them goes to ``told``.

    Parameters
    ----------
    recording : Recording
    clock : Clock
    rule : DynoLog
    run_id : str
    told : list of Finding

    Returns
    -------
    Swept

    Notes
    -----
    Torque and power of a sweep times its factor; a run with a sweep that counts beyond the range of its form has no
    figures at standard conditions, and its raw ones beside. The trend is a line by least squares, with a t interval
    of 95 %.

    Checked against: recordings of known content, tests/unit/intake/test_dyno_summary.py.
    """
    found = [] if rule.sweeps is None else _found(recording, clock, rule.sweeps)
    rows: list[dict[str, Any]] = []
    curves: dict[int, sweeps.Curve] = {}
    asked = rule.sweeps
    for (item, at, places), number in zip(found, range(1, len(found) + 1), strict=True):
        if asked is None:
            break
        curve = _curve(recording, places, asked)
        factor = None if rule.standard is None else _factor(recording, places, rule.standard)
        rows.append(
            {
                "number": number,
                "begun_h": float(at) / 3600.0,
                "took_s": item.took,
                "counts": number > asked.leave_out and curve is not None,
                "torque_Nm": None if curve is None else float(curve.torque.mean()),
                "power_kW": None if curve is None else float(curve.power.mean()),
                "factor": None if factor is None else factor[0],
                "within": None if factor is None else factor[1],
            }
        )
        if curve is not None:
            curves[number] = curve
    if asked is not None:
        _tell(rows, asked, run_id, told)
    figures = _figures(rows, curves, rule, run_id, told)
    lines = {"number": [], "speed_rpm": [], "torque_Nm": []}
    for number, curve in curves.items():
        lines["number"] += [number] * len(curve.speed)
        lines["speed_rpm"] += curve.speed.tolist()
        lines["torque_Nm"] += curve.torque.tolist()
    shown = pd.DataFrame(lines, columns=list(CURVES), dtype=object)
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return Swept(table, shown, figures, _trend(rows, rule))


def _found(
    recording: Recording, clock: Clock, rule: SweepRule
) -> list[tuple[sweeps.Sweep, float, np.ndarray]]:
    """Every sweep, when it began [s of time run] and its readings."""
    channels = [recording.channels[name] for name in (rule.speed, rule.torque, rule.load)]
    known = np.isfinite(channels[0]) & np.isfinite(channels[1]) & np.isfinite(channels[2])
    # Where every reading is there, none is copied.
    places = np.flatnonzero(known) if not known.all() else None
    if known.sum() < 2:
        return []
    made = sweeps.find(
        *(item if places is None else item[places] for item in (clock.run, channels[0], channels[2])),
        low=rule.low_rpm,
        high=rule.high_rpm,
        full_load=rule.full_load,
        shortest_s=rule.shortest_s,
    )
    every = [np.arange(item.first, item.last + 1) for item in made]
    return [
        (item, item.begun, mine if places is None else places[mine]) for item, mine in zip(made, every, strict=True)
    ]


def _curve(recording: Recording, places: np.ndarray, rule: SweepRule) -> sweeps.Curve | None:
    """The curve of one sweep over the window; None where it does not reach through it."""
    try:
        return sweeps.curve(
            recording.channels[rule.speed][places],
            recording.channels[rule.torque][places],
            low=rule.window_rpm[0],
            high=rule.window_rpm[1],
            step=rule.step_rpm,
        )
    except IntakeError:
        return None


def _factor(recording: Recording, places: np.ndarray, rule: StandardRule) -> tuple[float | None, bool]:
    """The factor to standard conditions of one sweep, and whether its form may be used there."""
    air = []
    for name in (rule.pressure, rule.temperature, rule.humidity):
        values = recording.channels[name][places].astype(float)
        values = values[np.isfinite(values)]
        if not len(values):
            return None, False
        air.append(float(values.mean()))
    pressure = air[0] * _HPA[measured_in.suffix_of(rule.pressure) or "mbar"]
    try:
        dry = standard_conditions.dry_pressure(pressure, air[1], air[2] / 100.0)
        if rule.form == "J1349":
            made = standard_conditions.j1349(dry, air[1])
        elif rule.form == "ISO 1585 spark":
            made = standard_conditions.iso1585_spark(dry, air[1])
        else:
            fuel = float(rule.fuel_mg_per_L or 0.0)
            made = standard_conditions.iso1585_compression(dry, air[1], fuel, charging=rule.charging)
    except IntakeError:
        return None, False
    return float(made.factor), bool(made.within)


def _tell(rows: Sequence[Mapping[str, Any]], rule: SweepRule, run_id: str, told: list[Finding]) -> None:
    """Tell of sweeps that are missing, or do not reach through the window."""
    if rule.asked and len(rows) != rule.asked:
        told.append(
            finding(
                "note",
                "sweeps",
                run_id=run_id,
                found=f"{len(rows)} full-load sweep{'s' * (len(rows) != 1)}",
                expected=f"{rule.asked} by the protocol",
                action="look for a sweep that was left out or broken off",
            )
        )
    short = [str(row["number"]) for row in rows if row["torque_Nm"] is None]
    if short:
        low, high = rule.window_rpm
        told.append(
            finding(
                "note",
                "sweeps",
                run_id=run_id,
                found=f"sweep{'s' * (len(short) > 1)} {', '.join(short)} not from {low:g} to {high:g} r/min",
                expected="sweeps through the whole window",
                action="none: they do not count",
            )
        )


def _figures(
    rows: Sequence[Mapping[str, Any]],
    curves: Mapping[int, sweeps.Curve],
    rule: DynoLog,
    run_id: str,
    told: list[Finding],
) -> dict[str, float | None]:
    """Means over the window and peaks, of the sweeps that count."""
    made: dict[str, float | None] = dict.fromkeys([*NAMES, *(f"raw {name}" for name in NAMES)])
    counting = [row for row in rows if row["counts"]]
    if not counting or rule.sweeps is None:
        return made
    mine = [curves[row["number"]] for row in counting]
    plain = _of(mine, [1.0] * len(mine), rule.sweeps)
    made |= {f"raw {name}": value for name, value in plain.items()}
    if rule.standard is None:
        return made | plain
    if all(row["within"] for row in counting):
        return made | _of(mine, [row["factor"] for row in counting], rule.sweeps)
    beyond = [row["factor"] for row in counting if not row["within"]]
    shown = ", ".join("not known" if item is None else f"{item:.4f}" for item in beyond[:3])
    told.append(
        finding(
            "note",
            "standard conditions",
            run_id=run_id,
            found=f"factor of {len(beyond)} of {len(counting)} sweeps: {shown}",
            expected=f"weather within the range of {rule.standard.form}",
            action="the run has no figures at standard conditions; those as recorded and the weather stand beside",
        )
    )
    return made


def _of(curves: Sequence[sweeps.Curve], factors: Sequence[float], rule: SweepRule) -> dict[str, float | None]:
    """Means over the window and peaks of the mean curve, each curve times its factor."""
    scaled = [
        sweeps.Curve(item.speed, item.torque * factor, item.power * factor)
        for item, factor in zip(curves, factors, strict=True)
    ]
    made = sweeps.figures(scaled, window=rule.window_rpm, leave_out=0)
    several = len(scaled) > 1
    return {
        "sweep torque": made.torque,
        "sweep power": made.power,
        "peak torque": made.peak_torque,
        "peak power": made.peak_power,
        "sweep torque sd": made.torque_sd if several else None,
        "sweep power sd": made.power_sd if several else None,
    }


def _trend(rows: Sequence[Mapping[str, Any]], rule: DynoLog) -> dict[str, float | None]:
    """The trend of power through the run, per cent of its mean per 100 h."""
    counting = [row for row in rows if row["counts"] and (rule.standard is None or row["within"])]
    power = np.array([row["power_kW"] * (1.0 if rule.standard is None else row["factor"]) for row in counting])
    made: dict[str, float | None] = {"per_100h_pct": None, "low": None, "high": None, "sweeps": float(len(power))}
    found = None
    if len(power) >= _FEWEST:
        found = reference_trend.slope([row["begun_h"] / 100.0 for row in counting], 100.0 * power / power.mean())
    if found is not None:
        made |= {"per_100h_pct": found.estimate, "low": found.low, "high": found.high}
    return made
