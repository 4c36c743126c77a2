"""Metal found in the oil against metal lost by the measured parts: a check of both, never a calibration (rank 7)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.intake import oil_corrections
from toolkit.wording import filled

COLUMNS = (
    *("run_id", "element", "oil_low_mg", "oil_high_mg", "parts_mg", "recovery_low", "recovery_high", "inside"),
    *("causes", "note"),
)
# Where to look, the likeliest first; common practice.
TOO_LITTLE = (
    "metal in filter, sludge or particles too large for the plasma to see",
    "sump mass or unit of the wear",
    "wear figure that is no metal lost (stretch, deposits, a swapped reading)",
    "mg_per_unit",
)
TOO_MUCH = (
    "other parts that wear and are not measured",
    "metal of an earlier fill or dirt",
    "sump mass or unit of the wear",
    "parts left out of mg_per_unit",
)
PLAIN = "plain increase times the fill: no account of samples, top-ups and consumption"


@dataclass(frozen=True, eq=False)
class MassBalance:
    """Metal in the oil over metal lost by the measured parts.

    Attributes
    ----------
    table : DataFrame
        One row a run and element: run_id, element, oil_low_mg and oil_high_mg (bounds over the kinds of consumption),
        parts_mg, recovery_low and recovery_high, inside (true, false, or None where it cannot be told), causes (to look
        for, where it is outside), note. Empty places None.
    band : (float, float)
        Recovery that is taken for sound.
    notes : tuple of str
    """

    table: pd.DataFrame
    band: tuple[float, float]
    notes: tuple[str, ...]

    @property
    def outside(self) -> pd.DataFrame:
        """The rows that do not fit."""
        return self.table[[value is False for value in self.table["inside"]]].reset_index(drop=True)

    def to_json(self) -> dict[str, object]:
        """The balance as plain data; what is missing is null."""
        return stamp.plain({"band": list(self.band), "runs": stamp.records(self.table), "notes": list(self.notes)})

    def __repr__(self) -> str:
        """The balance of every run, then what there is to know of it."""
        return "\n".join([filled(self.table).to_string(index=False), *self.notes])


def balance(brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame | None) -> MassBalance | None:
    """Metal in the oil against metal lost by the measured parts, in every valid run.

    Parameters
    ----------
    brief : Brief
        [oil] with fill_kg and mg_per_unit.
    runs, samples : DataFrame
        As ``records.Records`` has them.

    Returns
    -------
    MassBalance or None
        None where the brief gives no mg_per_unit.

    Notes
    -----
    Recovery = mg in the oil / mg of the parts, each part's run value times its mg_per_unit. The oil's metal is told
    with both bounds of ``numeric.oil_balance``; a run is outside only where both are. Expected for a part that is the
    main source: 0.3 to 0.9, as filter, sludge and large particles take the rest; above 1 where other parts wear (common
    practice). A check of units, sump mass and the list of parts; wear is never worked out from it.
    """
    oil = brief.oil
    if oil is None or not oil.mg_per_unit:
        return None
    low, high = (float(edge) for edge in oil.recovery_band)
    rows = []
    valid = runs[runs["verdict"] == "valid"]
    for _, run in valid.iterrows():
        for element, sources in oil.mg_per_unit.items():
            row: dict[str, object] = dict.fromkeys(COLUMNS) | {"run_id": run["run_id"], "element": element, "note": ""}
            notes = []
            metal = _in_oil(brief, run, samples, element, notes)
            lost = math.fsum(float(run[name]) * per for name, per in sources.items())
            if math.isnan(lost):
                missing = [name for name in sources if math.isnan(float(run[name]))]
                notes.append(f"no value of {', '.join(missing)}")
            else:
                row["parts_mg"] = lost
            if metal is not None:
                row |= {"oil_low_mg": metal[0], "oil_high_mg": metal[1]}
            if lost <= 0.0:
                notes.append("the parts lost nothing that could be measured: no recovery")
            elif metal is not None and not math.isnan(lost):
                found = metal[0] / lost, metal[1] / lost
                row |= {"recovery_low": found[0], "recovery_high": found[1]}
                row["inside"] = found[1] >= low and found[0] <= high
                causes = TOO_LITTLE if found[1] < low else TOO_MUCH
                row["causes"] = None if row["inside"] else "; ".join(causes)
            rows.append({**row, "note": "; ".join(notes)})
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return MassBalance(table, (low, high), _notes(table, len(valid)))


def _in_oil(
    brief: Brief, run: pd.Series, samples: pd.DataFrame | None, element: str, notes: list[str]
) -> tuple[float, float] | None:
    """Both bounds of the metal given into the oil [mg]; None, and a note why, where it cannot be told."""
    if samples is None or element not in samples:
        notes.append(f"no {element} in the oil samples")
        return None
    taken = samples[samples["run_id"] == run["run_id"]]
    if taken.empty or not taken[element].notna().any():
        notes.append(f"no {element} of this run")
        return None
    found = oil_corrections.account(brief, run, taken, element)
    if found.balance is not None:
        return float(found.balance.low_mg[-1]), float(found.balance.high_mg[-1])
    if brief.oil is None or math.isnan(found.increase_ppm):
        notes.append(found.note)
        return None
    notes.append(f"{PLAIN} ({found.note})")
    metal = found.increase_ppm * brief.oil.fill_kg
    return metal, metal


def _notes(table: pd.DataFrame, runs: int) -> tuple[str, ...]:
    """What the balance says in whole."""
    outside = [f"{row['run_id']} ({row['element']})" for row in table.to_dict("records") if row["inside"] is False]
    told = sum(value is not None for value in table["inside"])
    count = f"{told} of {len(table)} balances of {runs} valid run{'s' * (runs != 1)} could be told"
    if outside:
        return (f"{count}; outside the band: {', '.join(outside)}.",)
    return (f"{count}; none outside the band.",)
