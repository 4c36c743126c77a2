"""Findings about oil samples: wrong oil, dirt, coolant, carry-over, duplicates, coarse debris (rank 6).

A finding tells; it drops nothing and changes nothing.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief
from toolkit.brief.oil import OilCard, card_of
from toolkit.intake import columns, oil_carry_over, oil_corrections
from toolkit.intake.columns import BELOW
from toolkit.intake.gathered import Finding, figure, finding, some
from toolkit.numeric import oil_precision
from toolkit.numeric.oil_precision import PUBLISHED, Agreement, Power, Precision

# What an oil is made with; metals of wear say nothing of which oil it is.
ADDITIVES = ("ca_ppm", "mg_ppm", "zn_ppm", "p_ppm", "mo_ppm", "b_ppm", "ba_ppm")
# What an element that rises usually tells of; common practice.
MEANING = {"si_ppm": "dirt or sealant", "al_ppm": "dirt or a worn part", "na_ppm": "coolant", "k_ppm": "coolant",
           "b_ppm": "coolant"}  # fmt: skip
# A particle index this many times what its iron usually goes with tells of debris too coarse for the plasma; from the
# spread within a campaign, common practice and no test.
COARSE_FACTOR = 3.0
LEAST_SAMPLES = 8
KINDS = {"within_batch": "within a batch", "between_batches": "between batches", "between_labs": "between laboratories"}
DUPLICATES = ("run_id", "at_h", "element", "figures", "range_ppm", "limit_ppm", "compared", "agree", "source")


def findings(brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame | None) -> list[Finding]:
    """What the oil samples tell beside the wear.

    Parameters
    ----------
    brief : Brief
        Cards, marker and limits; what it does not tell is not looked for.
    runs : DataFrame
        As ``tables.runs`` gives them.
    samples : DataFrame or None
        As ``oil.samples`` gives them.

    Returns
    -------
    list of Finding
        Of severity note: nothing follows by itself.
    """
    if samples is None or samples.empty:
        return []
    told: list[Finding] = []
    for _, run in runs.iterrows():
        mine = samples[samples["run_id"] == run["run_id"]]
        card = card_of(brief.oil_cards, run.to_dict())
        if mine.empty:
            continue
        if card is not None:
            told += _fingerprint(brief, run, mine, card)
            told += _risen(brief, run, mine, card)
        told += _carried(brief, runs, samples, run)
    told += _apart(brief, samples)
    return told + _coarse(samples)


def duplicates(brief: Brief, samples: pd.DataFrame) -> pd.DataFrame:
    """Samples drawn from one run at one hour, judged by the precision under which their figures were found.

    Parameters
    ----------
    brief : Brief
        Limits of [oil] precision; those it does not give are the published ones, from memory.
    samples : DataFrame
        lab_id and lab_batch say which precision holds.

    Returns
    -------
    DataFrame
        run_id, at_h, element, figures, range_ppm, limit_ppm, compared (within a batch, between batches, between
        laboratories, or unknown), agree (true, false, or None where no limit is known for it), source.
    """
    rows = []
    for (run, hour), drawn in samples.groupby(["run_id", "at_h"], sort=False):
        for name in oil_corrections.elements(samples):
            mine = drawn[drawn[name].notna()]
            known = _precision(brief, name)
            if not 2 <= len(mine) <= oil_precision.MOST or known is None:
                continue
            kind = _compared(mine)
            power = None if kind is None else getattr(known, kind)
            judged = _judged(mine, name, power, known)
            rows.append(
                {
                    **{"run_id": run, "at_h": hour, "element": name, "figures": _figures(mine, name)},
                    "range_ppm": None if judged is None else judged.range_ppm,
                    "limit_ppm": None if judged is None or power is None else judged.limit_ppm,
                    "compared": "unknown" if kind is None else KINDS[kind],
                    "agree": None if judged is None or power is None else judged.agree,
                    "source": known.source,
                }
            )
    return pd.DataFrame(rows, columns=list(DUPLICATES), dtype=object)


def _fingerprint(brief: Brief, run: pd.Series, mine: pd.DataFrame, card: OilCard) -> list[Finding]:
    """A finding where the first sample is not the oil of the run's card."""
    first = mine[mine["at_h"] == mine["at_h"].min()]
    cards = [*brief.oil_cards]
    off = _off(first, card, cards)
    if not off:
        return []
    others = [other for other in cards if other is not card and _tells(first, other)]
    fitting = [other.name for other in others if not _off(first, other, cards)]
    named = f"it is like {' and '.join(fitting)}" if fitting else "it is like no other card"
    return [
        _note(run, off[0][0], "fingerprint", some([words for _, words in off]),
              f"within {figure(card.within_pct)} % of the card of {card.name}",
              f"{named}: find out what was filled, then judge the run")
    ]  # fmt: skip


