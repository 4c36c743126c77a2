"""How many readings of each station pay, once a gauge study has told what one adds (rank 4)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.model.gauge_study import GaugeStudy


def readings_that_pay(
    study: GaugeStudy,
    run_sd: float,
    *,
    stations: int = 1,
    readings: int = 1,
    states: int = 2,
    same_operator: bool = True,
    level: float | None = None,
    run_cost: float | None = None,
    reading_cost: float | None = None,
    most: int = 10,
) -> pd.DataFrame:
    """What more readings of each station would make of the scatter between runs, and which number pays.

    Parameters
    ----------
    study : GaugeStudy
    run_sd : float
        SD of run values of the same treatment as found with ``readings`` readings, above 0; of ln where ``level`` is
        given.
    stations, readings, states, same_operator
        As the run values of ``run_sd`` were made (see ``GaugeStudy.run_value_variance``).
    level : float, optional
        The typical run value, where ``run_sd`` is that of ln: the gauge counts relative to it.
    run_cost, reading_cost : float, optional
        Of a run without its readings, and of one reading; with both, the number that pays is told.
    most : int
        Rows up to this number of readings.

    Returns
    -------
    DataFrame
        readings, gauge_sd, run_sd, gauge_share_pct (of the variance between runs), runs_pct (runs needed for the same
        interval, per cent of today), cost_pct (of the same interval, None without prices), pays (the cheapest, or
        None), note.

    Raises
    ------
    ModelError
        When an argument is out of range.

    Notes
    -----
    Variance of a run value = what differs between runs + the gauge's share / readings; cost of a given interval goes
    with variance times the price of a run with its readings. The cheapest number is near sqrt(run_cost * gauge /
    (reading price * between)): W. G. Cochran, Sampling Techniques (1977), section 10.6. Where the gauge alone would
    give more than ``run_sd``, nothing is left between runs, which is said.

    Checked against: Cochran's optimum and hand calculations, tests/unit/model/test_gauge_study.py.
    """
    faults = [
        Fault(name, f"{value:g}", "a number above 0")
        for name, value in (
            ("run_sd", run_sd),
            ("level", level),
            ("run_cost", run_cost),
            ("reading_cost", reading_cost),
        )
        if value is not None and not (value > 0.0 and math.isfinite(value))
    ]
    if most < 1:
        faults.append(Fault("most", f"{most}", "a whole number from 1"))
    if (run_cost is None) != (reading_cost is None):
        faults.append(Fault("run_cost and reading_cost", "one of them", "both or none"))
    raise_all(ModelError, "The readings that pay cannot be told.", faults)

    def gauge(count: int) -> float:
        found = study.run_value_variance(stations=stations, readings=count, states=states, same_operator=same_operator)
        return found / level**2 if level is not None else found

    between = run_sd**2 - gauge(readings)
    note = "" if between > 0.0 else "the gauge alone gives more than the scatter found: nothing is left between runs"
    between = max(between, 0.0)
    now = between + gauge(readings)
    rows = []
    for count in range(1, most + 1):
        variance = between + gauge(count)
        cost = None
        if run_cost is not None and reading_cost is not None:
            price = run_cost + reading_cost * stations * states * count
            today = run_cost + reading_cost * stations * states * readings
            cost = 100.0 * variance * price / (now * today) if now > 0.0 else None
        rows.append(
            {
                **{"readings": count, "gauge_sd": math.sqrt(gauge(count)), "run_sd": math.sqrt(variance)},
                "gauge_share_pct": 100.0 * gauge(count) / variance if variance > 0.0 else None,
                "runs_pct": 100.0 * variance / now if now > 0.0 else None,
                **{"cost_pct": cost, "note": note},
            }
        )
    costs = [row["cost_pct"] for row in rows]
    best = None if None in costs else int(np.argmin(costs))
    made = [{**row, "pays": None if best is None else at == best} for at, row in enumerate(rows)]
    columns = ["readings", "gauge_sd", "run_sd", "gauge_share_pct", "runs_pct", "cost_pct", "pays", "note"]
    return pd.DataFrame(made, columns=columns, dtype=object)
