"""The INVENTED campaign of pin wear as metrology room and oil laboratory would hand it in, slips among it (rank 10).

Wear of a run is drawn as in the timing-chain scenario. Each pin has a form of its own that its traces share; between
before and after it lies a little otherwise on the gauge. Metals follow the account of ``numeric.oil_balance`` with half
of the consumed oil leaving as liquid.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.demo import metals
from toolkit.demo.generator import Drawn, Layout, layout_of, share_worn, simulate
from toolkit.demo.scenarios import CHAIN
from toolkit.design.orders import Order

POSITIONS = np.arange(0.0, 10.0 + 1e-9, 0.125)
PINS, SEGMENTS, READINGS = 3, 10, 2
HOURS = (0, 20, 40, 60, 80, 100)
# Micrometre of a pin for a per cent of elongation, and how pins and runs scatter about it (ln).
PIN_UM_PER_PCT, PIN_RUN_SD, PIN_SD = 35.0, 0.05, 0.08
TRACE_SD, SHIFT_SD, OFFSET_SD, TILT_SD = 0.10, 0.03, 4.0, 0.2
# Of the bar's reading: -20 micrometre in 30 days on 1040 mm, and the scatter of a reading and of a session.
DRIFT_PCT_A_DAY, BAR_READING_SD, BAR_SESSION_SD = -20e-3 / 1040.0 * 100.0 / 30.0, 0.0003, 0.0002
DAYS_A_RUN = 6
ADDITIVES = {"O0": {"ca_ppm": 2000.0, "zn_ppm": 1100.0, "mo_ppm": 80.0},
             "O1": {"ca_ppm": 2600.0, "zn_ppm": 800.0, "mo_ppm": 0.0}}  # fmt: skip
ADDITIVE_SD = 0.0025
# What goes wrong, and in which run: see ``campaign``.
SLIPS = {
    "aborted": "R07", "ends swapped": "R03", "wrong part": "R06", "unit of a trace": "R12", "serial": "R05",
    "inch": "R08", "lost sample": "R04", "wrong oil": "R10", "dirt": "R09", "carry-over": "R12", "coarse debris": "R02",
    "duplicates": "R01", "metal lost": "R02", "gauge drift": "",
}  # fmt: skip
_WEAR, _GAUGE, _TRACES, _OIL, _LOG, _STUDY, _EARLIER, _MASTER = range(8)


def campaign(
    brief: Brief, orders: Sequence[Order], *, seed: int, slips: Collection[str] = tuple(SLIPS)
) -> dict[str, pd.DataFrame]:
    """One whole campaign by the names of its files in raw/, INVENTED from the seed.

    Parameters
    ----------
    brief : Brief
        Of the pin-wear campaign.
    orders : sequence of Order
    seed : int
    slips : collection of str
        Which of ``SLIPS`` are put in; none: a clean campaign.

    Returns
    -------
    dict of DataFrame
        runs.csv, stations.csv, masters.csv, gauge.csv, oil.csv, reference-runs.csv, and traces/<run>_<part>.csv.
    """
    layout = layout_of(brief, orders)
    truth = CHAIN.truths[0]
    hours = np.full(len(layout.runs), 100.0)
    at = {run: place for place, run in enumerate(layout.runs["run_id"])}
    if "aborted" in slips:
        hours[at[SLIPS["aborted"]]] = 41.3
    drawn = simulate(truth, layout, 1, np.random.default_rng([seed, _WEAR]), held=CHAIN.held,
                     worn=share_worn(hours, 100.0))  # fmt: skip
    made = {"runs.csv": _runs(layout, drawn, hours, seed, slips)}
    made["stations.csv"], made["masters.csv"] = _stations(layout, drawn, seed, slips)
    made |= _traces(layout, drawn, seed, slips)
    made["oil.csv"] = _oil(layout, drawn, hours, seed, slips)
    made["gauge.csv"] = _study(seed)
    made["reference-runs.csv"] = _earlier(seed)
    return made


def _runs(layout: Layout, drawn: Drawn, hours: np.ndarray, seed: int, slips: Collection[str]) -> pd.DataFrame:
    """runs.csv."""
    rng = np.random.default_rng([seed, _LOG])
    table = layout.runs.copy()
    table.insert(4, "actual_order", table["planned_order"])
    table["run_time_h"] = hours
    for item in CHAIN.held:
        table[item.name] = np.round(drawn.held[item.name][0], item.decimals)
    table["downtime_h"] = np.round(rng.uniform(0.0, 8.0, len(table)), 1)
    gone = table["run_id"].eq(SLIPS["aborted"]) & ("aborted" in slips)
    table["verdict"] = np.where(gone, "invalid", "valid")
    table["reason"] = np.where(gone, "stopped at 41.3 h: coolant hose burst; not to be compared", "")
    table["role"] = "test engineer"
    return table


def _part(place: int) -> str:
    """The code of the part of a run."""
    return f"INV-{place + 301}"


def _day(place: float) -> str:
    """The day of a session so many runs after the first, as ISO 8601."""
    return str((pd.Timestamp("2026-01-05") + pd.Timedelta(days=DAYS_A_RUN * place)).date())


def _stations(layout: Layout, drawn: Drawn, seed: int, slips: Collection[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """stations.csv and masters.csv: chains and bar read in the same sessions by the same drifting gauge."""
    rng = np.random.default_rng([seed, _GAUGE])
    bar = np.random.default_rng([seed, _MASTER])
    truth = CHAIN.truths[0]
    drift = DRIFT_PCT_A_DAY if "gauge drift" in slips else 0.0
    firsts = {build: place for place, build in reversed(list(enumerate(layout.runs["build_id"])))}
    rows, sessions = [], {}
    for place, run in enumerate(layout.runs["run_id"]):
        build = layout.runs["build_id"].iloc[place]
        new = rng.normal(*truth.unworn, SEGMENTS)
        for state, session, when in (
            ("before", f"S-{build}", float(firsts[build])),
            ("after", f"S-{run}", place + 1.0),
        ):
            off = drift * DAYS_A_RUN * when
            sessions[session] = (when, off)
            true = new + (drawn.true[0, place] if state == "after" else 0.0)
            for segment in range(SEGMENTS):
                for reading in range(READINGS):
                    value = true[segment] + off + rng.normal(0.0, truth.reading_sd)
                    slip = (run, state, segment, reading) == (SLIPS["inch"], "after", 3, 1) and "inch" in slips
                    part = at_serial(run, place, layout, slips)
                    rows.append((run, part, f"SEG{segment + 1:02d}", reading + 1, session, state,
                                 round(value / 25.4 if slip else value, 4)))  # fmt: skip
    names = ["run_id", "part_id", "station_id", "reading", "session_id", "state", "elongation_pct"]
    masters = [
        ("bar-1040", session, _day(when), reading + 1, round(off + shift + bar.normal(0.0, BAR_READING_SD), 5))
        for session, (when, off) in sorted(sessions.items(), key=lambda item: (item[1][0], item[0]))
        for shift in [bar.normal(0.0, BAR_SESSION_SD)]
        for reading in range(3)
    ]
    columns = ["master_id", "session_id", "measured_at", "reading", "value"]
    return pd.DataFrame(rows, columns=names), pd.DataFrame(masters, columns=columns)


def at_serial(run: str, place: int, layout: Layout, slips: Collection[str]) -> str:
    """The part that the table names for a run: another run's where a serial was swapped."""
    if run != SLIPS["serial"] or "serial" not in slips:
        return _part(place)
    return _part(layout.runs["run_id"].tolist().index(SLIPS["dirt"]))


