"""Each comparison weighed against its worthwhile change: chances, equivalence, not being worse, runs to settle it.

Rank 7. None of it is a verdict and none changes one: the verdict rests on the interval alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief, Comparison, Response, gain_sign
from toolkit.model import chances as model_chances
from toolkit.model import equivalence as model_equivalence
from toolkit.model import settling
from toolkit.model.fit import Fit

# So many complete builds or replicates more is beyond what a rig is given; where they would not do, that is told.
MOST = 12
CAUTION = (
    "Chances are shares of the confidence distribution: given these runs and this model, and no knowledge from before. "
    "Equivalent and no worse are claims of their own (interval at 1 - 2 alpha), never verdicts. Runs that are added "
    "because of what was seen leave the interval below its level, unless looks were planned."
)


@dataclass(frozen=True, eq=False)
class Weighed:
    """The comparisons of one response weighed against their worthwhile changes.

    Attributes
    ----------
    brief : Brief
    response : Response
    chances : DataFrame
        See ``model.chances``.
    equivalence : DataFrame
        See ``model.equivalence``.
    settling : DataFrame
        See ``model.settling.settle``; at most 12 more builds or replicates are tried.
    """

    brief: Brief
    response: Response
    chances: pd.DataFrame
    equivalence: pd.DataFrame
    settling: pd.DataFrame

    @property
    def sentences(self) -> dict[str, str]:
        """Comparison to what is told of it in one line; empty where nothing can be."""
        return {item.name: self._line(item) for item in self.brief.comparisons}

    def chance(self, name: str) -> str:
        """The chance that the true change is at least the worthwhile one, in words; empty where it is not told."""
        row = self._row(self.chances, name)
        comparison = next(item for item in self.brief.comparisons if item.name == name)
        if row["chance_gain"] is None:
            return ""
        if row["chance_worthwhile"] is None:
            return "" if comparison.interaction else f"chance of any gain: {percent(row['chance_gain'])}"
        low, high = band(self.response, comparison, float(row["worthwhile"]))
        if comparison.interaction:
            return f"chance that it lies between {low} and {high}: {percent(row['chance_between'])}"
        gain, loss = (low, high) if gain_sign(self.response) < 0 else (high, low)
        told = f"chance of truly at least {gain}: {percent(row['chance_worthwhile'])}"
        if comparison.direction == "either":
            told += f", at least {loss}: {percent(row['chance_worthwhile_loss'])}"
        return told

    def claims(self, name: str) -> tuple[str, ...]:
        """Equivalence and not being worse, in words with the band each is judged by; none where it cannot be told."""
        rows = self.equivalence[self.equivalence["comparison"] == name].to_dict("records")
        comparison = next(item for item in self.brief.comparisons if item.name == name)
        margin = self._row(self.chances, name)["worthwhile"]
        if margin is None:
            return ()
        low, high = band(self.response, comparison, float(margin))
        worse = high if gain_sign(self.response) < 0 else low
        told, edge = [], self.brief.alpha / 2.0
        for row in rows:
            if row["shown"] is None:
                continue
            what = (
                f"equivalent (within {low} to {high})"
                if row["claim"] == model_equivalence.EQUIVALENT
                else f"no worse than {worse}"
            )
            level = f"by the {100 * float(row['conf_level']):g} % interval"
            # Of two one-sided tests at alpha the wider interval of the verdict asks for alpha / 2.
            open_yet = row["claim"] == model_equivalence.EQUIVALENT and row["shown"] and row["p_value"] >= edge
            wider = ", not by the wider one of the verdict" if open_yet else ""
            told.append(f"{what}: {'shown' if row['shown'] else 'not shown'} {level}{wider}")
        return tuple(told)

    def runs_more(self, name: str) -> str:
        """How many more runs would settle it, in words without name and caution; empty where it is settled."""
        row = self._row(self.settling, name)
        if row["settled"] is None or row["settled"]:
            return ""
        told = str(row["sentence"]).removeprefix(f"{name}: ").replace(f" {row['settled_by']}", "")
        told = told.partition(". Runs that are added")[0].partition("; the best of them")[0]
        return told.replace("no number up to ", "even ").replace(" more settles it ", " more would not settle it ")

    def to_json(self) -> dict[str, Any]:
        """chances[], equivalence[], settling[]."""
        return stamp.plain(
            {
                "chances": stamp.records(self.chances),
                "equivalence": stamp.records(self.equivalence),
                "settling": stamp.records(self.settling),
            }
        )

    def _line(self, comparison: Comparison) -> str:
        """All that is told of one comparison, in one line."""
        parts = [part for part in (self.chance(comparison.name), *self.claims(comparison.name)) if part]
        more = self.runs_more(comparison.name)
        parts += [more] if more else []
        return f"{comparison.name}: {'; '.join(parts)}." if parts else ""

    def _row(self, table: pd.DataFrame, name: str) -> dict[str, Any]:
        """The row of one comparison."""
        return table[table["comparison"] == name].iloc[0].to_dict()

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences.values())


def weighed(fit: Fit) -> Weighed:
    """Each comparison of a response weighed against its worthwhile change.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    Weighed
    """
    return Weighed(
        fit.brief,
        fit.response,
        model_chances.chances(fit),
        model_equivalence.equivalence(fit),
        settling.settle(fit, most=MOST),
    )


def band(response: Response, comparison: Comparison, margin: float) -> tuple[str, str]:
    """Both edges of the band of changes too small to matter, the lower one first: ('20 % less', '25 % more').

    Parameters
    ----------
    response : Response
    comparison : Comparison
    margin : float
        The worthwhile change on the analysis scale, above 0.
    """
    if response.scale != "log":
        edges = (-margin, margin)
        if comparison.interaction:
            return tuple(f"{edge:+.3g} {response.measured_in}".rstrip() for edge in edges)  # type: ignore[return-value]
        unit = f" {response.measured_in}".rstrip()
        return f"{margin:.3g}{unit} less", f"{margin:.3g}{unit} more"
    if comparison.interaction:
        return f"{math.exp(-margin):.3g}", f"{math.exp(margin):.3g}"
    low, high = (100.0 * math.expm1(edge) for edge in (-margin, margin))
    return f"{-low:.3g} % less", f"{high:.3g} % more"


def percent(share: float) -> str:
    """A chance as text: '93 %', never rounded to certainty or to nothing."""
    value = 100.0 * float(share)
    return "over 99 %" if value > 99.0 else "under 1 %" if value < 1.0 else f"{value:.0f} %"
