"""Metals in the oil with what samples, top-ups, consumption and the fill before took and brought (rank 6).

Nothing is corrected that the brief did not ask for; the plain increase and the account always stand side by side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.brief.oil import card_of
from toolkit.errors import ModelError
from toolkit.intake import columns
from toolkit.intake.columns import BELOW
from toolkit.intake.gathered import Finding, figure, finding, quantity
from toolkit.numeric import oil_balance
from toolkit.numeric.oil_balance import OilBalance

TABLE = (
    *("run_id", "element", "hours", "increase_ppm", "corrected_ppm", "corrected_low_ppm", "corrected_high_ppm"),
    *("low_mg", "high_mg", "rate_low_mg_h", "rate_high_mg_h", "drawn_kg", "topped_up_kg", "consumed_kg", "note"),
)


@dataclass(frozen=True, eq=False)
class RunAccount:
    """The account of one metal in one run; ``balance`` is None where ``note`` says why there is none.

    Attributes
    ----------
    balance : OilBalance or None
    limited_mg : float
        Half the width of what figures below their limit leave open, at the brief's share of liquid loss [mg].
    drawn_kg, topped_up_kg, consumed_kg : float
        Over the run after the zero-hour sample.
    increase_ppm : float
        The last figure less the zero-hour one; NaN where either is missing.
    note : str
    """

    balance: OilBalance | None
    limited_mg: float
    drawn_kg: float
    topped_up_kg: float
    consumed_kg: float
    increase_ppm: float
    note: str


def elements(samples: pd.DataFrame) -> tuple[str, ...]:
    """The columns of elements in the samples, in their order."""
    return tuple(name for name in samples if columns.is_element(name) and not name.endswith(BELOW))


def account(brief: Brief, run: pd.Series, taken: pd.DataFrame, name: str) -> RunAccount:
    """The account of one metal over the samples of one run.

    Parameters
    ----------
    brief : Brief
        With [oil]; the card of the run's oil says what is in it when new.
    run : Series
        One row of the runs.
    taken : DataFrame
        The samples of this run, in any order, with sampled_kg, topped_up_kg and consumed_kg.
    name : str
        A column such as fe_ppm.

    Returns
    -------
    RunAccount

    Notes
    -----
    Samples of one hour count as one: the mean of their figures, the sum of what was drawn; what was topped up or
    consumed stands in one of them. A figure that is lost
    between two others lies between them for the account, which is said; below its limit it lies between 0 and that.
    """
    none = math.nan
    hours = sorted(set(taken["at_h"]))
    low, high, marked = [], [], []
    for hour in hours:
        drawn = taken[(taken["at_h"] == hour) & taken[name].notna()]
        figures, below = drawn[name].to_numpy(), drawn[name + BELOW].to_numpy(dtype=bool)
        high.append(math.fsum(figures) / len(figures) if len(figures) else none)
        low.append(math.fsum(figures[~below]) / len(figures) if len(figures) else none)
        marked.append(bool(below.any()))
    increase = high[-1] - high[0] if hours and hours[0] == 0.0 and not any(marked) else none
    masses = {part: [_mass(taken, hour, part) for hour in hours] for part in columns.OIL_ACCOUNT}
    totals = [math.fsum(masses[part][1:]) for part in columns.OIL_ACCOUNT]

    def without(why: str) -> RunAccount:
        return RunAccount(None, 0.0, *totals, increase, why)

    card = card_of(brief.oil_cards, run.to_dict())
    wanting = [part for part in columns.OIL_ACCOUNT if part not in taken]
    blank = [
        f"{part} at {figure(hour)} h"
        for part in columns.OIL_ACCOUNT
        for hour, mass in zip(hours, masses[part], strict=True)
        if part in taken and hour > 0.0 and math.isnan(mass)
    ]
    if brief.oil is None:
        return without("no [oil] in the brief: the fill is not known")
    if doubled := _doubled(taken):
        return without(doubled)
    if wanting:
        return without(f"oil.csv has no column {', '.join(wanting)}")
    if card is None or name not in card.new_ppm:
        return without(f"no [[oil_card]] tells {name} of the new oil")
    if not hours or hours[0] != 0.0 or math.isnan(high[0]):
        return without("no zero-hour sample with a figure")
    if len(hours) < 2 or math.isnan(high[-1]):
        return without("no figure of the last sample")
    if blank:
        return without(f"blank: {', '.join(blank)}")
    lost = [at for at, value in enumerate(high) if math.isnan(value)]
    for at in lost:
        earlier, later = range(at, -1, -1), range(at, len(hours))
        sides = [next(k for k in way if k not in lost) for way in (earlier, later)]
        low[at], high[at] = min(low[side] for side in sides), max(high[side] for side in sides)
    note = "".join(
        f"the figure at {figure(hours[at])} h is lost and lies between {figure(low[at])} and {figure(high[at])} for "
        f"the account; "
        for at in lost
    ).removesuffix("; ")
    new = card.new_ppm[name]
    drawn_kg, topped_kg, used_kg = ([0.0, *masses[part][1:]] for part in columns.OIL_ACCOUNT)
    try:
        made = oil_balance.account(
            hours, low, high, fill_kg=brief.oil.fill_kg, sampled_kg=drawn_kg, topped_up_kg=topped_kg,
            consumed_kg=used_kg, new_oil_ppm=(new, new),
        )  # fmt: skip
    except ModelError as error:
        return without(str(error).splitlines()[-1].strip().removesuffix("."))
    share = brief.oil.liquid_share if brief.oil.liquid_share is not None else 0.5
    weight = np.abs((1.0 - share) * made.weights[0] + share * made.weights[1])
    open_ppm = np.where(np.array(marked), np.array(high) - np.array(low), 0.0)
    return RunAccount(made, float(weight @ open_ppm) / 2.0, *totals, increase, note)


def accounts(brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame) -> pd.DataFrame:
    """The plain increase and the account of every metal in every run, side by side.

    Parameters
    ----------
    brief : Brief
    runs, samples : DataFrame
        As ``records.Records`` has them.

    Returns
    -------
    DataFrame
        One row a run and metal: run_id, element, hours, increase_ppm (as sampled), corrected_ppm (the account per kg
        of the fill at the brief's liquid_share), its bounds over both kinds of consumption, the metal [mg] and its
        rate [mg/h] with both bounds, drawn_kg, topped_up_kg, consumed_kg, and why there is none. Empty places None.
    """
    rows = []
    drawn = dict(tuple(samples.groupby("run_id", sort=False)))
    for _, run in runs.iterrows():
        taken = drawn.get(run["run_id"])
        if taken is None:
            continue
        for name in elements(samples):
            if not taken[name].notna().any():
                continue
            found = account(brief, run, taken, name)
            made = found.balance
            row: dict[str, object] = dict.fromkeys(TABLE)
            row |= {"run_id": run["run_id"], "element": name, "hours": float(taken["at_h"].max())}
            row |= {"increase_ppm": _or_none(found.increase_ppm), "note": found.note}
            row |= {key: _or_none(getattr(found, key)) for key in ("drawn_kg", "topped_up_kg", "consumed_kg")}
            if made is not None and brief.oil is not None:
                fill, share = brief.oil.fill_kg, brief.oil.liquid_share
                low, high = float(made.low_mg[-1]), float(made.high_mg[-1])
                rates = made.rate_mg_h
                row |= {"corrected_ppm": None if share is None else made.at_share(share) / fill}
                row |= {"corrected_low_ppm": low / fill, "corrected_high_ppm": high / fill}
                row |= {"low_mg": low, "high_mg": high, "rate_low_mg_h": rates[0], "rate_high_mg_h": rates[1]}
            rows.append(row)
    return pd.DataFrame(rows, columns=list(TABLE), dtype=object)


def balanced(
    brief: Brief, response: Response, run: pd.Series, taken: pd.DataFrame
) -> tuple[float, bool, float, list[Finding]]:
    """The run value of an oil response by the account: metal given into the oil per kg of the fill.

    Parameters
    ----------
    brief, response, run : as ``oil.run_value``
    taken : DataFrame
        The samples of this run, with a figure at the start and at the end.

    Returns
    -------
    value, below, at_least, findings
        As ``oil.run_value``. The finding tells the plain increase beside it, and both bounds.
    """
    found = account(brief, run, taken, response.name)
    made, oil = found.balance, brief.oil

    def told(seen: str, expected: str, action: str) -> list[Finding]:
        return [finding("note", "oil account", run_id=str(run["run_id"]), column=response.name, found=seen,
                        expected=expected, action=action)]  # fmt: skip

    if made is None or oil is None or oil.liquid_share is None:
        action = "complete oil.csv or campaign.toml; the run has no value of this response until then"
        return math.nan, False, math.nan, told(found.note, "an account of the metal", action)
    value = made.at_share(oil.liquid_share) / oil.fill_kg
    bounds = f"{figure(round(made.low_mg[-1] / oil.fill_kg, 3))} to {figure(round(made.high_mg[-1] / oil.fill_kg, 3))}"
    plain = "no plain increase" if math.isnan(found.increase_ppm) else f"{figure(found.increase_ppm)} as sampled"
    action = (
        f"{figure(round(value, 3))} is taken, at liquid_share = {figure(oil.liquid_share)} ({bounds} whatever it is)"
        f"{'; ' if found.note else ''}{found.note}"
    )
    findings = told(f"increase: {plain}", f"the account of {quantity(oil.fill_kg, 'fill_kg')}", action)
    wide = found.limited_mg / oil.fill_kg
    if wide > 0.0:
        return value + wide, True, value - wide, findings
    return value, False, math.nan, findings


def _mass(taken: pd.DataFrame, hour: float, part: str) -> float:
    """What was drawn, put in or consumed at an hour, over its samples; NaN where no sample tells it."""
    if part not in taken:
        return math.nan
    told = taken.loc[(taken["at_h"] == hour) & taken[part].notna(), part]
    return math.fsum(told) if len(told) else math.nan


def _doubled(taken: pd.DataFrame) -> str:
    """Why a top-up or a consumption that stands with several samples of one hour cannot be counted; else empty."""
    for part in columns.OIL_ACCOUNT[1:]:
        if part not in taken:
            continue
        told = taken[taken[part] > 0.0].groupby("at_h")[part].size()
        for hour in told.index[told > 1]:
            return f"{part} at {figure(hour)} h stands in several samples: write it once, and 0 in the others"
    return ""


def _or_none(value: float) -> float | None:
    """None for a number that is not there."""
    return None if math.isnan(value) else value