def _traces(layout: Layout, drawn: Drawn, seed: int, slips: Collection[str]) -> dict[str, pd.DataFrame]:
    """One file a part with its pins before and after."""
    rng = np.random.default_rng([seed, _TRACES])
    forms = [[_form(rng) for _ in range(PINS)] for _ in layout.runs["run_id"]]
    other = layout.runs["run_id"].tolist().index(SLIPS["dirt"])
    made = {}
    for place, run in enumerate(layout.runs["run_id"]):
        mean = float(drawn.true[0, place].mean()) * np.exp(rng.normal(0.0, PIN_RUN_SD))
        rows = []
        for pin in range(PINS):
            depth = PIN_UM_PER_PCT * mean * np.exp(rng.normal(0.0, PIN_SD))
            first = (run, pin)
            form = forms[place][pin]
            after_form = forms[other][pin] if first == (SLIPS["wrong part"], 1) and "wrong part" in slips else form
            before, after = form(POSITIONS), _worn(after_form, depth, rng)
            if first == (SLIPS["ends swapped"], 0) and "ends swapped" in slips:
                after = after[::-1]
            for state, height in (("before", before), ("after", after)):
                shown = height + rng.normal(0.0, TRACE_SD, len(POSITIONS))
                if (*first, state) == (SLIPS["unit of a trace"], 2, "after") and "unit of a trace" in slips:
                    shown = shown / 25.4
                rows += [
                    (f"PIN{pin + 1}", state, at, round(value, 2)) for at, value in zip(POSITIONS, shown, strict=True)
                ]
        made[f"traces/{run}_{_part(place)}.csv"] = pd.DataFrame(rows, columns=["Pin", "State", "X mm", "Z um"])
    return made


