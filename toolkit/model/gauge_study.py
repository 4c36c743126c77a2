"""What a gauge adds to a reading: parts measured again and again by one operator or several (rank 4)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import component_limits, component_sums
from toolkit.numeric.component_limits import StratumSquares
from toolkit.numeric.mixed_layout import layout_of
from toolkit.wording import filled

PART, OPERATOR, BOTH, READING = "part", "operator", "operator by part", "reading"
OPERATORS, GAUGE, TOTAL = "operators together", "gauge", "total"
CROSSED, NESTED, SINGLE, UNEVEN = "crossed", "nested", "one operator", "uneven"
TABLE = ("source", "variance", "sd", "conf_low", "conf_high", "share_pct", "how", "note")
ANOVA = ("source", "df", "ss", "ms", "F")
_HEADLINE = "The gauge study cannot be analysed."


@dataclass(frozen=True, eq=False)
class GaugeStudy:
    """Where the scatter of readings comes from.

    Attributes
    ----------
    layout : str
        crossed (every operator measured every part), nested (each his own), one operator, or uneven.
    table : DataFrame
        One row a source and sum: source, variance (of a source with its sign), sd, conf_low, conf_high, share_pct of
        the total variance (those below 0 as nought), how the limits were found, note. Empty places None.
    anova : DataFrame or None
        source, df, ss, ms, F (against the mean square that holds all but the source's own scatter); None where the
        study is not balanced.
    conf_level : float
    notes : tuple of str
    """

    layout: str
    table: pd.DataFrame
    anova: pd.DataFrame | None
    conf_level: float
    notes: tuple[str, ...]

    def variance(self, source: str) -> float:
        """The variance of a source, those below 0 and those that the study does not hold as nought."""
        found = self.table.loc[self.table["source"] == source, "variance"]
        return max(float(found.iloc[0]), 0.0) if len(found) else 0.0

    def run_value_variance(
        self, *, stations: int = 1, readings: int = 1, states: int = 2, same_operator: bool = True
    ) -> float:
        """Variance that the gauge alone gives a run value: a mean over stations of after less before, or of readings.

        Parameters
        ----------
        stations, readings : int
            Stations a run; readings of each in each state.
        states : int
            2: wear is after less before; 1: it is read as such.
        same_operator : bool
            True: one operator takes all; what he adds to a part cancels in a difference. False: another takes each
            state or run.
        """
        faults = [
            Fault(name, f"{value}", "a whole number from 1")
            for name, value in (("stations", stations), ("readings", readings))
            if value < 1
        ]
        if states not in (1, 2):
            faults.append(Fault("states", f"{states}", "1 or 2"))
        raise_all(ModelError, "The gauge's share cannot be told.", faults)
        made = states * self.variance(READING) / (stations * readings)
        if not same_operator:
            made += states * (self.variance(OPERATOR) + self.variance(BOTH) / stations)
        elif states == 1:
            made += self.variance(BOTH) / stations
        return made

    def to_json(self) -> dict[str, object]:
        """The study as plain data; what is missing is null."""
        return stamp.plain(
            {
                **{"layout": self.layout, "conf_level": self.conf_level, "components": stamp.records(self.table)},
                "anova": None if self.anova is None else stamp.records(self.anova),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """The parts of the scatter, then what there is to know of them."""
        return "\n".join([filled(self.table).to_string(index=False), *self.notes])


def study(table: pd.DataFrame, *, conf_level: float = 0.95, interaction: bool = True) -> GaugeStudy:
    """The components of a gauge study with their limits.

    Parameters
    ----------
    table : DataFrame
        One row a reading: part_id, operator, value; station_id where several places of a part are measured (each
        counts as a part then). Rows without a value are left out and counted in a note.
    conf_level : float
    interaction : bool
        False: operators add the same to every part; what they do not is scatter of the readings then.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    ModelError
        When a column is missing, a value is no number, or there are not two parts, one of them read twice.

    Notes
    -----
    Analysis of variance with all sources random. Limits: chi-square for readings, Williams and Tukey for what lies
    between (``numeric.component_limits``), generalised intervals for sums (``numeric.component_sums``); profile
    likelihood where the study is uneven, without limits for sums. Variances keep their sign.

    Checked against: k12-gauge-rr-anova, tests/reference/test_gauge_cases.py; a nested study by hand and coverage by
    simulation, tests/unit/model/test_gauge_study.py.
    """
    parts, operators, values, notes = _read(table)
    kind = _kind(parts, operators)
    terms: dict[str, list[object]] = {}
    if kind == CROSSED or kind == UNEVEN:
        terms = {PART: list(parts), OPERATOR: list(operators)}
        cells = list(zip(parts, operators, strict=True))
        if interaction and len(set(cells)) < len(cells):
            terms[BOTH] = list(cells)
        elif interaction:
            notes.append("One reading of each part by each operator: what an operator adds to a single part and the "
                         "scatter of readings are one.")  # fmt: skip
    elif kind == NESTED:
        terms = {OPERATOR: list(operators), PART: list(parts)}
        notes.append("Each operator has parts of his own: what differs between operators may be their parts, as far as "
                     "these are not drawn at random.")  # fmt: skip
    else:
        terms = {PART: list(parts)}
        notes.append("One operator: what another would add is not known.")
    layout = layout_of(np.ones((len(values), 1)), terms)
    found = component_limits.limits(layout, values, conf_level=conf_level)
    squares = component_limits.stratum_squares(layout, values)
    names = [READING if name == "residual" else name for name in found.names]
    if squares is None and kind != UNEVEN:
        notes.append("Not every part was read as often: limits are those of the likelihood, none for sums.")
    rows = [
        {
            **dict(zip(("source", "variance", "sd"), (name, float(variance), float(sd)), strict=True)),
            **{"conf_low": _finite(low), "conf_high": _finite(high), "how": how},
            "note": "below 0: the study shows none" if variance < 0.0 else "",
        }
        for name, variance, sd, low, high, how in zip(
            names, found.variances, found.sd, found.sd_low, found.sd_high, found.how, strict=True
        )
    ]
    known = {name: max(float(variance), 0.0) for name, variance in zip(names, found.variances, strict=True)}
    for name, members in _sums(names):
        rows.append(_sum_row(name, members, known, names, squares, conf_level))
    total = sum(known.values())
    for row in rows:
        row["share_pct"] = 100.0 * max(float(str(row["variance"])), 0.0) / total if total > 0.0 else None
    made = pd.DataFrame(rows, columns=list(TABLE), dtype=object)
    return GaugeStudy(kind, made, _anova(squares, names), conf_level, tuple(notes))


def _read(table: pd.DataFrame) -> tuple[list[str], list[str], np.ndarray, list[str]]:
    """Parts, operators and values of the readings there are, sorted so that the order of rows counts for nothing."""
    missing = [name for name in ("part_id", "operator", "value") if name not in table]
    if missing:
        raise ModelError(f"{_HEADLINE}\n  columns: {', '.join(missing)} missing; expected part_id, operator and value.")
    keys = ["part_id", "operator", *(["station_id"] if "station_id" in table else [])]
    given = table[[*keys, "value"]].copy()
    numbers = pd.to_numeric(given["value"], errors="coerce")
    words = given["value"].notna() & numbers.isna()
    if bool(words.any()):
        fault = Fault("value", f"'{given.loc[words, 'value'].iloc[0]}' in {int(words.sum())} rows", "numbers")
        raise_all(ModelError, _HEADLINE, [fault])
    given["value"] = numbers.astype(float)
    notes = []
    if blank := int(given["value"].isna().sum()):
        notes.append(f"{blank} reading{'s' * (blank != 1)} without a value left out.")
    given = given[given["value"].notna()]
    for key in keys:
        given[key] = given[key].astype(str)
    given = given.sort_values([*keys, "value"], kind="stable")
    parts = given["part_id"].tolist()
    if "station_id" in given and given["station_id"].nunique() > 1:
        parts = [f"{part}/{station}" for part, station in zip(parts, given["station_id"], strict=True)]
    values = given["value"].to_numpy(dtype=float)
    faults = []
    if not np.isfinite(values).all():
        faults.append(Fault("value", "a number that is not finite", "finite numbers"))
    if len(set(parts)) < 2:
        faults.append(Fault("parts", f"{len(set(parts))}", "two at least, better ten"))
    if len(set(parts)) == len(parts):
        faults.append(Fault("readings", "every part read once", "each part read twice at least"))
    raise_all(ModelError, _HEADLINE, faults)
    return parts, given["operator"].tolist(), values, notes


def _kind(parts: list[str], operators: list[str]) -> str:
    """How parts and operators lie to each other."""
    pairs = set(zip(parts, operators, strict=True))
    if len(set(operators)) == 1:
        return SINGLE
    if len(pairs) == len(set(parts)) * len(set(operators)):
        return CROSSED
    return NESTED if len(pairs) == len(set(parts)) else UNEVEN


def _sums(names: list[str]) -> list[tuple[str, list[str]]]:
    """The sums that are told, with the sources in them."""
    made = []
    operators = [name for name in (OPERATOR, BOTH) if name in names]
    if len(operators) > 1:
        made.append((OPERATORS, operators))
    if operators:
        made.append((GAUGE, [*operators, READING]))
    return [*made, (TOTAL, names)]


def _sum_row(
    name: str,
    members: list[str],
    known: dict[str, float],
    names: list[str],
    squares: StratumSquares | None,
    conf_level: float,
) -> dict[str, object]:
    """The row of a sum of components."""
    variance = sum(known[member] for member in members)
    row = {"source": name, "variance": variance, "sd": math.sqrt(variance), "note": ""}
    if squares is None:
        return {**row, "conf_low": None, "conf_high": None, "how": "", "note": "no limits where the study is uneven"}
    inverse = np.linalg.inv(squares.multipliers)
    weights = inverse[[names.index(member) for member in members]].sum(axis=0)
    low, high = component_sums.sum_limits(squares.mean_squares, squares.df, weights, conf_level=conf_level)
    return {**row, "conf_low": math.sqrt(low), "conf_high": math.sqrt(high), "how": "generalised interval"}


def _anova(squares: StratumSquares | None, names: list[str]) -> pd.DataFrame | None:
    """The analysis of variance of a balanced study, in the order of the sources."""
    if squares is None:
        return None
    rows = []
    for at, name in enumerate(names):
        # The stratum of a source is the finest one its scatter reaches.
        reached = [line for line in range(len(squares.df)) if squares.multipliers[line, at] > 0.0]
        line = min(reached, key=lambda one: int((squares.multipliers[one] > 0.0).sum()))
        mean_square, df = float(squares.mean_squares[line]), int(squares.df[line])
        rest = squares.multipliers[line].copy()
        rest[at] = 0.0
        against = [one for one in range(len(squares.df)) if one != line and np.allclose(squares.multipliers[one], rest)]
        ratio = None
        if against and squares.mean_squares[against[0]] > 0.0:
            ratio = mean_square / float(squares.mean_squares[against[0]])
        rows.append({"source": name, "df": df, "ss": mean_square * df, "ms": mean_square, "F": ratio})
    return pd.DataFrame(rows, columns=list(ANOVA), dtype=object)


def _finite(value: float) -> float | None:
    """None for a limit that is none."""
    return float(value) if math.isfinite(value) else None
