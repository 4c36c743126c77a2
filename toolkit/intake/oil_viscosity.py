"""The viscosity of each run's fresh oil at the temperature of its sump, as a covariate (rank 6)."""

from __future__ import annotations

import math

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.brief.oil import SUMP_VISCOSITY, card_of
from toolkit.errors import ModelError
from toolkit.intake.gathered import Finding, figure, finding
from toolkit.numeric import viscosity


def filled(brief: Brief, runs: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """The runs with the covariate of viscosity where the brief has it worked out; else the same runs.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        As ``tables.runs`` gives them; not changed.

    Returns
    -------
    runs : DataFrame
    findings : list of Finding
        As of ``of_runs``.
    """
    if brief.oil is None or not brief.oil.viscosity_at:
        return runs, []
    values, told = of_runs(brief, runs, brief.oil.viscosity_at)
    return runs.assign(**{SUMP_VISCOSITY: values}), told


def of_runs(brief: Brief, runs: pd.DataFrame, temperature: str) -> tuple[pd.Series, list[Finding]]:
    """The viscosity of the oil as new at the mean temperature of each run, from its card.

    Parameters
    ----------
    brief : Brief
        Cards with kv40_mm2_s and kv100_mm2_s.
    runs : DataFrame
        As ``records.Records.runs``; not changed.
    temperature : str
        The column of the sump's temperature, such as sump_temp_degC.

    Returns
    -------
    viscosity : Series
        mm2/s, by the index of ``runs``, called sump_viscosity_mm2_s; NaN where it cannot be told.
    findings : list of Finding
        Why it cannot be told, for each run with a temperature.

    Raises
    ------
    ModelError
        When the runs have no such column.

    Notes
    -----
    ASTM D341 through both figures of the card. Where oils of two grades are compared it differs with the oil itself: it
    is then part of what the oil does, and no covariate. What was sooted, diluted or sheared is not in it.
    """
    if temperature not in runs:
        raise ModelError(f"runs: no column {temperature}; expected the column of the sump's temperature.")
    values, told = [], []
    for _, run in runs.iterrows():
        warm = float(run[temperature])
        card = card_of(brief.oil_cards, run.to_dict())
        value, why = math.nan, ""
        if card is None or card.kv40_mm2_s is None or card.kv100_mm2_s is None:
            why = "no [[oil_card]] with kv40_mm2_s and kv100_mm2_s for its oil"
        elif not math.isnan(warm):
            try:
                value = float(viscosity.at(warm, (card.kv40_mm2_s, card.kv100_mm2_s)))
            except ModelError as error:
                why = str(error).splitlines()[-1].strip().removesuffix(".")
        if why and not math.isnan(warm):
            told.append(
                finding("note", "viscosity", run_id=str(run["run_id"]), column=temperature, found=f"{figure(warm)} °C",
                        expected="a viscosity at this temperature", action=f"none is told: {why}")
            )  # fmt: skip
        values.append(value)
    return pd.Series(values, index=runs.index, dtype="float64", name=SUMP_VISCOSITY), told