def _form(rng: np.random.Generator):
    """The form of one pin: its crown, and waves of its own [micrometre over mm]."""
    waves = rng.uniform(1.0, 6.0, 6)
    sizes = rng.normal(0.0, 1.2, 6)
    phases = rng.uniform(0.0, 2.0 * np.pi, 6)

    def height(at: np.ndarray) -> np.ndarray:
        """The height at positions."""
        at = np.asarray(at, dtype=float)
        return -0.12 * (at - 5.0) ** 2 + (sizes * np.sin(2.0 * np.pi * at[:, None] / waves + phases)).sum(axis=1)

    return height


def _worn(form, depth: float, rng: np.random.Generator) -> np.ndarray:
    """A pin after the run, set up anew on the gauge; its mean wear over 2 to 8 mm is ``depth``."""
    shift, offset, tilt = rng.normal(0.0, SHIFT_SD), rng.normal(0.0, OFFSET_SD), rng.normal(0.0, TILT_SD)
    at = POSITIONS - shift
    shape = np.where(np.abs(at - 5.0) < 3.0, 1.5 * (1.0 - ((at - 5.0) / 3.0) ** 2), 0.0)
    return form(at) - depth * shape + offset + tilt * (POSITIONS - 5.0)


def _oil(layout: Layout, drawn: Drawn, hours: np.ndarray, seed: int, slips: Collection[str]) -> pd.DataFrame:
    """oil.csv: metals with their additives, what was drawn, topped up and consumed."""
    rng = np.random.default_rng([seed, _OIL])
    full = drawn.true[0].mean(axis=1) / share_worn(hours, 100.0)
    rows: list[dict[str, object]] = []
    before: dict[str, float] | None = None
    for place, run in enumerate(layout.runs["run_id"]):
        oil = layout.runs["oil"].iloc[place]
        filled = oil if not (run == SLIPS["wrong oil"] and "wrong oil" in slips) else ("O1", "O0")[oil == "O1"]
        new = {**metals.NEW_OIL, "si_ppm": 5.0, "na_ppm": 3.0, **ADDITIVES[filled]}
        carried = 0.06 if run == SLIPS["carry-over"] and "carry-over" in slips else float(rng.uniform(0.002, 0.010))
        held = {
            name: value + (0.0 if before is None else carried * (before[name] - value)) for name, value in new.items()
        }
        given = {"fe_ppm": 0.8 * (metals.chain_mg(full[place]) + 110.0 * np.exp(rng.normal(0.0, 0.2))),
                 "cr_ppm": 10.0 * np.exp(rng.normal(0.0, 0.2)), "cu_ppm": 26.0 * np.exp(rng.normal(0.0, 0.2)),
                 "si_ppm": float(rng.uniform(10.0, 25.0)), "na_ppm": 4.0}  # fmt: skip
        if run == SLIPS["metal lost"] and "metal lost" in slips:
            given["fe_ppm"] *= 6.0
        if run == SLIPS["dirt"] and "dirt" in slips:
            given["si_ppm"] += 150.0
        rows += _samples(run, held, new, given, float(hours[place]), rng, slips)
        before = {name: float(str(rows[-1][name])) for name in new}
    return pd.DataFrame(rows)


