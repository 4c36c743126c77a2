"""Two-level runs without repeats: effects judged by each other, with their half-normal places and alias chains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.model import CENTRE
from toolkit.design import questions, strata
from toolkit.design import terms as model_terms
from toolkit.design.terms import Term
from toolkit.errors import ModelError
from toolkit.model import _ways_out as ways_out
from toolkit.model._estimates import Estimate, schema_row, table_of
from toolkit.model.fit import Fit
from toolkit.numeric import aliases, lenth
from toolkit.numeric.aliases import Chain
from toolkit.wording import counted, filled

ALL = "beyond the margin of all effects"
ONE = "beyond the margin of one effect"
NEITHER = "within the margins"
MORE = (
    "effect",
    "size",
    "rank",
    "place",
    "envelope_low",
    "envelope_middle",
    "envelope_high",
    "margin",
    "simultaneous_margin",
    "stands_out",
    "aliases",
)
JUDGED_BY = (
    "stratum",
    "effects",
    "start",
    "pse",
    "margin",
    "simultaneous_margin",
    "lenth_df",
    "lenth_margin",
    "lenth_simultaneous_margin",
    "conf_level",
    "drawn",
    "seed",
)
# Of an alias chain those are named that a reader may believe in; the longer ones are counted.
_NAMED = 2


@dataclass(frozen=True, eq=False)
class Unreplicated:
    """The effects of two-level runs without repeats.

    Attributes
    ----------
    table : DataFrame
        One row an effect in the schema of estimates (interactions as differences of differences; std_error is the
        pseudo standard error and the interval the margin of one effect, both on that scale), then effect (mean at
        the high less mean at the low level of the product, on the analysis scale: all of one precision), size, rank
        and place (half-normal), the band that the size of that rank keeps to when nothing has an effect, margin and
        simultaneous_margin, stands_out and aliases.
    judged_by : DataFrame
        One row a stratum: effects, the first guess and the pseudo standard error, the margins by drawing and by
        Lenth's t, with df, level, campaigns drawn and seed.
    notes : tuple of str
    """

    table: pd.DataFrame
    judged_by: pd.DataFrame
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """effects[], judged_by[] and notes[]."""
        return stamp.plain(
            {
                "effects": stamp.records(self.table),
                "judged_by": stamp.records(self.judged_by),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """The effects, then what there is to know of them."""
        return "\n".join([filled(self.table).to_string(index=False), *self.notes])


def effects(fit: Fit, *, seed: int) -> Unreplicated:
    """Every effect of two-level runs without repeats, judged by the size of the others.

    Use it where nothing is left to tell the scatter; with repeats, ``comparisons.effects`` judges by them.

    Parameters
    ----------
    fit : Fit
        Factors of two levels; centre points are left out here.
    seed : int
        Of the drawing of margins and bands.

    Returns
    -------
    Unreplicated

    Raises
    ------
    ModelError
        When a factor has more than two levels, a combination was run twice, or the runs are not a full factorial or
        a regular fraction of one; with what can be done instead.

    Notes
    -----
    Most effects are taken to be inert: their sizes give a pseudo standard error (``numeric.lenth``). Where builds are
    units, effects between builds and effects within are judged apart, each by its own kind. An effect that is the
    same as the builds that are blocks is shown and not judged.

    Checked against: k05-lenth-filtration-2x4, k05-reactor-2x5, k05-bike-2-7-4-foldover.
    """
    _refuse_levels(fit)
    brief, laid = fit.brief, fit.strata
    names = list(brief.factor_names)
    corner = ~(laid.runs[names] == CENTRE).any(axis=1).to_numpy()
    runs, y = laid.runs[corner].reset_index(drop=True), fit.y[corner]
    _refuse_repeats(fit, runs)
    codes = np.column_stack([np.where(runs[name] == brief.factor(name).names[1], 1.0, -1.0) for name in names])
    found, constant = aliases.chains(codes)
    builds = pd.factorize(runs["build_id"].astype(str))[0]
    where = [_stratum(fit, chain, builds) for chain in found]
    _refuse_uneven(fit, runs, found, where)
    # The first value goes before anything is summed: a large constant costs no digits.
    sizes = np.array([chain.column @ (y - y[0]) * 2.0 / len(y) for chain in found])
    rows: dict[int, dict[str, object]] = {}
    judged_by = []
    for stratum in dict.fromkeys(where):
        at = [place for place, name in enumerate(where) if name == stratum]
        lines, told = _judged(fit, [found[place] for place in at], sizes[at], stratum, seed)
        rows |= dict(zip(at, lines, strict=True))
        judged_by += [told] if told else []
    table = table_of([rows[place] for place in range(len(found))], MORE)
    by = pd.DataFrame(judged_by, columns=list(JUDGED_BY), dtype=object)
    return Unreplicated(table, by, _notes(fit, constant, int((~corner).sum()), bool(judged_by)))


def _judged(
    fit: Fit, chains: list[Chain], sizes: np.ndarray, stratum: str, seed: int
) -> tuple[list[dict[str, object]], dict[str, object] | None]:
    """The rows of the effects of one stratum, and what they are judged by."""
    count, level = len(chains), fit.brief.conf_level
    reason = ""
    if stratum == _BLOCKS:
        reason = "the same as the difference between builds: cannot be told from it"
    elif count < lenth.FEWEST:
        told = counted(count, "effect")
        reason = f"{told} between {stratum}s: fewer than {lenth.FEWEST} cannot be judged by each other"
    pse, start = (0.0, 0.0) if reason else lenth.pseudo_error(sizes)
    if not reason and pse == 0.0:
        reason = "half of the effects or more are exactly 0: nothing to judge by; were values copied?"
    if reason:
        return [_line(fit, chain, size, stratum, {}, reason) for chain, size in zip(chains, sizes, strict=True)], None
    drawn = lenth.null(count, seed=seed, conf_level=level)
    places = lenth.places(count)
    rank = np.argsort(np.argsort(np.abs(sizes), kind="stable"), kind="stable")
    lines = []
    for chain, size, at in zip(chains, sizes, rank, strict=True):
        beyond = ALL if abs(size) > pse * drawn.simultaneous else ONE if abs(size) > pse * drawn.margin else NEITHER
        more = {
            "rank": int(at) + 1,
            "place": float(places[at]),
            "envelope_low": float(pse * drawn.low[at]),
            "envelope_middle": float(pse * drawn.middle[at]),
            "envelope_high": float(pse * drawn.high[at]),
            "margin": pse * drawn.margin,
            "simultaneous_margin": pse * drawn.simultaneous,
            "stands_out": beyond,
            "pse": pse,
        }
        lines.append(_line(fit, chain, float(size), stratum, more, ""))
    single, every = lenth.margins(count, conf_level=level)
    values = (stratum, count, start, pse, pse * drawn.margin, pse * drawn.simultaneous, count / 3.0)
    told = (*values, pse * single, pse * every, level, drawn.drawn, seed)
    return lines, dict(zip(JUDGED_BY, told, strict=True))


def _line(
    fit: Fit, chain: Chain, effect: float, stratum: str, more: dict[str, Any], reason: str
) -> dict[str, object]:
    """One effect as a row of the table."""
    term = _term(fit, chain.effects[0])
    # An interaction as a difference of differences is twice the effect for each factor beyond the first.
    twice = 2.0 ** (len(term) - 1)
    value = float(effect) * twice
    one = Estimate(value, strata=stratum if stratum != _BLOCKS else "build").noted(reason)
    if more:
        half = more["margin"] * twice
        one = Estimate(value, more["pse"] * twice, None, value - half, value + half, None, stratum)
        one = one.noted("judged by the size of the other effects: pseudo standard error, margin by drawing")
    words = questions.of_term(fit.brief, term, fit.strata.terms)[0].contrast
    row = schema_row(fit, one, words, term=model_terms.name_of(term))
    own = {"effect": float(effect), "size": abs(float(effect)), "aliases": _aliases(fit, chain)}
    return {**row, **{name: (more | own).get(name) for name in MORE}}


def _term(fit: Fit, effect: tuple[int, ...]) -> Term:
    """The factors of an effect by name."""
    return tuple(fit.brief.factor_names[at] for at in effect)


def _aliases(fit: Fit, chain: Chain) -> str:
    """What else the effect could be, in words; empty where it stands alone."""
    rest = list(zip(chain.effects[1:], chain.signs[1:], strict=True))
    if not rest:
        return ""
    shortest = max(_NAMED, min(len(effect) for effect, _ in rest))
    named = [
        f"{'−' if sign < 0 else ''}{model_terms.name_of(_term(fit, effect))}"
        for effect, sign in rest
        if len(effect) <= shortest
    ]
    left = len(rest) - len(named)
    return " = ".join(named) + (f" and {left} of more factors" if left else "")


_BLOCKS = "builds as blocks"


def _stratum(fit: Fit, chain: Chain, builds: np.ndarray) -> str:
    """Where a chain is judged; empty where it is neither within builds nor between them."""
    if fit.strata.layout == strata.RANDOMISED or builds.max() == 0:
        return "run" if abs(chain.column.sum()) < 1e-9 else ""
    total = np.bincount(builds, weights=chain.column)
    if np.all(np.abs(total) < 1e-9):
        return "run"
    if np.all(np.abs(total) == np.bincount(builds)):
        return "build" if fit.strata.layout == strata.WHOLE_PLOTS else _BLOCKS
    return ""


def _refuse_levels(fit: Fit) -> None:
    """Stop where a factor has more than two levels."""
    more = [f"{factor.name} ({len(factor.levels)})" for factor in fit.brief.factors if len(factor.levels) != 2]
    if more:
        raise ModelError(
            f"{fit.response.name}: effects are judged by each other only where every factor has two levels; more have "
            f"{', '.join(more)}. Repeat runs, or declare an interaction nil in [plan] nil_interactions: that leaves an "
            f"error to judge by."
        )


def _refuse_repeats(fit: Fit, runs: pd.DataFrame) -> None:
    """Stop where a combination was run twice."""
    names = list(fit.brief.factor_names)
    groups = [part["run_id"].tolist() for _, part in runs.groupby(names, sort=False) if len(part) > 1]
    if groups:
        raise ModelError(
            f"{fit.response.name}: combinations were run more than once ({', '.join(map(str, groups[0]))}"
            f"{f' and {len(groups) - 1} more' if len(groups) > 1 else ''}), so effects are not judged by each other: "
            f"repeats tell the scatter where they lie within one build or builds do not matter."
        )


def _refuse_uneven(fit: Fit, runs: pd.DataFrame, chains: list[Chain], where: list[str]) -> None:
    """Stop where the effects do not stand apart from each other and from the builds."""
    columns = np.array([chain.column for chain in chains])
    apart = columns @ columns.T - len(runs) * np.eye(len(chains)) if len(chains) else np.zeros((0, 0))
    if len(chains) and "" not in where and np.all(np.abs(apart) < 1e-9):
        return
    missing = ways_out.missing_combinations(fit.strata)
    lost = f" (no run of {ways_out.listed(missing)})" if missing else ""
    raise ModelError(
        f"{fit.response.name}: {counted(len(runs), 'run')} make neither a full factorial nor a regular fraction of "
        f"one{lost}, so the effects mix and cannot be judged by each other. Run what is missing; or declare "
        f"interactions nil in [plan] nil_interactions, which leaves an error to judge by. Estimates without an "
        f"interval stand in the table of effects."
    )


def _notes(fit: Fit, constant: Chain, centres: int, judged: bool) -> tuple[str, ...]:
    """What the reader must know beside the table."""
    told = []
    if judged:
        told.append(
            f"nothing was repeated: effects are judged by the size of the others, most of which are taken to be "
            f"inert; the margins are drawn ({lenth.DRAWN} campaigns without any effect), Lenth's t beside them"
        )
    if constant.effects:
        words = [
            f"{'−' if sign < 0 else ''}{model_terms.name_of(_term(fit, effect))}"
            for effect, sign in zip(constant.effects, constant.signs, strict=True)
        ]
        more = f" and {len(words) - ways_out.SHOWN} more" if len(words) > ways_out.SHOWN else ""
        told.append(f"a fraction: I = {' = '.join(words[: ways_out.SHOWN])}{more}; each effect stands for its chain")
    if centres:
        told.append(f"{centres} centre points are left out here: they tell scatter and curvature in the other tables")
    return tuple(told)
