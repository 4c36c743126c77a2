"""The answers as they would be otherwise: at equal covariates, without a common scatter, with the gauge counted; and
where a verdict would be another one (rank 7)."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.decide import carried_over as after_another
from toolkit.decide import verdict
from toolkit.decide.carried_over import CarriedOver
from toolkit.decide.equal import Equal
from toolkit.decide.recovered import BASIS, Recovered
from toolkit.model.gauge_error import GaugeError
from toolkit.model.group_spread import GroupSpread
from toolkit.wording import joined

COLUMNS = ("response", "comparison", "basis", "verdict", "verdict_then", "differs", "sentence")
SEPARATE, GAUGE = "without a common scatter", "with the gauge's scatter counted"


@dataclass(frozen=True, eq=False)
class Otherwise:
    """Other ways to answer beside the one that is judged; none of them changes a verdict.

    Attributes
    ----------
    equal : Equal or None
        The declared covariates; None where none is declared.
    spread : GroupSpread or None
        Whether levels scatter alike; None where the response was not analysed.
    gauge : GaugeError or None
        The gauge beside the scatter; None on the linear scale.
    verdicts : DataFrame
        response, comparison, basis, verdict (as judged; None where the response was not analysed), verdict_then,
        differs, sentence (with estimate and interval on that basis).
    recovered : Recovered or None
        Differences between builds counted too; None where builds are not incomplete blocks.
    carried_over : CarriedOver or None
        What the run before left behind; None where the plan is not balanced for it.
    """

    response: str
    equal: Equal | None
    spread: GroupSpread | None
    gauge: GaugeError | None
    verdicts: pd.DataFrame
    recovered: Recovered | None = None
    carried_over: CarriedOver | None = None

    @property
    def tables(self) -> tuple[tuple[str, pd.DataFrame], ...]:
        """Every basis with its comparisons, in the schema of estimates; none that is empty."""
        made = []
        if self.equal is not None:
            made.append((self.equal.basis, self.equal.beside))
        if self.spread is not None:
            made.append((SEPARATE, self.spread.comparisons))
        if self.gauge is not None:
            made.append((GAUGE, self.gauge.comparisons))
        if self.recovered is not None:
            made.append((BASIS, self.recovered.comparisons))
        if self.carried_over is not None:
            made.append((after_another.BASIS, self.carried_over.comparisons))
        return tuple((basis, table) for basis, table in made if len(table))

    @property
    def sentences(self) -> tuple[str, ...]:
        """Covariates, scatter and gauge in words, then where a verdict would be another one."""
        lines = list(self.equal.sentences) if self.equal else []
        lines += list(self.spread.notes) if self.spread else []
        lines += [self.gauge.sentence] if self.gauge is not None and self.gauge.near else []
        lines += [self.recovered.sentence] if self.recovered is not None else []
        lines += [self.carried_over.sentence] if self.carried_over is not None else []
        return (*lines, *_changed(self.verdicts))

    def to_json(self) -> dict[str, Any]:
        """covariates, spread, gauge, carried_over, verdicts[], sentences[]."""
        return stamp.plain(
            {
                "covariates": self.equal.to_json() if self.equal else None,
                "spread": self.spread.to_json() if self.spread else None,
                "gauge": self.gauge.to_json() if self.gauge else None,
                "carried_over": self.carried_over.to_json() if self.carried_over else None,
                "verdicts": stamp.records(self.verdicts),
                "sentences": list(self.sentences),
            }
        )

    def _repr_html_(self) -> str:
        """The sentences."""
        return "<ul>" + "".join(f"<li>{html.escape(line)}</li>" for line in self.sentences) + "</ul>"

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def otherwise(
    brief: Brief,
    response: str,
    judged: pd.DataFrame,
    *,
    equal: Equal | None = None,
    spread: GroupSpread | None = None,
    gauge: GaugeError | None = None,
    recovered: Recovered | None = None,
    carried_over: CarriedOver | None = None,
) -> Otherwise:
    """Every other way to answer that was worked out, its verdicts beside those that count.

    Parameters
    ----------
    brief : Brief
    response : str
    judged : DataFrame
        The verdicts, as ``verdict.verdicts`` gives them; empty where the response was not analysed.
    equal, spread, gauge, recovered, carried_over : optional

    Returns
    -------
    Otherwise
    """
    none = pd.DataFrame(columns=list(COLUMNS), dtype=object)
    made = Otherwise(response, equal, spread, gauge, none, recovered, carried_over)
    known = {} if judged.empty else dict(zip(judged["comparison"], judged["verdict"], strict=True))
    rows: list[dict[str, object]] = []
    for basis, table in made.tables:
        for row in verdict.verdicts(table, brief).to_dict("records"):
            name, now = row["comparison"], known.get(row["comparison"])
            differs = now is not None and now != row["verdict"]
            values = (response, name, basis, now, row["verdict"], differs, row["sentence"])
            rows.append(dict(zip(COLUMNS, values, strict=True)))
    return replace(made, verdicts=pd.DataFrame(rows, columns=list(COLUMNS), dtype=object))


def _changed(table: pd.DataFrame) -> Sequence[str]:
    """Which verdicts would be others, a line each; one line when none would."""
    told = table[table["verdict"].notna()]
    if told.empty:
        return ()
    lines = [
        f"{row['comparison']}: '{row['verdict']}' as judged, '{row['verdict_then']}' {row['basis']}"
        for row in told[told["differs"].astype(bool)].to_dict("records")
    ]
    bases = list(dict.fromkeys(told["basis"]))
    same = joined(bases)
    return lines or [f"Every verdict stays the same {same}."]
