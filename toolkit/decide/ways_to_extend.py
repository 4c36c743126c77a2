"""Which extension would tell more of what is asked: mirror images, axial points, make-up runs, the same (rank 7).

Each is laid out as it would be planned, judged beside the runs made, and priced; what does nothing for what is asked
is counted and left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief import by_position, checks, designs, extension_lines, extensions
from toolkit.brief.model import Brief, Comparison, Extension
from toolkit.decide import as_far_as, next_runs
from toolkit.design import alias_words, base, chosen, joined_words, make_up, phases, questions, strata, units
from toolkit.design.design import Design
from toolkit.design.strata import Strata
from toolkit.errors import DesignError, ModelError
from toolkit.model import anova
from toolkit.model.fit import Fit
from toolkit.size import money
from toolkit.wording import counted, joined

COLUMNS = ("way", "runs", "hours", "cost", "frees", "tells", "settles", "half_width_factor", "why", "lines")
_MOST_SETS = 12
_MOST_FOLDED = 8
_CENTRES = 3
_ALL_CLEAR = 4


@dataclass(frozen=True, eq=False)
class Ways:
    """Extensions that pay for what is asked, those that do most for their price first.

    Attributes
    ----------
    table : DataFrame
        way, runs, hours, cost, frees (comparisons that stand for themselves then), tells (comparisons and effects that
        can be told only then), settles (if the estimates stay), half_width_factor (comparison to the half-width after
        over that now), why in words, lines (for campaign.toml).
    tried : int
        How many were looked at.
    sentences : tuple of str
    """

    table: pd.DataFrame
    tried: int
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """ways[], tried, sentences[]."""
        return stamp.plain(
            {"ways": stamp.records(self.table), "tried": self.tried, "sentences": list(self.sentences)}
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def ways(brief: Brief, fit: Fit, verdicts: pd.DataFrame) -> Ways:
    """The extensions that would tell more of what is asked than the runs made do.

    Parameters
    ----------
    brief : Brief
        As campaign.toml has it.
    fit : Fit
        Of the response the decision rests on, over the runs of the phases made.
    verdicts : DataFrame
        As ``verdict.verdicts`` gives them.

    Returns
    -------
    Ways

    Notes
    -----
    The variance of each comparison is formed over the runs made and the further ones, with the phases as blocks: by
    least squares, at the mean squares of the units it is judged by, where these have one; by likelihood (Kenward and
    Roger) elsewhere. The scatter is taken as it is now, its degrees of freedom as they would be.

    Checked against: alias chains by hand, variances by numpy alone, tests/unit/decide/test_ways_to_extend.py.
    """
    if (fit.strata.runs.get("phase", pd.Series(dtype=object)) == "extension").any():
        told = "An extension is in already; further runs are a campaign of their own, sized from this one's scatter."
        return Ways(pd.DataFrame(columns=list(COLUMNS)), 0, (told,))
    if by_position.divided(brief):
        told = "Where positions of a run hold parts of their own an extension is not covered; further runs are a "
        told += "campaign of their own, sized from this one's scatter."
        return Ways(pd.DataFrame(columns=list(COLUMNS)), 0, (told,))
    if strata.layout_of_builds(brief) == strata.WHOLE_PLOTS:
        told = "Where builds are the units of a factor an extension is not covered; further builds are an amendment."
        return Ways(pd.DataFrame(columns=list(COLUMNS)), 0, (told,))
    now = {item.name: _Now.of(fit, item, verdicts) for item in brief.comparisons}
    rows, tried, settled = [], 0, set()
    still = {name for name, item in now.items() if not item.settled}
    for given in _proposed(brief, fit):
        if given.design == extensions.SAME and still <= settled:
            continue
        row = _row(replace(brief, extension=given), fit, now)
        if row is None:
            continue
        tried += 1
        # Of more of the same only the fewest that settle something new are shown.
        if given.design == extensions.SAME and (not row["settles"] or set(row["settles"]) <= settled):
            continue
        settled |= set(row["settles"]) if given.design == extensions.SAME else set()
        if row["why"]:
            rows.append(row)
    rows.sort(key=_worth)
    return Ways(pd.DataFrame(rows, columns=list(COLUMNS), dtype=object), tried, _sentences(rows, tried))


@dataclass(frozen=True, eq=False)
class _Now:
    """A comparison as it stands."""

    item: Comparison
    variance: float | None
    df: float
    gain: float | None
    margin: float | None
    settled: bool
    rests: str

    @classmethod
    def of(cls, fit: Fit, item: Comparison, verdicts: pd.DataFrame) -> _Now:
        """As the runs made tell it."""
        laid = fit.strata
        told = verdicts.set_index("comparison").loc[item.name]
        variance, df = next_runs.variance_now(fit, questions.of_comparison(laid.brief, item, laid.terms).row)
        gain, margin = (None if pd.isna(told[key]) else float(told[key]) for key in ("gain", "worthwhile"))
        settled = told["verdict"] in next_runs.SETTLED
        return cls(item, variance, df, gain, margin, settled, _rests(laid, item))


def _rests(laid: Strata, item: Comparison) -> str:
    """What must be nil for a comparison to stand for itself."""
    row = questions.of_comparison(laid.brief, item, laid.terms).row
    return as_far_as.nil(alias_words.note_of(laid, row, alias_words.notes(laid), item))


def _proposed(brief: Brief, fit: Fit) -> list[Extension]:
    """The extensions that are looked at."""
    blocked = strata.layout_of_builds(brief) == strata.BLOCKS
    each = chosen.spread(base.alone(brief))
    made: list[Extension] = []
    kept = any(units.unit_of(brief, item) != units.RUN for item in brief.factors)
    if not kept:
        missing = make_up.lines(fit.strata)
        made += [Extension(design=extensions.MAKE_UP, combinations=missing)] if missing else []
        made += _mirrored(brief) + _freeing(brief, fit) + _axial(brief)
    made += [
        Extension(builds=count * each) if blocked else Extension(replicates=count)
        for count in range(1, _MOST_SETS + 1)
    ]
    return made


def _mirrored(brief: Brief) -> list[Extension]:
    """Fold-overs, and semifolds of those by one factor."""
    if brief.plan.design not in designs.TWO_LEVEL:
        return []
    asked = {name for item in brief.comparisons for name in (*item.of, *item.interaction)}
    names = [name for name in brief.factor_names if len(brief.factors) <= _MOST_FOLDED or name in asked]
    made = [Extension(design=extensions.FOLD)]
    for name in names:
        made.append(Extension(design=extensions.FOLD, swap=(name,)))
        other = next(item for item in reversed(brief.factors) if item.name != name)
        made.append(Extension(design=extensions.SEMIFOLD, swap=(name,), half={other.name: other.names[1]}))
    return made


def _freeing(brief: Brief, fit: Fit) -> list[Extension]:
    """Runs that free what each comparison stands for."""
    if brief.plan.design not in designs.TWO_LEVEL:
        return []
    made = []
    for item in brief.comparisons:
        differ = tuple(name for name in item.of if item.of[name] != item.against.get(name))
        effect = item.interaction or differ
        if _rests(fit.strata, item) and 1 <= len(effect) <= 2:
            made.append(Extension(design=extensions.FREEING, free=(tuple(effect),)))
    return made


def _axial(brief: Brief) -> list[Extension]:
    """Axial points, where every factor is a number at two levels."""
    if not all(item.numeric and len(item.levels) == 2 for item in brief.factors):
        return []
    count = 0 if brief.plan.centre_points else _CENTRES
    return [
        Extension(design=extensions.AXIAL, axial=kind, centre_points=count) for kind in extensions.DISTANCES[:2]
    ]


def _row(brief: Brief, fit: Fit, now: Mapping[str, _Now]) -> dict[str, Any] | None:
    """One extension, with what it does; None where it cannot be."""
    try:
        if checks.check(brief):
            return None
        design = chosen.extension(brief)
        after = _after(brief, fit, design)
    except (DesignError, ModelError):
        return None
    exact = fit.mixed is None and after.balanced
    frees, tells, settles, factors = [], [], [], {}
    for name, was in now.items():
        row = questions.of_comparison(after.brief, was.item, after.terms).row
        variance, df = next_runs.variance_over(fit, after, row, exact=exact)
        # Both sides by the same method, or the factor would be that between methods.
        same = exact or fit.mixed is not None or fit.within
        before = was.variance if same else next_runs.variance_over(fit, fit.strata, row, exact=False)[0]
        factors[name] = _factor(brief.alpha, was, before, variance, df)
        if variance is None:
            continue
        if was.variance is None:
            tells.append(name)
        elif was.rests and not _rests(after, was.item):
            frees.append(name)
        alpha = next_runs.judged_at(after, name)
        if not was.settled and next_runs.would_settle(fit, was.gain, was.margin, variance, df, alpha):
            settles.append(name)
    price = money.of_design(design) if brief.cost.items else None
    why = _why(brief, fit, after, now, frees, tells, settles)
    return {
        "way": design.name,
        "runs": design.runs,
        "hours": None if price is None else price.hours,
        "cost": None if price is None else price.cost,
        "frees": tuple(frees),
        "tells": tuple(tells),
        "settles": tuple(settles),
        "half_width_factor": factors,
        "why": why,
        "lines": extension_lines.toml(brief.extension),
    }


def _after(brief: Brief, fit: Fit, design: Design) -> Strata:
    """The strata of the runs made and those of the extension."""
    names = ["build_id", *units.id_columns(brief)[1:], *brief.factor_names]
    runs = fit.strata.runs
    made = runs[names].assign(phase=runs["phase"] if "phase" in runs else "main")
    both = pd.concat([made, design.table[names].assign(phase="extension")], ignore_index=True)
    return phases.strata_together(brief, both)


def _factor(alpha: float, was: _Now, before: float | None, variance: float | None, df: float) -> float | None:
    """The half-width after over that now; None where there is none of either."""
    if variance is None or before is None or was.df < 1 or df < 1:
        return None
    spread = float(special.stdtrit(df, 1.0 - alpha / 2.0) / special.stdtrit(was.df, 1.0 - alpha / 2.0))
    return spread * math.sqrt(variance / before)


def _why(
    brief: Brief,
    fit: Fit,
    after: Strata,
    now: Mapping[str, _Now],
    frees: Sequence[str],
    tells: Sequence[str],
    settles: Sequence[str],
) -> str:
    """What it does for what is asked, in words; empty where it does nothing."""
    parts = [f"'{name}' stands for itself then (now {now[name].rests})" for name in frees]
    parts += [f"'{name}' can be told" for name in tells]
    parts += [f"would settle {joined([repr(name) for name in settles])} if the estimates stay"] if settles else []
    shown = _curvature(fit)
    if brief.extension.design == extensions.AXIAL and shown is not None and shown < brief.alpha:
        parts.append(f"tells which factor bends: curvature is shown (p = {shown:.2g})")
    if not parts and brief.extension.design != extensions.MAKE_UP:
        return ""
    found = joined_words.gain(fit.strata, after)
    if brief.extension.design == extensions.MAKE_UP and found.told + found.clear:
        parts.append(f"tells again what missing combinations left untold: {joined([*found.clear, *found.told])}")
    if brief.extension.design in extensions.JOINED and found.clear:
        more = len(found.clear) - _ALL_CLEAR
        rest = f" and {more} more" if more > 0 else ""
        parts.append(f"clear only then: {', '.join(found.clear[:_ALL_CLEAR])}{rest}")
    return "; ".join(parts)


def _curvature(fit: Fit) -> float | None:
    """The p-value of curvature; None where there are no centre points or no error."""
    if ("curvature",) not in fit.strata.terms:
        return None
    table = anova.table(fit)
    row = table[table["term"] == "curvature"]
    value = row["p_value"].iloc[0] if len(row) else None
    return None if value is None or pd.isna(value) else float(value)


def _worth(row: Mapping[str, Any]) -> tuple[float, float]:
    """By what it does for each unit of money, or run."""
    done = 2 * len(row["tells"]) + 2 * len(row["frees"]) + len(row["settles"]) or 0.5
    paid = row["cost"] if row["cost"] else row["runs"]
    return (paid / done, row["runs"])


def _sentences(rows: Sequence[Mapping[str, Any]], tried: int) -> tuple[str, ...]:
    """The advice."""
    if not tried:
        return ("No extension of this plan is covered here.",)
    left = tried - len(rows)
    if not rows:
        return (f"No extension pays: of {tried} looked at none would tell, free or settle what is asked.",)
    best = rows[0]
    return (
        f"Of {counted(tried, 'extension')} {len(rows)} would do something for what is asked; most for its price is "
        f"{best['way']} ({counted(best['runs'], 'run')}): {best['why']}.",
        *([f"{left} would do nothing for it and are left out."] if left else []),
    )