def _samples(
    run: str,
    held: dict[str, float],
    new: dict[str, float],
    given: dict[str, float],
    lasted: float,
    rng: np.random.Generator,
    slips: Collection[str],
) -> list[dict[str, object]]:
    """The samples of one run, and at their end what its oil held."""
    mass, rows, last = metals.FILL_KG, [], 0
    amounts = {name: value * mass for name, value in held.items()}
    worn = lambda hour: float(share_worn(hour, 100.0))  # noqa: E731
    for hour in (hour for hour in HOURS if hour <= lasted):
        consumed = float(np.round(rng.uniform(0.10, 0.15), 2)) if hour else 0.0
        topped = 0.10 if 0 < hour < 100 else 0.0
        for name, total in given.items():
            # Half of the consumed oil leaves as liquid, at the concentration of the interval.
            amounts[name] += total * (worn(hour) - worn(last)) - 0.5 * consumed * amounts[name] / mass
        for name in ADDITIVES["O0"]:
            amounts[name] -= 0.5 * consumed * amounts[name] / mass
        mass -= consumed
        found = {name: _found(name, amounts[name] / mass, rng) for name in amounts}
        row: dict[str, object] = {"run_id": run, "sample_id": f"INV-{run}-{hour:03d}h", "at_h": hour, **found}
        row["ferrous_index"] = round(0.9 * found["fe_ppm"] * float(np.exp(rng.normal(0.0, 0.12))), 1)
        row |= {
            "sampled_kg": 0.05,
            "topped_up_kg": topped,
            "consumed_kg": consumed,
            "lab_id": "L1",
            "lab_batch": f"B-{run}",
        }
        if (run, hour) == (SLIPS["lost sample"], 60) and "lost sample" in slips:
            row |= dict.fromkeys([*found, "ferrous_index"], "lost")
        if (run, hour) == (SLIPS["coarse debris"], 80) and "coarse debris" in slips:
            row["ferrous_index"] = round(5.0 * float(str(row["ferrous_index"])), 1)
        rows.append(row)
        if (run, hour) == (SLIPS["duplicates"], 60) and "duplicates" in slips:
            apart = {**row, "sample_id": f"INV-{run}-060d", "fe_ppm": round(1.3 * found["fe_ppm"], 1)}
            rows.append({**apart, "sampled_kg": 0, "topped_up_kg": 0, "consumed_kg": 0})
        for name in amounts:
            amounts[name] += topped * new[name] - 0.05 * amounts[name] / mass
        mass, last = mass - 0.05 + topped, hour
    return rows


def _found(name: str, true_ppm: float, rng: np.random.Generator) -> float:
    """What the laboratory reports."""
    if name in metals.NEW_OIL:
        return round(max(float(metals.analysed(np.array(true_ppm), name, rng)), 0.0), 1)
    return round(max(true_ppm * (1.0 + rng.normal(0.0, ADDITIVE_SD)), 0.0), 2)


def _study(seed: int) -> pd.DataFrame:
    """gauge.csv: six pins, three operators, two readings of the wear of each."""
    rng = np.random.default_rng([seed, _STUDY])
    parts, operators = rng.normal(3.5, 0.8, 6), rng.normal(0.0, 0.05, 3)
    rows = [
        (f"INV-G{part + 1}", f"operator {'ABC'[who]}", "PIN1", reading + 1,
         round(float(parts[part] + operators[who] + rng.normal(0.0, 0.10)), 2))
        for part in range(6) for who in range(3) for reading in range(2)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["part_id", "operator", "station_id", "reading", "value"])


def _earlier(seed: int) -> pd.DataFrame:
    """reference-runs.csv: eight baseline runs of an earlier campaign, two a build."""
    rng = np.random.default_rng([seed, _EARLIER])
    chain = 0.115 * np.exp(np.repeat(rng.normal(0.0, 0.05, 4), 2) + rng.normal(0.0, 0.12, 8))
    pin = PIN_UM_PER_PCT * chain * np.exp(rng.normal(0.0, PIN_RUN_SD, 8))
    iron = metals.iron_rise(chain, rng)
    columns = {
        "run_id": [f"INV-E{at + 1}" for at in range(8)],
        "build_id": [f"INV-EB{at // 2 + 1}" for at in range(8)],
        "pin_wear_um": pin.round(3),
        "elongation_pct": chain.round(4),
        "fe_ppm": iron.round(1),
    }
    return pd.DataFrame(columns)
