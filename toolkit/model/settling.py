"""How many more runs would settle a comparison."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import product

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Comparison, gain_sign, worthwhile
from toolkit.design import base, positions, questions, strata, units
from toolkit.design.strata import Strata
from toolkit.errors import ModelError, listing
from toolkit.model._estimates import Estimate, of_row
from toolkit.model.fit import Fit
from toolkit.numeric import settling
from toolkit.numeric.noncentral import critical_t
from toolkit.numeric.promise import OUTCOMES

FURTHER_COLUMNS = (
    "response",
    "comparison",
    "added",
    "added_what",
    "added_runs",
    "df",
    "half_width",
    *OUTCOMES,
    "chance_shown",
    "chance_settled",
)
SETTLE_COLUMNS = (
    "response",
    "comparison",
    "settled_by",
    "settled",
    "added_if_it_stays",
    "runs_if_it_stays",
    "added",
    "runs",
    "chance",
    "chance_asked",
    "most_added",
    "added_what",
    "sentence",
)
# A campaign does not go on for longer than this; where it would not do, that is the answer.
MOST = 24
_AFTER_A_LOOK = (
    "Runs that are added because of what was seen leave the interval below its level, unless looks were planned"
)


def further(fit: Fit, comparison: str, *, most: int = MOST) -> pd.DataFrame:
    """What 1, 2, 3 ... further builds or replicates would bring to one comparison, all runs judged together.

    Parameters
    ----------
    fit : Fit
    comparison : str
        Its name in the brief.
    most : int
        How many are tried.

    Returns
    -------
    DataFrame
        One row an addition: added and added_what (complete builds, replicates, or sets of builds), added_runs, df
        then, half_width (of the interval on the analysis scale, at the scatter as estimated), the chance of each of
        the six verdicts, chance_shown (the interval excludes no change) and chance_settled (one of 'worthwhile gain',
        'worthwhile loss' and 'smaller than worthwhile'; without a worthwhile change: excludes no change). Empty where
        the comparison has no interval now, or mixes two strata.

    Raises
    ------
    ModelError
        When there is no such comparison.

    Notes
    -----
    ``numeric.settling.shares_then``: given the runs at hand, their scatter in doubt, and nothing else.

    Checked against: drawn continuations, tests/unit/numeric/test_settling.py and tests/unit/model/test_settling.py.

    Examples
    --------
    How likely four or eight runs more would show, and settle, what the ground sprocket changes:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> made = further(found, "ground sprocket", most=2)
    >>> shown = ["added_runs", "df", "chance_shown", "chance_settled"]
    >>> print(made[shown].astype(float).round(3).to_string(index=False))
     added_runs   df  chance_shown  chance_settled
            4.0  8.0         0.956           0.000
            8.0 10.0         0.952           0.001
    """
    names = [item.name for item in fit.brief.comparisons]
    if comparison not in names:
        raise ModelError(f"comparison '{comparison}': there is no such comparison; expected {listing(names)}.")
    asked = fit.brief.comparisons[names.index(comparison)]
    plans = _Plans(fit.strata)
    _, known, margin = _now(fit, asked, plans)
    rows = [_then(fit, asked, known, margin, plans, count) for count in range(1, most + 1)] if known else []
    return pd.DataFrame(rows, columns=list(FURTHER_COLUMNS), dtype=object)


def settle(fit: Fit, *, chance: float | None = None, most: int = MOST) -> pd.DataFrame:
    """For each comparison: how many more runs would settle it.

    Parameters
    ----------
    fit : Fit
    chance : float, optional
        Chance asked; None: the power of the brief.
    most : int
        How many further builds or replicates are tried at most.

    Returns
    -------
    DataFrame
        response, comparison, settled_by (what counts as settled), settled (now); added_if_it_stays and
        runs_if_it_stays (the fewest that would do if estimate and scatter stayed as they are); added, runs and chance
        (the fewest whose chance to settle it reaches chance_asked), most_added, added_what, sentence. None where there
        is no such number up to most_added, or nothing to go by.

    Notes
    -----
    The estimate will not stay where it is: the second number is the honest one. A comparison of a family that is judged
    together is taken at alpha over their number, the safe side; a family's bound is never wider. Runs that are added
    because of what was seen are a look; the sentence says so.

    Checked against: chances of ``further`` and intervals worked out anew, tests/unit/model/test_settling.py.
    """
    wanted = fit.brief.power if chance is None else chance
    plans = _Plans(fit.strata)
    rows = [_settled(fit, comparison, plans, wanted, most) for comparison in fit.brief.comparisons]
    return pd.DataFrame(rows, columns=list(SETTLE_COLUMNS), dtype=object)


@dataclass
class _Plans:
    """The strata with so many further builds, replicates or sets of builds; each worked out once."""

    laid: Strata
    made: list[Strata] = field(default_factory=list)

    def after(self, count: int) -> Strata:
        """The strata once ``count`` of them are in."""
        within = (units.RUN, units.POSITION) if by_position.divided(self.laid.brief) else ()
        columns = [*self.laid.id_columns, *within, *self.laid.brief.factor_names]
        while len(self.made) < count:
            had = (self.made[-1] if self.made else self.laid).runs[[*columns, *self.laid.covariates]]
            more = pd.DataFrame(_unit(self.laid.brief, self.laid, len(self.made) + 1))
            if by_position.divided(self.laid.brief):
                more = positions.continued(self.laid.brief, had, more, called=f"further {len(self.made) + 1}.")
            self.made.append(strata.again(self.laid, pd.concat([had, more], ignore_index=True)))
        return self.made[count - 1]


def _now(fit: Fit, comparison: Comparison, plans: _Plans) -> tuple[Estimate, settling.Known | None, float | None]:
    """The estimate, what further runs start from (None: nothing), and the worthwhile change."""
    row = questions.of_comparison(fit.brief, comparison, fit.strata.terms).row
    one, parts = of_row(fit, row), fit.strata.parts(row)
    margin = worthwhile(fit.brief, comparison, fit.response)
    if one.low is None or one.value is None or len(parts) != 1 or not plans.after(1).balanced:
        return one, None, margin
    square, df = fit.mean_squares[parts[0].stratum]
    gain = gain_sign(fit.response) * one.value
    return one, settling.Known(gain, float(square or 0.0), float(df), parts[0].unit_variance), margin


def _then(
    fit: Fit, comparison: Comparison, known: settling.Known, margin: float | None, plans: _Plans, count: int
) -> dict[str, object]:
    """One row of ``further``."""
    laid, alpha = plans.after(count), _alpha(fit.brief, comparison)
    (part,) = laid.parts(questions.of_comparison(fit.brief, comparison, laid.terms).row)
    shares = settling.shares_then(known, part.unit_variance, part.error_df, margin, alpha=alpha)
    by_name = dict(zip(OUTCOMES, map(float, shares), strict=True))
    half = float(critical_t(part.error_df, alpha=alpha)) * float(
        np.sqrt(part.unit_variance * known.mean_square)
    )
    shown = 1.0 - by_name["not known yet"]
    settled = shown
    if margin is not None:
        # 'Smaller than worthwhile' may or may not exclude no change: asked again without the worthwhile change.
        alone = settling.shares_then(known, part.unit_variance, part.error_df, None, alpha=alpha)
        shown = 1.0 - float(alone[OUTCOMES.index("not known yet")])
        settled = sum(by_name[name] for name in ("worthwhile gain", "worthwhile loss", "smaller than worthwhile"))
    values = (fit.response.name, comparison.name, count, _what(fit.strata), laid.run_count - fit.strata.run_count)
    return dict(
        zip(FURTHER_COLUMNS, (*values, float(part.error_df), half, *by_name.values(), shown, settled), strict=True)
    )


def _settled(
    fit: Fit, comparison: Comparison, plans: _Plans, wanted: float, most: int
) -> dict[str, object]:
    """One row of ``settle``."""
    one, known, margin = _now(fit, comparison, plans)
    what = _what(fit.strata)
    by = "against the worthwhile change" if margin is not None else "against no change"
    start = (fit.response.name, comparison.name, by)

    def line(settled: bool | None, numbers: tuple[object, ...], told: str) -> dict[str, object]:
        values = (*start, settled, *numbers, wanted, most, what, f"{comparison.name}: {told}")
        return dict(zip(SETTLE_COLUMNS, values, strict=True))

    if known is None:
        reason = one.note or "it mixes two strata: how many more runs would settle it is not worked out"
        if one.low is not None:
            uneven = fit.strata.unbalanced or plans.after(1).unbalanced
            why = "judged in two strata" if " and " in one.strata else uneven
            reason = f"{why}: how many more runs would settle it is not worked out"
        return line(None, (None,) * 5, reason)
    half = float(critical_t(known.df, alpha=_alpha(fit.brief, comparison))) * (one.std_error or 0.0)
    if _is_settled(known.gain, half, margin):
        return line(True, (0, 0, 0, 0, None), f"settled {by}: no more runs are needed for it")
    rows: list[dict[str, object]] = []
    stays = enough = None
    for count in range(1, most + 1):
        row = _then(fit, comparison, known, margin, plans, count)
        rows.append(row)
        stays = stays or (row if _is_settled(known.gain, row["half_width"], margin) else None)
        enough = enough or (row if row["chance_settled"] >= wanted else None)
        if stays and enough:
            break
    numbers = tuple(None if row is None else row[key] for row in (stays, enough) for key in ("added", "added_runs"))
    best = enough or max(rows, key=lambda row: row["chance_settled"])
    told = (
        f"{_times(best['added'], what)} more ({best['added_runs']} runs) would settle it {by} with a chance of "
        f"{_percent(best['chance_settled'])}"
        if enough
        else f"no number up to {_times(most, what)} more settles it {by} with a chance of {_percent(wanted)}; the "
        f"best of them has {_percent(best['chance_settled'])}"
    )
    return line(False, (*numbers, enough["chance_settled"] if enough else None), f"{told}. {_AFTER_A_LOOK}.")


def _alpha(brief: Brief, comparison: Comparison) -> float:
    """The error rate a comparison is judged at: in a family that is judged together at most alpha over their number."""
    family = brief.family_of(comparison)
    if family is None or family.adjust == "none":
        return brief.alpha
    return brief.alpha / sum(item.family == family.name for item in brief.comparisons)


def _is_settled(gain: float, half_width: float, margin: float | None) -> bool:
    """True when the interval lies wholly on one side of every edge that counts."""
    low, high = gain - half_width, gain + half_width
    if margin is None:
        return low > 0.0 or high < 0.0
    return low > margin or high < -margin or (low > -margin and high < margin)


def _unit(brief: Brief, laid: Strata, count: int) -> list[dict[str, str]]:
    """The runs of one further build, replicate, or set of builds."""
    names, lines = brief.factor_names, base.lines(brief)
    if by_position.divided(brief):
        names = tuple(factor.name for factor in by_position.of_whole_runs(brief))
        lines = by_position.run_combinations(brief)
    every = [dict(zip(names, line, strict=True)) for line in lines]
    if laid.units[0] != "build":
        build = f"further {count}" if laid.blocked else str(laid.runs["build_id"].iloc[0])
        return _with_units(laid, [{"build_id": build, **line} for line in every], count)
    upper = [factor for factor in brief.factors if laid.of_term((factor.name,)) == "build"]
    lower = [name for name in names if name not in [factor.name for factor in upper]]
    first = laid.runs[laid.runs["build_id"] == laid.runs["build_id"].iloc[0]]
    if by_position.divided(brief):
        first = first.drop_duplicates(units.RUN)
    made = []
    for at, chosen in enumerate(product(*(factor.names for factor in upper))):
        levels = {factor.name: level for factor, level in zip(upper, chosen, strict=True)}
        for line in first[lower].to_dict("records"):
            made.append({"build_id": f"further {count}.{at}", **levels, **line})
    return _with_units(laid, made, count)


def _with_units(laid: Strata, rows: list[dict[str, str]], count: int) -> list[dict[str, str]]:
    """Rows with parts and fills of their own, where these are kept over several runs."""
    if len(laid.id_columns) == 1:
        return rows
    table = pd.DataFrame(rows)
    table["replicate"] = table.groupby(["build_id", *laid.brief.factor_names]).cumcount()
    table = units.numbered(laid.brief, table).drop(columns="replicate")
    for name in laid.id_columns[1:]:
        table[name] = f"further {count}." + table[name]
    return table.to_dict("records")


def _what(laid: Strata) -> str:
    """What is added at a time, in words."""
    if laid.of_builds == strata.BLOCKS:
        return "complete build"
    if laid.of_builds == strata.RANDOMISED:
        return "replicate of every combination"
    return "set of builds"


def _times(count: object, what: str) -> str:
    """A count with its noun."""
    if count == 1:
        return f"1 {what}"
    first, *rest = what.split(" ")
    return f"{count} {'complete builds' if first == 'complete' else ' '.join([f'{first}s', *rest])}"


def _percent(share: object) -> str:
    """A chance as text, rounded down: never up to what was asked, to certainty, or down to nothing."""
    value = 100.0 * float(share)  # type: ignore[arg-type]
    return "over 99 %" if value > 99.0 else "under 1 %" if value < 1.0 else f"{math.floor(value + 1e-9)} %"