def _off(first: pd.DataFrame, card: OilCard, cards: list[OilCard]) -> list[tuple[str, str]]:
    """Additive elements of a sample that do not fit a card."""
    off = []
    for name in _tells(first, card):
        given = first[first[name].notna()]
        below = given[name + BELOW].any()
        value = math.fsum(given[name]) / len(given)
        # Nought on one card and plenty on another: the allowance comes from the other.
        most = max(other.new_ppm.get(name, 0.0) for other in cards)
        allowed = 0.01 * card.within_pct * most
        expected = card.new_ppm[name]
        gap = max(expected - value, 0.0) if below else abs(value - expected)
        if gap > allowed:
            off.append((name, f"{name} {'<' if below else ''}{figure(value)} against {figure(expected)}"))
    return off


def _tells(first: pd.DataFrame, card: OilCard) -> list[str]:
    """Additive elements that both the sample and the card tell."""
    return [name for name in ADDITIVES if name in card.new_ppm and name in first and first[name].notna().any()]


def _risen(brief: Brief, run: pd.Series, mine: pd.DataFrame, card: OilCard) -> list[Finding]:
    """Findings of dirt and coolant."""
    told = []
    for name, most in (brief.oil.most_rise_ppm if brief.oil is not None else {}).items():
        known = mine[mine[name].notna() & ~mine[name + BELOW].astype(bool)] if name in mine else mine.iloc[:0]
        if known.empty or name not in card.new_ppm:
            continue
        at = known[name].idxmax()
        rise = float(known.at[at, name]) - card.new_ppm[name]
        if rise > most:
            told.append(
                _note(run, name, "contamination",
                      f"{figure(known.at[at, name])} mg/kg at {figure(known.at[at, 'at_h'])} h, {figure(rise)} above "
                      f"new oil", f"a rise of at most {figure(most)}",
                      f"look for {MEANING.get(name, 'where it comes from')}, then judge the run")
            )  # fmt: skip
    return told


def _carried(brief: Brief, runs: pd.DataFrame, samples: pd.DataFrame, run: pd.Series) -> list[Finding]:
    """A finding where more of the fill before is left than the brief allows."""
    if brief.oil is None or brief.oil.most_carry_over_pct is None:
        return []
    share, before, _ = oil_carry_over.carried(brief, runs, samples, run)
    if share is None or before is None or 100.0 * share <= brief.oil.most_carry_over_pct:
        return []
    return [
        _note(run, brief.oil.marker, "carry-over",
              f"{figure(round(100.0 * share, 2))} % of the fill of run {before['run_id']}",
              f"at most {figure(brief.oil.most_carry_over_pct)} %",
              "flush again next time, and judge the run; the zero-hour sample already holds the metal carried over, so "
              "nothing is subtracted")
    ]  # fmt: skip


def _apart(brief: Brief, samples: pd.DataFrame) -> list[Finding]:
    """Findings of duplicates that lie too far apart, or that nothing judges."""
    told: list[Finding] = []
    if brief.oil is None and columns.OIL_LAB[0] not in samples:
        return told
    for row in duplicates(brief, samples).to_dict("records"):
        known = _precision(brief, row["element"])
        if row["agree"] is True or row["range_ppm"] is None or known is None:
            continue
        drawn = samples[(samples["run_id"] == row["run_id"]) & (samples["at_h"] == row["at_h"])]
        strict = _judged(drawn[drawn[row["element"]].notna()], row["element"], known.within_batch, known)
        if row["agree"] is None and (strict is None or strict.agree):
            continue
        run = pd.Series({"run_id": row["run_id"]})
        source = f" ({row['source']})" if row["source"] else ""
        if row["agree"] is False:
            expected = f"at most {figure(round(row['limit_ppm'], 3))} apart {row['compared']}{source}"
            action = "ask for both to be analysed again; their mean is taken"
        elif row["compared"] == "unknown":
            expected = "a laboratory and a batch for each, which say how far they may lie apart"
            action = "enter lab_id and lab_batch in oil.csv; their mean is taken"
        else:
            expected = "a limit between batches in [oil] precision"
            action = "enter your laboratory's: that within a batch is too strict, that between laboratories too wide"
        seen = f"{row['figures']} at {figure(row['at_h'])} h"
        told.append(_note(run, row["element"], "duplicates", seen, expected, action))
    return told


