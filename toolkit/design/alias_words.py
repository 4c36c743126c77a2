"""What else each effect of a set of runs could be: the signed alias table in the factors' own names (rank 3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction as Share
from itertools import combinations

import numpy as np
import pandas as pd

from toolkit.brief.model import Comparison
from toolkit.design import base
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE, Term
from toolkit.numeric import aliases, contrasts

# Of a long list so many are written out in a sentence; the table holds all.
_WRITTEN_OUT = 4
_FEWEST_PARTS = 24
_NONE = 1e-9
_UP_TO = 2


@dataclass(frozen=True)
class AliasLine:
    """One effect of the model and what its estimate takes in besides.

    Attributes
    ----------
    term : Term
    others : tuple of (Term, share)
        Interactions left out of the model that its estimate takes in: 1 or -1 wholly, otherwise in part; None where one
        of the two has several degrees of freedom. Shares are of effects: mean at the high less mean at the low level.
    estimable : bool
        False where these runs cannot tell the effect at all.
    up_to : int
        Interactions of more factors were not looked at.
    """

    term: Term
    others: tuple[tuple[Term, float | None], ...]
    estimable: bool
    up_to: int

    @property
    def clear(self) -> bool:
        """True when it can be told and takes in nothing else."""
        return self.estimable and not self.others

    @property
    def chain(self) -> str:
        """What is told, signed: 'pin + oil × load − 1/3 soot × speed'; all of it, however long."""
        return model_terms.name_of(self.term) + "".join(f" {_signed(*item)}" for item in self.others)

    @property
    def sentence(self) -> str:
        """The line as a sentence."""
        name = model_terms.name_of(self.term)
        if not self.estimable:
            return f"{name} cannot be told from these runs."
        if not self.others:
            return f"{name} stands clear of {_looked_at(self.up_to)}."
        told = " ".join(_signed(*item, words=True) for item in self.others[:_WRITTEN_OUT])
        left = len(self.others) - _WRITTEN_OUT
        more = f", and {left} more in part or whole" if left > 0 else ""
        return f"What is told as {name} is {name} {told}{more}: these runs cannot tell them apart."

    def to_dict(self) -> dict[str, object]:
        """term, chain, clear and sentence."""
        return {
            "term": model_terms.name_of(self.term),
            "chain": self.chain,
            "clear": self.clear,
            "sentence": self.sentence,
        }


def of_strata(laid: Strata, *, up_to: int = _UP_TO) -> tuple[AliasLine, ...]:
    """What each term of the model is aliased with in these runs, regular or not.

    Parameters
    ----------
    laid : Strata
        As planned or as run.
    up_to : int
        Interactions of so many factors are looked at.

    Returns
    -------
    tuple of AliasLine
        In the order of the model; without the curvature of centre points.

    Notes
    -----
    The alias matrix of ``numeric.aliases.shares``, with fixed blocks and covariates in the model.

    Checked against: chains of regular fractions and the thirds of twelve runs, tests/unit/design/test_alias_words.py.
    """
    told = {term: _estimable(laid, term) for term in laid.terms if term != CURVATURE}
    kept = np.ones(laid.full_columns.shape[1], dtype=bool)
    for term, can in told.items():
        kept[laid.spans[term]] = can
    for term in laid.terms:
        if term == CURVATURE:
            kept[laid.spans[term]] = False
    names = laid.brief.factor_names
    others = [
        term
        for size in range(1, up_to + 1)
        for term in combinations(names, size)
        if not told.get(term, False)
    ]
    model = laid.full_columns[:, kept]
    if not others or contrasts.rank(model) < model.shape[1]:
        return tuple(AliasLine(term, (), can, up_to) for term, can in told.items())
    columns, spans = model_terms.columns(laid.brief, laid.runs, others)
    found = aliases.shares(model, columns[:, 1:])
    place = np.cumsum(kept) - 1
    made = []
    for term, can in told.items():
        rows = place[laid.spans[term]] if can else place[:0]
        block = {other: found[rows, spans[other].start - 1 : spans[other].stop - 1] for other in others}
        taken = tuple(
            (other, _share(laid, term, other, part)) for other, part in block.items() if can and np.any(part)
        )
        made.append(AliasLine(term, taken, can, up_to))
    return tuple(made)


def table(lines: Sequence[AliasLine]) -> pd.DataFrame:
    """The alias table: term, chain, clear, sentence, a row a line.

    Notes
    -----
    Checked against: tests/unit/design/test_alias_words.py.
    """
    columns = ["term", "chain", "clear", "sentence"]
    return pd.DataFrame([line.to_dict() for line in lines], columns=columns)


def notes(laid: Strata) -> dict[Term, str]:
    """Term to what its estimate stands for besides, where the design runs a part of the combinations.

    Parameters
    ----------
    laid : Strata
        As planned or as run.

    Returns
    -------
    dict of Term to str
        Nothing for terms that stand clear, and nothing for full factorials.

    Notes
    -----
    Checked against: tests/unit/design/test_alias_words.py.
    """
    if not base.part(laid.brief):
        return {}
    return {line.term: _note(line) for line in of_strata(laid) if line.others}


def note_of(
    laid: Strata, row: np.ndarray, told: Mapping[Term, str], comparison: Comparison | None = None
) -> str:
    """What a contrast stands for besides, from the notes of the terms it is made of; empty when it stands clear.

    Of a comparison of combinations it says too which interactions of their factors it takes as nil, because these runs
    do not tell them under their own name.

    Notes
    -----
    Checked against: tests/unit/design/test_alias_words.py.
    """
    made = [
        told[term]
        for term, span in laid.spans.items()
        if term in told and np.any(np.abs(row[span]) > _NONE)
    ]
    left_out = [] if comparison is None else _left_out(laid, comparison)
    if left_out:
        made.append(f"takes {' and '.join(left_out)} as nil, which these runs do not tell by itself")
    return "; ".join(made)


def _left_out(laid: Strata, comparison: Comparison) -> list[str]:
    """Interactions of two that a comparison of combinations would hold, were they in the model."""
    if not base.part(laid.brief):
        return []
    named = [name for name in laid.brief.factor_names if name in comparison.of]
    found = []
    for pair in combinations(named, 2):
        rows = [model_terms.row(laid.brief, [pair], levels) for levels in (comparison.of, comparison.against)]
        if pair not in laid.terms and np.any(np.abs(rows[0] - rows[1]) > _NONE):
            found.append(model_terms.name_of(pair))
    return found


def summary(laid: Strata) -> str:
    """What stands clear in these runs, in a line; empty for full factorials.

    Notes
    -----
    Checked against: tests/unit/design/test_alias_words.py.
    """
    if not base.part(laid.brief):
        return ""
    lines = [line for line in of_strata(laid) if len(line.term) <= _UP_TO]
    clear = [line.term for line in lines if line.clear]
    if not clear:
        return "no effect stands clear of every interaction of two factors; what each could also be: plan.html"
    main = [term for term in clear if len(term) == 1]
    named = [model_terms.name_of(term) for term in clear if len(term) > 1]
    told = (
        ["every main effect"]
        if len(main) == len(laid.brief.factors)
        else [model_terms.name_of(term) for term in main]
    )
    pairs = len(laid.brief.factors) * (len(laid.brief.factors) - 1) // 2
    told += [f"every interaction of two ({pairs})"] if named and len(named) == pairs else named
    rest = "" if len(clear) == len(lines) else "; what the others could also be: plan.html"
    return f"clear of {_looked_at(_UP_TO)}: {', '.join(told)}{rest}"


def builds_words(laid: Strata) -> str:
    """Which interactions of two factors are given up to the differences between builds, in words; empty when none is.

    Notes
    -----
    Checked against: tests/unit/design/test_alias_words.py.
    """
    if not laid.blocked or laid.block_columns.shape[1] == 0:
        return ""
    lost = []
    blocks = np.column_stack([np.ones(len(laid.runs)), laid.block_columns])
    for term in combinations(laid.brief.factor_names, 2):
        columns, _ = model_terms.columns(laid.brief, laid.runs, [term])
        if contrasts.rank(np.hstack([blocks, columns[:, 1:]])) == contrasts.rank(blocks):
            lost.append(model_terms.name_of(term))
    if not lost:
        return ""
    return f"{', '.join(lost)}: the same as a difference between builds, so given up to it; no run can tell them."


def _note(line: AliasLine) -> str:
    """One line as a note beside an estimate."""
    if len(line.others) <= _WRITTEN_OUT:
        return f"stands for {line.chain}: these runs cannot tell them apart"
    sizes = [abs(share) for _, share in line.others if share is not None]
    most = f", {max(sizes):.2g} of one at most" if sizes else ""
    name = model_terms.name_of(line.term)
    return f"{name} takes in a part of {len(line.others)} interactions of two factors{most}"


def _estimable(laid: Strata, term: Term) -> bool:
    """True when every degree of freedom of a term can be told."""
    span = laid.spans[term]
    rows = np.eye(laid.full_columns.shape[1])[span]
    return bool(np.all(contrasts.estimable(rows, laid.full_columns)))


def _share(laid: Strata, term: Term, other: Term, part: np.ndarray) -> float | None:
    """The share of effects from that of columns: a sum-coded column of two levels is 1 at the first, low level."""
    if part.shape != (1, 1):
        return None
    turned = (-1.0) ** sum(name not in base.sloped(laid.brief) for name in (*term, *other))
    return float(part[0, 0]) * turned


def _signed(term: Term, share: float | None, *, words: bool = False) -> str:
    """One alias with its sign and share: '+ oil × load', 'minus 1/3 of oil × load'."""
    name = model_terms.name_of(term)
    if share is None:
        return f"{'plus' if words else '+'} a part of {name}"
    sign = ("plus", "minus") if words else ("+", "−")
    size = abs(share)
    text = ""
    if abs(size - 1.0) > 1e-9:
        near = Share(size).limit_denominator(_FEWEST_PARTS)
        text = f"{near}" if abs(float(near) - size) < 1e-9 else f"{size:.2g}"
        text += " of " if words else " "
    return f"{sign[share < 0.0]} {text}{name}"


def _looked_at(up_to: int) -> str:
    """What was looked at, in words."""
    most = {1: "every other main effect", 2: "every other main effect and every interaction of two factors"}
    return most.get(up_to, f"every other effect of up to {up_to} factors")
