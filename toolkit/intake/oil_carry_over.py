"""How much of the fill before is left in a fill, and zero-hour figures worked out from it where asked for (rank 6)."""

from __future__ import annotations

import math

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.brief.oil import card_of
from toolkit.intake import columns
from toolkit.intake.columns import BELOW
from toolkit.intake.gathered import Finding, figure, finding
from toolkit.numeric import oil_balance

WORKED_OUT = "worked out"


def zero_filled(
    brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame | None
) -> tuple[pd.DataFrame | None, list[Finding]]:
    """The samples with zero-hour figures that are missing worked out from the fill before, where that is asked for.

    Parameters
    ----------
    brief : Brief
        Asked for by ``zero_from_carry_over``; else nothing is changed.
    runs, samples : DataFrame
        As ``tables.runs`` and ``oil.samples`` give them.

    Returns
    -------
    samples : DataFrame
        The same where nothing was worked out; else a copy in which the figures stand in the zero-hour sample, or in a
        sample of its own called 'worked out'.
    findings : list of Finding
        Each figure and what it was worked out from.

    Notes
    -----
    new * (1 - f) + before * f, with f the carry-over by the marker in the zero-hour sample (in the first sample where
    there is none). Only here is carry-over a correction: a zero-hour sample already holds it.
    """
    if samples is None or brief.oil is None or not brief.oil.zero_from_carry_over:
        return samples, []
    told: list[Finding] = []
    made = samples.copy()
    for _, run in runs.iterrows():
        mine = made[made["run_id"] == run["run_id"]]
        for name in (item.name for item in columns.of_source(brief, "oil")):
            if name not in made or mine.empty or not mine.loc[mine["at_h"] > 0.0, name].notna().any():
                continue
            if mine.loc[mine["at_h"] == 0.0, name].notna().any():
                continue
            value, words = _from_before(brief, runs, samples, run, name)
            act = words if value is None else f"{figure(round(value, 4))} mg/kg is taken: {words}"
            told.append(
                finding("note", "zero-hour figure", run_id=str(run["run_id"]), column=name, found="none",
                        expected="one at at_h = 0", action=act)
            )  # fmt: skip
            if value is None:
                continue
            at = mine.index[mine["at_h"] == 0.0]
            if not len(at):
                row = {
                    key: False if key.endswith(BELOW) else math.nan if made[key].dtype == float else "" for key in made
                }
                row |= {"run_id": run["run_id"], "sample_id": WORKED_OUT, "at_h": 0.0}
                made = pd.concat([made, pd.DataFrame([row]).astype(made.dtypes.to_dict())], ignore_index=True)
                mine, at = made[made["run_id"] == run["run_id"]], made.index[[-1]]
            made.loc[at[:1], name] = value
    return made, told


def carried(
    brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame, run: pd.Series
) -> tuple[float | None, pd.Series | None, str]:
    """The carry-over of a run's fill as a share, the run before it in the same build, and why it cannot be told.

    Parameters
    ----------
    brief : Brief
        With a marker.
    runs, samples : DataFrame
    run : Series
    """
    marker = brief.oil.marker if brief.oil is not None else ""
    own, before = card_of(brief.oil_cards, run.to_dict()), _before(runs, run)
    if before is None:
        return None, None, "no run before it in its build"
    if not marker or marker not in samples or own is None or marker not in own.new_ppm:
        return None, before, "no figure of a marker in the samples and on the card"
    first, last = _end(samples, run["run_id"], marker, 0), _end(samples, before["run_id"], marker, -1)
    if first is None or last is None:
        return None, before, f"no figure of {marker} in both runs"
    other = card_of(brief.oil_cards, before.to_dict())
    if other is not None and other.new_ppm.get(marker) == own.new_ppm[marker]:
        return None, before, f"the fill before ({before['run_id']}) was the same oil: {marker} does not tell them apart"
    share = oil_balance.carry_over(first, own.new_ppm[marker], last)
    return (share, before, "") if share is not None else (None, before, f"{marker} is the same in both fills")


def _from_before(
    brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame, run: pd.Series, name: str
) -> tuple[float | None, str]:
    """A zero-hour figure from the fill before, and what it rests on; or None and why not."""
    share, before, why = carried(brief, runs, samples, run)
    card = card_of(brief.oil_cards, run.to_dict())
    if share is None or before is None or card is None:
        return None, f"it cannot be worked out: {why}"
    if name not in card.new_ppm:
        return None, f"it cannot be worked out: the card of {card.name} does not tell {name}"
    last = _end(samples, before["run_id"], name, -1)
    if last is None:
        return None, f"it cannot be worked out: run {before['run_id']} has no last figure"
    kept = min(max(share, 0.0), 1.0)
    new = card.new_ppm[name]
    return new * (1.0 - kept) + last * kept, (
        f"{figure(round(100.0 * kept, 3))} % of the fill before ({before['run_id']}: {figure(last)}) in new oil "
        f"({figure(new)}), by {brief.oil.marker if brief.oil else ''}"
    )


def _before(runs: pd.DataFrame, run: pd.Series) -> pd.Series | None:
    """The run made before this one in the same phase and build; None where there is none, or no order."""
    order = run["actual_order"]
    same = runs[(runs["phase"] == run["phase"]) & (runs["build_id"] == run["build_id"])]
    earlier = same[same["actual_order"] < order] if not pd.isna(order) else same.iloc[:0]
    return None if earlier.empty else earlier.loc[earlier["actual_order"].idxmax()]


def _end(samples: pd.DataFrame, run_id: object, name: str, which: int) -> float | None:
    """The mean figure of the first (0) or last (-1) hour of a run that has one; None below a limit too."""
    mine = samples[(samples["run_id"] == run_id) & samples[name].notna()]
    if mine.empty:
        return None
    hour = sorted(set(mine["at_h"]))[which]
    drawn = mine[mine["at_h"] == hour]
    return None if drawn[name + BELOW].any() else math.fsum(drawn[name]) / len(drawn)
