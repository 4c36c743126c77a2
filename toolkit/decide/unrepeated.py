"""Runs without a degree of freedom of error: effects judged by each other in place of verdicts (rank 7)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Response
from toolkit.errors import ModelError
from toolkit.model import unreplicated
from toolkit.model.fit import Fit
from toolkit.model.unreplicated import ALL, NEITHER, ONE, Unreplicated

NO_VERDICT = "Nothing in these runs tells their scatter: estimates stand without intervals, and no verdict is possible"


@dataclass(frozen=True, eq=False)
class Unrepeated:
    """What runs that leave no error can still say.

    Attributes
    ----------
    response : Response
    effects : Unreplicated or None
        Effects judged by the size of the others; None where that is not possible either.
    why_not : str
        Why not, with what can be done; empty where it is.
    """

    response: Response
    effects: Unreplicated | None
    why_not: str

    @property
    def judged(self) -> bool:
        """True where at least one effect was judged by the others."""
        return self.effects is not None and len(self.effects.judged_by) > 0

    @property
    def sentences(self) -> tuple[str, ...]:
        """That there is no verdict, which effects stand out, and what else each of them could be."""
        if self.effects is None:
            return (f"{NO_VERDICT}.", self.why_not)
        lines = [f"{NO_VERDICT}. What can be said instead rests on most effects being nil:"]
        level = None if not self.judged else 100.0 * float(self.effects.judged_by["conf_level"].iloc[0])
        rows = self.effects.table.sort_values("size", ascending=False, kind="stable").to_dict("records")
        told_of = {
            ALL: "beyond what the largest of all effects reaches by chance",
            ONE: "beyond what one effect alone reaches by chance, not the largest of all",
        }
        for kind, told in told_of.items():
            lines += [self._line(row, f"{told} ({level:g} %)") for row in rows if row["stands_out"] == kind]
        if self.judged and all(row["stands_out"] in (NEITHER, None) for row in rows):
            count = sum(row["stands_out"] is not None for row in rows)
            lines.append(f"none of the {count} effects stands out from the others; that is not 'no effect'.")
        if not self.judged:
            lines += list(dict.fromkeys(str(row["note"]) for row in rows if row["note"]))
        return tuple(lines)

    def to_json(self) -> dict[str, Any]:
        """effects[], judged_by[] and notes[] as ``Unreplicated`` gives them, sentences[] and why_not."""
        found = self.effects.to_json() if self.effects else {"effects": [], "judged_by": [], "notes": []}
        return stamp.plain({**found, "sentences": list(self.sentences), "why_not": self.why_not or None})

    def _line(self, row: dict[str, Any], told: str) -> str:
        """One effect that stands out."""
        chain = str(row["aliases"]).replace(" = ", ", ")
        as_well = f"; the runs cannot tell it from {chain}" if row["aliases"] else ""
        kind = "a ratio of ratios, " if self.response.scale == "log" else "a difference of differences, "
        kind = kind if " × " in str(row["term"]) else ""
        return f"{row['term']}: {change(row, self.response)}, {kind}{told}{as_well}."

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def change(row: dict[str, Any], response: Response) -> str:
    """An effect as people read it: '−32 %', '× 0.83' for an interaction (a ratio of ratios), or in its unit.

    Parameters
    ----------
    row : dict
        Of ``Unreplicated.table``.
    response : Response
    """
    crossed = " × " in str(row["term"])
    if response.scale != "log":
        return f"{row['estimate']:+.3g} {response.measured_in}".replace("-", "−").rstrip()
    if crossed:
        return f"× {row['estimate']:.3g}"
    return f"{row['change_pct']:+.3g} %".replace("-", "−")


def unrepeated(fit: Fit, effects: pd.DataFrame) -> Unrepeated | None:
    """What runs without an error can still say; None where anything has an interval or an error is known.

    Parameters
    ----------
    fit : Fit
    effects : DataFrame
        Of the same fit, as ``model.comparisons.effects`` gives them.

    Returns
    -------
    Unrepeated or None
        The seed of the brief draws the margins.
    """
    if any(value is not None for value in effects["std_error"]) or any(item.error_df for item in fit.strata.strata):
        return None
    try:
        return Unrepeated(fit.response, unreplicated.effects(fit, seed=fit.brief.seed), "")
    except ModelError as problem:
        return Unrepeated(fit.response, None, str(problem))