def _coarse(samples: pd.DataFrame) -> list[Finding]:
    """Findings of a particle index that is high for its iron: debris too coarse for the plasma to see."""
    if columns.FERROUS not in samples or "fe_ppm" not in samples:
        return []
    known = samples[samples[columns.FERROUS].notna() & samples["fe_ppm"].notna() & (samples["fe_ppm"] > 0.0)]
    ratio = known[columns.FERROUS] / known["fe_ppm"]
    if len(ratio) < LEAST_SAMPLES or not float(np.median(ratio)) > 0.0:
        return []
    usual = float(np.median(ratio))
    return [
        _note(known.loc[at], columns.FERROUS, "coarse debris",
              f"index {figure(known.at[at, columns.FERROUS])} with {figure(known.at[at, 'fe_ppm'])} mg/kg iron at "
              f"{figure(known.at[at, 'at_h'])} h",
              f"about {figure(round(usual * known.at[at, 'fe_ppm'], 3))}, as the iron of these samples goes with",
              "look at filter and parts for severe wear; the index is no amount of metal")
        for at in ratio.index[ratio > COARSE_FACTOR * usual]
    ]  # fmt: skip


def _precision(brief: Brief, name: str) -> Precision | None:
    """The limits for an element: the brief's own in place of the published ones; None where none is known."""
    published = PUBLISHED.get(name.removesuffix("_ppm"))
    own = (brief.oil.precision.get(name) if brief.oil is not None else None) or {}
    mine = {kind: Power(*pair) for kind, pair in own.items() if pair is not None}
    if not mine:
        return published
    wide = Power(math.inf, 0.0)
    within = mine.get("within_batch") or (published.within_batch if published else wide)
    labs = mine.get("between_labs") or (published.between_labs if published else wide)
    return Precision(within, labs, mine.get("between_batches"), source="[oil] precision")


def _compared(mine: pd.DataFrame) -> str | None:
    """Under which conditions figures of one oil were found; None where that is not told."""
    labs = [mine[name].tolist() if name in mine else [""] for name in columns.OIL_LAB]
    if "" in labs[0]:
        return None
    if len(set(labs[0])) > 1:
        return "between_labs"
    return None if "" in labs[1] else "within_batch" if len(set(labs[1])) == 1 else "between_batches"


def _judged(mine: pd.DataFrame, name: str, power: Power | None, known: Precision) -> Agreement | None:
    """Whether figures agree by a limit (the strictest known where there is none); None where all are below theirs."""
    below = mine[name + BELOW].to_numpy(dtype=bool)
    values = mine[name].to_numpy(dtype=float)
    if below.all():
        return None
    # A figure below its limit is taken as near to the others as it can be.
    values = np.where(below, np.minimum(values, values[~below].min()), values)
    found = oil_precision.agreement(values, power or known.within_batch, known.valid)
    return None if math.isinf(found.limit_ppm) else found


def _figures(mine: pd.DataFrame, name: str) -> str:
    """Figures as the laboratory wrote them."""
    marks = mine[name + BELOW].astype(bool)
    return " and ".join(f"{'<' if low else ''}{figure(value)}" for value, low in zip(mine[name], marks, strict=True))


def _note(run: pd.Series, column: str, rule: str, found: str, expected: str, action: str) -> Finding:
    """A finding about the oil of a run."""
    run_id = str(run["run_id"])
    return finding("note", rule, run_id=run_id, column=column, found=found, expected=expected, action=action)
