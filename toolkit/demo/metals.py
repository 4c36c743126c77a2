"""Metals in the oil of the INVENTED timing-chain campaign (rank 10).

Iron comes from the chain and, more of it, from other parts that scatter on their own: a fair trap for
whoever takes iron in the oil for chain wear. No oil is topped up, so the rise from the zero-hour sample is
what was worn off.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

HOURS = (0, 20, 40, 60, 80, 100)
FILL_KG = 4.30
NEW_OIL = {"fe_ppm": 1.0, "cr_ppm": 0.2, "cu_ppm": 0.5}
# The laboratory reports no chromium below this; fresh oil has less.
LOWEST = {"cr_ppm": 0.5}
OTHER_PARTS_MG = 110.0
_OTHER_PARTS_SD, _SEEN = 0.20, 0.8
# Repeatability of the method as r = a X^b (95 % limit of a difference of two; SD = r / 2.77): ASTM D5185 as
# commonly quoted, not checked against a print.
_REPEATABILITY = {"fe_ppm": (0.13, 0.80), "cr_ppm": (0.17, 0.75), "cu_ppm": (0.12, 0.91)}


def chain_mg(elongation_pct: np.ndarray) -> np.ndarray:
    """Steel worn off a chain in mg: 130 pitches of 8 mm, 10 mm2 of joint, 7.85 mg/mm3."""
    return 130.0 * 8.0 * np.asarray(elongation_pct) / 100.0 * 10.0 * 7.85


def iron_rise(elongation_pct: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rise of iron in the oil (mg/kg) over a full run for chains worn so much; same shape."""
    elongation_pct = np.asarray(elongation_pct)
    other = OTHER_PARTS_MG * np.exp(rng.normal(0.0, _OTHER_PARTS_SD, elongation_pct.shape))
    return _SEEN * (chain_mg(elongation_pct) + other) / FILL_KG


def analysed(true_ppm: np.ndarray, element: str, rng: np.random.Generator) -> np.ndarray:
    """What the laboratory finds for a true content (mg/kg), same shape: with its repeatability SD."""
    factor, power = _REPEATABILITY[element]
    true_ppm = np.asarray(true_ppm)
    return true_ppm + rng.normal(0.0, 1.0, true_ppm.shape) * factor * true_ppm**power / 2.77


def samples(
    runs: pd.DataFrame,
    elongation_pct: np.ndarray,
    worn: Callable[[float], np.ndarray],
    rng: np.random.Generator,
) -> pd.DataFrame:
    """oil.csv: the samples of each run up to the hours it reached.

    Parameters
    ----------
    runs : DataFrame
        runs.csv, in the order run.
    elongation_pct : ndarray, shape (runs,)
        True mean elongation at full hours.
    worn : callable
        Share of full wear after so many hours.
    rng : numpy Generator
    """
    rise = {
        "fe_ppm": iron_rise(elongation_pct, rng),
        "cr_ppm": 2.4 * np.exp(rng.normal(0.0, 0.20, len(runs))),
        "cu_ppm": 6.0 * np.exp(rng.normal(0.0, 0.25, len(runs))),
    }
    before = {"fe_ppm": 35.0, "cr_ppm": 2.6, "cu_ppm": 6.5}
    rows = []
    for place, (run, lasted, carried) in enumerate(
        zip(runs["run_id"], runs["run_time_h"], runs["carry_over_pct"], strict=True)
    ):
        start = {name: NEW_OIL[name] + carried / 100.0 * before[name] for name in NEW_OIL}
        for at in (at for at in HOURS if at <= lasted):
            row: dict[str, object] = {"run_id": run, "sample_id": f"INV-{run}-{at:03d}h", "at_h": at}
            for name in NEW_OIL:
                found = round(float(analysed(start[name] + rise[name][place] * worn(at), name, rng)), 1)
                row[name] = max(found, LOWEST.get(name, found))
                if name in LOWEST:
                    row[f"{name}_below_limit"] = found < LOWEST[name]
            rows.append(row)
        before = {name: start[name] + rise[name][place] * float(worn(lasted)) for name in NEW_OIL}
    return pd.DataFrame(rows)
