"""Which runs to make next: what each takes from the variance of the open comparisons, and for what money (rank 7)."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.decide import as_far_as, batches, next_words, verdict
from toolkit.design import (
    alias_words,
    in_builds,
    incomplete_blocks,
    latin,
    positions,
    questions,
    strata,
    units,
)
from toolkit.design.design import Design
from toolkit.design.strata import Strata
from toolkit.errors import DesignError, ModelError
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import mixed
from toolkit.model._estimates import of_row
from toolkit.model.fit import Fit
from toolkit.numeric import weighted_t
from toolkit.size import money, promise
from toolkit.size.money import Price

SETTLED = ("worthwhile gain", "worthwhile loss", "smaller than worthwhile")
COLUMNS = ("what", "where", "runs", "hours", "cost", "variance_taken", "half_width_factor", "settles", "score", "note")


@dataclass(frozen=True, eq=False)
class NextRuns:
    """Candidate batches of further runs, the one that takes most for its price first.

    Attributes
    ----------
    table : DataFrame
        what (the combinations), where (a build, or a new one), runs, hours, cost, variance_taken (mean over the open
        comparisons of the share of the variance that goes; 1 where one becomes estimable), half_width_factor
        (comparison to the half-width after over the half-width now; None where there is none now), settles
        (comparisons whose verdict would be settled if the estimates stayed), score (variance taken per unit of
        money, per run without prices), note.
    open : tuple of str
        Comparisons whose verdict is not settled.
    sentence : str
    rests : mapping of str to str
        Comparison to what must be nil for it to stand for itself; further runs of the same combinations do not change
        that.
    currency : str
        Of the costs.
    """

    response: str
    table: pd.DataFrame
    open: tuple[str, ...]
    sentence: str
    rests: Mapping[str, str] = field(default_factory=dict)
    currency: str = ""

    @property
    def cost_head(self) -> str:
        """What a column of costs is called: 'cost (EUR)'."""
        return f"cost ({self.currency})" if self.currency else "cost"

    def settled_by(self, row: Mapping[str, Any]) -> str:
        """The comparisons that a candidate would settle, each with what must be nil for it even then."""
        return ", ".join(f"{name} ({self.rests[name]})" if self.rests.get(name) else name for name in row["settles"])

    def to_json(self) -> dict[str, Any]:
        """response, open[], sentence, candidates[]."""
        return stamp.plain(
            {
                "response": self.response,
                "open": list(self.open),
                "sentence": self.sentence,
                "candidates": stamp.records(self.table),
            }
        )

    def __repr__(self) -> str:
        """The sentence."""
        return self.sentence

    def _repr_html_(self) -> str:
        """The sentence."""
        return f"<p>{html.escape(self.sentence)}</p>"


@dataclass(frozen=True, eq=False)
class _Now:
    """An open comparison as it stands: its contrast, gain, verdict and margin."""

    name: str
    row: np.ndarray
    gain: float | None
    margin: float | None
    variance: float | None
    df: float


def next_runs(fit: Fit, verdicts: pd.DataFrame) -> NextRuns:
    """The further runs that would tell most about what is still open, singly, in pairs and as whole blocks.

    Parameters
    ----------
    fit : Fit
        Of the response the decision rests on.
    verdicts : DataFrame
        As ``verdict.verdicts`` gives them.

    Returns
    -------
    NextRuns

    Notes
    -----
    A batch is laid beside the runs made, and each open comparison's variance c'(X'X)^-1 c is formed anew (one run x
    takes (c'Cx)^2 / (1 + x'Cx), H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961). Builds stay
    fixed blocks, so a single run in a build of its own takes nothing. The last build is the only one that still
    stands; where factors have the build as their unit only whole sets of builds keep the tests exact. The error SD
    is taken as it is now, its degrees of freedom as they would be.

    Checked against: the closed form for one run, value-of-information figures of a 2x2 in two blocks,
    tests/unit/decide/test_next_runs.py.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> from toolkit.decide import verdict
    >>> from toolkit.model import comparisons
    >>> told = verdict.verdicts(comparisons.comparisons(found), campaign.brief)
    >>> further = next_runs(found, told)
    >>> further.open
    ('ground sprocket', 'friction-modified oil')
    >>> best = further.table.iloc[0]
    >>> f"{best['what']}: {best['cost']:,.0f} {campaign.brief.cost.currency}"
    'every combination once (4 runs): 26,400 EUR'
    """
    brief, laid = fit.strata.brief, fit.strata
    paid_in = brief.cost.currency
    named = verdicts.set_index("comparison")
    now = [
        _standing(fit, item.name, named.loc[item.name])
        for item in fit.brief.comparisons
        if named.loc[item.name, "verdict"] not in SETTLED
    ]
    # What a run gains is reckoned without builds, so nothing is promised where they are the question.
    along = [item.name for item in now if laid.estimable(item.row) and aligned_builds.why_withheld(laid, item.row)]
    now = [item for item in now if item.name not in along]
    if along and not now:
        sentence = (
            f"{fit.response.name}: {', '.join(along)} cannot be told apart from builds: no run is priced for that; run "
            f"both sides within one build."
        )
        return NextRuns(fit.response.name, pd.DataFrame(columns=list(COLUMNS)), (), sentence, currency=paid_in)
    if not now:
        none = pd.DataFrame(columns=list(COLUMNS))
        return NextRuns(fit.response.name, none, (), _settled(fit), rests_on(fit), paid_in)
    if latin.used(brief):
        # A run outside a square has a place that no other level shares.
        sentence = (
            f"{fit.response.name}: {', '.join(item.name for item in now)} stand{'s' * (len(now) == 1)} open. Only "
            f"whole squares keep builds and places apart from the levels: plan one as an extension, [extension] builds "
            f"= {in_builds.spread(brief)}."
        )
        return NextRuns(fit.response.name, pd.DataFrame(columns=list(COLUMNS)), (), sentence, rests_on(fit), paid_in)
    if units.kept(brief) and laid.units[0] == "build":
        sentence = (
            f"{fit.response.name}: {', '.join(item.name for item in now)} stand{'s' * (len(now) == 1)} open. Builds "
            f"are units of a factor and {units.PLURALS[units.kept(brief)[0]]} are kept in them: further runs beside "
            f"these are not planned here; they are a campaign of their own."
        )
        return NextRuns(fit.response.name, pd.DataFrame(columns=list(COLUMNS)), (), sentence, rests_on(fit), paid_in)
    rows, price = [], _price(laid, brief)
    for where, batch in batches.candidates(brief, laid):
        made = _tried(fit, laid, now, where, batch, price)
        if made is not None:
            rows.append(made)
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    table = table.iloc[_best_first(rows)].reset_index(drop=True)
    still = tuple(item.name for item in now)
    rests = rests_on(fit)
    told = next_words.sentence(fit, still, table, rests)
    return NextRuns(fit.response.name, table, still, told, rests, paid_in)


def _best_first(rows: Sequence[Mapping[str, Any]]) -> list[int]:
    """The places of candidates, the best score first; of equal ones that with fewer runs."""
    # Two sums that are equal on paper differ in their last digits: that must not choose twice the runs.
    return sorted(range(len(rows)), key=lambda at: (-float(f"{rows[at]['score']:.9g}"), rows[at]["runs"]))


def rests_on(fit: Fit) -> dict[str, str]:
    """Comparison to what must be nil for it to stand for itself; empty where it stands clear.

    Notes
    -----
    Checked against: chains by hand, tests/unit/decide/test_ways_to_extend.py.
    """
    brief, laid, rests = fit.brief, fit.strata, {}
    beside = alias_words.notes(laid)
    for item in brief.comparisons:
        row = questions.of_comparison(brief, item, laid.terms).row
        rests[item.name] = as_far_as.nil(alias_words.note_of(laid, row, beside, item))
    return rests


def _settled(fit: Fit) -> str:
    """That no run is needed, or what the settled comparisons still rest on."""
    rests = rests_on(fit)
    told = [f"'{name}' {words}" for name, words in rests.items() if words]
    if not told:
        return f"{fit.response.name}: every comparison is settled; no further run is needed for them."
    return (
        f"{fit.response.name}: every comparison is settled, but {', '.join(told)}: only runs of combinations that were "
        f"not run can tell {'it' if len(told) == 1 else 'them'} from what is taken as nil."
    )


def _standing(fit: Fit, name: str, told: pd.Series) -> _Now:
    """An open comparison with its variance (in units of the error mean square of its stratum) and df."""
    comparison = next(item for item in fit.brief.comparisons if item.name == name)
    row = questions.of_comparison(fit.brief, comparison, fit.strata.terms).row
    variance, df = variance_now(fit, row)
    gain, margin = (None if pd.isna(told[key]) else float(told[key]) for key in ("gain", "worthwhile"))
    return _Now(name, row, gain, margin, variance, df)


def variance_now(fit: Fit, row: np.ndarray) -> tuple[float | None, float]:
    """The variance of a contrast over the runs made, and its df; None when not estimable."""
    if fit.within:
        one = of_row(fit, row)
        return (None, 0) if one.std_error is None else (one.std_error**2, one.df or 0)
    return variance_over(fit, fit.strata, row, exact=fit.mixed is None)


def variance_over(fit: Fit, laid: Strata, row: np.ndarray, *, exact: bool) -> tuple[float | None, float]:
    """The variance of a contrast over other runs at the scatter of the fit, and its df; None when not estimable.

    ``exact`` says that each layer of units has a mean square of its own in both; else it is by likelihood.
    """
    if not exact:
        try:
            return mixed.foreseen(laid, _variances(fit), row[None, :])[0] or (None, 0)
        except ModelError:
            return None, 0
    parts = laid.parts(row)
    if not parts:
        return None, 0
    squares = [fit.mean_squares[part.stratum][0] for part in parts]
    # Without an error estimate, or with one of nought, only shares can be compared: any scale will do.
    known = [float(square or 1.0) for square in squares]
    shares, freedom = [part.unit_variance for part in parts], [float(part.error_df) for part in parts]
    variance = sum(share * square for share, square in zip(shares, known, strict=True))
    if len(parts) == 1 or min(freedom) < 1.0:
        return variance, min(freedom)
    return variance, float(weighted_t.judged_df(shares, known, freedom, alpha=fit.brief.alpha))


def _variances(fit: Fit) -> np.ndarray:
    """The variance of each unit, the coarsest first, as found so far; one that is not known as large as the next."""
    if fit.mixed is not None:
        return fit.mixed.fit.variances[[fit.mixed.units.index(unit) for unit in fit.strata.units]]
    found: dict[str, float] = {}
    for unit in reversed(fit.strata.units):
        square = fit.mean_squares[unit][0]
        if not square:
            # Only shares can be compared then: any scale will do.
            found[unit] = next(reversed(found.values()), 1.0)
            continue
        expected = fit.strata.expected(unit)
        below = sum(expected[finer] * found[finer] for finer in expected if finer != unit)
        found[unit] = max(0.0, (float(square) - below) / expected[unit])
    return np.array([found[unit] for unit in fit.strata.units])


def _tried(
    fit: Fit, laid: Strata, now: Sequence[_Now], where: str, batch: Sequence[Mapping[str, str]], price: Price | None
) -> dict[str, object] | None:
    """One candidate: what it would do to the open comparisons; None where it cannot be laid out."""
    added = batches.placed(laid, where, batch)
    columns = [*laid.id_columns, *fit.strata.brief.factor_names]
    if by_position.divided(laid.brief):
        added = positions.continued(laid.brief, laid.runs, added)
        columns += [units.RUN, units.POSITION]
    both = pd.concat([laid.runs[[*columns, *laid.covariates]], added[columns]], ignore_index=True)
    try:
        after = strata.again(fit.strata, both)
    except DesignError:
        return None
    exact = fit.mixed is None and after.balanced
    taken, factors, settles = [], {}, []
    for item in now:
        variance, df = variance_over(fit, after, item.row, exact=exact)
        # Both sides by the same method, or a share would be that between methods.
        same = exact or fit.mixed is not None or fit.within
        before = item.variance if same else variance_over(fit, laid, item.row, exact=False)[0]
        gone = _share_gone(before, variance)
        taken.append(gone)
        factors[item.name] = _factor(fit, item, variance, df)
        if would_settle(fit, item.gain, item.margin, variance, df, judged_at(after, item.name)):
            settles.append(item.name)
    # One campaign holds both: what is paid once is not paid again.
    then = None if price is None else _price(after, after.brief)
    hours, cost = (None, None) if then is None else (then.hours - price.hours, then.cost - price.cost)
    share = float(np.mean(taken))
    alone = where == batches.NEW_BUILD and len(batch) == 1 and share < 1e-12
    return {
        "what": "; ".join(" ".join(line.values()) or "a run" for line in batch)
        if len(batch) <= 2 or incomplete_blocks.used(laid.brief)
        else f"every combination once ({len(batch)} runs)",
        "where": where,
        "runs": len(batch),
        "hours": hours,
        "cost": cost,
        "variance_taken": share,
        "half_width_factor": factors,
        "settles": tuple(settles),
        "score": share / (cost if cost else len(batch)),
        "note": "a run alone in a new build is compared with nothing" if alone else "",
    }


def _share_gone(before: float | None, after: float | None) -> float:
    """The share of the variance that goes; 1 where the comparison becomes estimable."""
    if after is None:
        return 0.0
    return 1.0 if before is None else max(0.0, 1.0 - after / before)


def _factor(fit: Fit, item: _Now, variance: float | None, df: float) -> float | None:
    """The half-width after over the half-width now; None where there is none of either."""
    if variance is None or item.variance is None or item.df < 1 or df < 1:
        return None
    quantile = 1.0 - fit.brief.alpha / 2.0
    spread = float(special.stdtrit(df, quantile) / special.stdtrit(item.df, quantile))
    return spread * math.sqrt(variance / item.variance)


def judged_at(laid: Strata, name: str) -> float:
    """The error rate a comparison is judged at: less than alpha in a family that is judged together, the safe side.

    Notes
    -----
    Checked against: tests/unit/decide/test_next_runs.py.
    """
    return promise.judged_at(laid, next(item for item in laid.brief.comparisons if item.name == name))[0]


def would_settle(
    fit: Fit, gain: float | None, margin: float | None, variance: float | None, df: float, alpha: float
) -> bool:
    """True when the verdict, judged at alpha, would be settled by this if the estimate stayed where it is."""
    if gain is None or variance is None or df < 1 or any(not square for square, _ in fit.mean_squares.values()):
        return False
    half = float(special.stdtrit(df, 1.0 - alpha / 2.0)) * math.sqrt(variance)
    return verdict.name_of(gain - half, gain + half, margin) in SETTLED


def _price(laid: Strata, brief: Brief) -> Price | None:
    """The price of the runs of a layout; None where the brief has no prices."""
    return money.of_design(Design(brief, "main", "", replace(laid, brief=brief))) if brief.cost.items else None
