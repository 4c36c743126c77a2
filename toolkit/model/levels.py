"""Levels of one factor against each other: all pairs, against the baseline, and within each level of others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
import pandas as pd
from scipy import special

from toolkit.brief.model import Family
from toolkit.design import terms as model_terms
from toolkit.errors import Fault, ModelError, listing, nearest, raise_all
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import _together as together
from toolkit.model import families, mixed
from toolkit.model._estimates import covariance, of_row, schema_row, table_of
from toolkit.model._levels import checked, words_of
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts

_PAIRS = (*together.ADJUSTMENTS, together.RANGE)
TEST_COLUMNS = (
    "term",
    "at",
    "contrast",
    "df",
    "sum_sq",
    "mean_sq",
    "f",
    "p_value",
    "error_stratum",
    "error_df",
    "note",
)


def pairs(
    fit: Fit, factor: str, *, at: Mapping[str, str] | None = None, adjust: str = "multivariate_t"
) -> pd.DataFrame:
    """Every level of a factor against every other one.

    Parameters
    ----------
    fit : Fit
    factor : str
    at : mapping of str to str, optional
        Levels at which other factors are held; the rest is averaged over, equally weighted.
    adjust : str
        multivariate_t (default: intervals that hold together, exact for any numbers of runs), studentised_range
        (the same where all levels are equally well known, on the safe side elsewhere), holm, or none.

    Returns
    -------
    DataFrame
        In the schema of estimates, the later level against the earlier, with the columns adjust and at. What cannot
        be estimated keeps its row and names the run that would make it so; it does not count in the family.

    Raises
    ------
    ModelError
        When a factor, level or adjustment does not exist.

    Notes
    -----
    The studentised range is J. W. Tukey's, with C. Y. Kramer's standard error (Biometrics 12 (1956) 307-310) where
    numbers of runs differ.

    Checked against: k10-tukey-warpbreaks, k10-tukey-kramer-chickwts, k10-bonferroni-holm-insectsprays (R 4.2.2).
    """
    held = _checked(fit, factor, at, adjust, _PAIRS)
    names = fit.brief.factor(factor).names
    chosen = [(names[later], names[earlier]) for later, earlier in families.pairs_of(len(names))]
    words = f"all pairs of {factor}" + _held_words(held)
    return _table(fit, factor, chosen, held, Family(words, adjust=adjust), len(names))


def against_baseline(
    fit: Fit,
    factor: str,
    *,
    at: Mapping[str, str] | None = None,
    baseline: str | None = None,
    adjust: str = "multivariate_t",
) -> pd.DataFrame:
    """Every level of a factor against its baseline.

    Parameters
    ----------
    fit : Fit
    factor : str
    at : mapping of str to str, optional
        Levels at which other factors are held; the rest is averaged over, equally weighted.
    baseline : str, optional
        The level to compare with; None: the first of the brief.
    adjust : str
        multivariate_t (default: intervals that hold together), holm, or none.

    Returns
    -------
    DataFrame
        As ``pairs``.

    Raises
    ------
    ModelError
        When a factor, level or adjustment does not exist.

    Notes
    -----
    With the multivariate t this is the comparison of several treatments with a control (C. W. Dunnett, JASA 50
    (1955) 1096-1121).

    Checked against: k10-dunnett-1955 (R 4.2.2, multcomp 1.4-22).
    """
    held = _checked(fit, factor, at, adjust, together.ADJUSTMENTS, baseline)
    names = fit.brief.factor(factor).names
    base = names[0] if baseline is None else baseline
    chosen = [(name, base) for name in names if name != base]
    family = Family(f"{factor} against {base}" + _held_words(held), adjust=adjust)
    return _table(fit, factor, chosen, held, family, 0)


def simple_effects(
    fit: Fit, factor: str, within: Sequence[str], *, every_pair: bool = False, adjust: str = "none"
) -> pd.DataFrame:
    """One factor's levels compared within each level, or combination, of others.

    Parameters
    ----------
    fit : Fit
    factor : str
    within : sequence of str
        The factors whose levels are gone through; factors in neither are averaged over, equally weighted.
    every_pair : bool
        True: every level against every other; False: each level against the baseline.
    adjust : str
        none, holm or multivariate_t (with every_pair also studentised_range): each level of the others is a family
        of its own.

    Returns
    -------
    DataFrame
        As ``pairs``; the column at tells the levels of the others.

    Raises
    ------
    ModelError
        When a factor or adjustment does not exist, or a factor is named twice.

    Notes
    -----
    Checked against: k02-warpbreaks, k04-2x2-missing-cell, k04-toothgrowth-empty-cell (R 4.2.2).
    """
    made = []
    for held in _within(fit, factor, within):
        if every_pair:
            made.append(pairs(fit, factor, at=held, adjust=adjust))
        else:
            made.append(against_baseline(fit, factor, at=held, adjust=adjust))
    return pd.concat(made, ignore_index=True)


def simple_tests(fit: Fit, factor: str, within: Sequence[str]) -> pd.DataFrame:
    """Whether one factor's levels differ at all, within each level, or combination, of others.

    Parameters
    ----------
    fit : Fit
    factor : str
    within : sequence of str

    Returns
    -------
    DataFrame
        term, at (the levels of the others), contrast, df, sum_sq, mean_sq, f, p_value, error_stratum, error_df, note.
        Where only some differences can be estimated, those are tested and the note says how many.

    Raises
    ------
    ModelError
        When a factor does not exist, or is named twice.

    Notes
    -----
    F = (Lb)' (L C L')^-1 (Lb) / df with the covariance C of the estimates (general linear hypothesis, textbook), in
    one stratum; where a difference mixes two strata there is no exact F. Where the strata are not balanced: Kenward and
    Roger.

    Checked against: a one-way analysis within each level that keeps the error of the whole (textbook),
    tests/unit/model/test_levels.py.
    """
    return pd.DataFrame(
        [_test(fit, factor, held) for held in _within(fit, factor, within)], columns=list(TEST_COLUMNS), dtype=object
    )


def _checked(
    fit: Fit,
    factor: str,
    at: Mapping[str, str] | None,
    adjust: str,
    allowed: Sequence[str],
    baseline: str | None = None,
) -> dict[str, str]:
    """The levels held, after everything that was named has been looked up."""
    held = checked(fit, [factor], at)
    faults = []
    if adjust not in allowed:
        faults.append(Fault("adjust", f"'{adjust}'", listing(allowed), nearest(str(adjust), allowed)))
    names = fit.brief.factor(factor).names
    if baseline is not None and baseline not in names:
        faults.append(Fault(f"baseline of '{factor}'", f"'{baseline}'", listing(names), nearest(str(baseline), names)))
    raise_all(ModelError, "The levels cannot be compared.", faults)
    return held


def _within(fit: Fit, factor: str, within: Sequence[str]) -> list[dict[str, str]]:
    """Every combination of levels of the factors gone through, in the order of the brief."""
    checked(fit, [factor, *within], None)
    if not within:
        raise ModelError("The levels cannot be compared.\n  within: no factor was given; expected one or more.")
    names = [name for name in fit.brief.factor_names if name in within]
    choices = product(*(fit.brief.factor(name).names for name in names))
    return [dict(zip(names, chosen, strict=True)) for chosen in choices]


def _row(fit: Fit, factor: str, one: str, other: str, held: Mapping[str, str]) -> np.ndarray:
    """The model's row of one level less another."""
    high, low = (model_terms.row(fit.brief, fit.strata.terms, {**held, factor: level}) for level in (one, other))
    return high - low


def _table(
    fit: Fit, factor: str, chosen: Sequence[tuple[str, str]], held: dict[str, str], family: Family, groups: int
) -> pd.DataFrame:
    """The rows of these comparisons of levels, adjusted as the family asks."""
    rows = np.array([_row(fit, factor, one, other, held) for one, other in chosen])
    found = [of_row(fit, row) for row in rows]
    judged = [at for at, one in enumerate(found) if one.low is not None]
    adjusted = together.adjusted(fit, family, rows[judged], [found[at] for at in judged], groups=groups)
    for at, one in zip(judged, adjusted, strict=True):
        found[at] = one
    rest = [name for name in fit.brief.factor_names if name != factor and name not in held]
    mean = f", mean over {' and '.join(rest)}" if rest else ""
    made = [
        {
            **schema_row(fit, one, f"{factor} {high} against {factor} {low}{_held_words(held)}{mean}", term=factor),
            "adjust": family.adjust,
            "at": dict(held),
        }
        for one, (high, low) in zip(found, chosen, strict=True)
    ]
    return table_of(made, ("adjust", "at"))


def _independent(rows: np.ndarray) -> np.ndarray:
    """Rows that are no sum of those before them: five levels on a parabola have two differences of their own."""
    kept: list[int] = []
    for at in range(len(rows)):
        if contrasts.rank(rows[[*kept, at]].T) > len(kept):
            kept.append(at)
    return rows[kept]


def _held_words(held: Mapping[str, str]) -> str:
    """The levels held, as text to append."""
    return f" at {words_of(held)}" if held else ""


def _test(fit: Fit, factor: str, held: dict[str, str]) -> dict[str, object]:
    """The F test of one factor at these levels of others."""
    names = fit.brief.factor(factor).names
    rows = _independent(np.array([_row(fit, factor, name, names[0], held) for name in names[1:]]))
    told = (factor, held, f"any level of {factor}{_held_words(held)}")

    def line(df: int, *numbers: object, note: str = "") -> dict[str, object]:
        empty = numbers or (None,) * 6
        return dict(zip(TEST_COLUMNS, (*told, df, *empty, note), strict=True))

    usable = [at for at, row in enumerate(rows) if fit.strata.estimable(row)]
    if not usable:
        return line(0, note=of_row(fit, rows[0]).note)
    df = len(usable)
    note = "" if df == len(rows) else f"only {df} of {len(rows)} df can be estimated: combinations are missing"
    for at in usable:
        if why := aligned_builds.why_withheld(fit.strata, rows[at]):
            return line(df, note=why)
    if fit.mixed is not None:
        found = mixed.joint_test(fit.mixed, rows[usable])
        judged = of_row(fit, rows[usable[0]]).strata
        by = "F and error df by Kenward and Roger" + (f"; {note}" if note else "")
        return line(df, None, None, float(found.f), float(found.p_value), judged, float(found.den_df), note=by)
    if fit.within:
        made = of_row(fit, rows[usable[0]])
        square, error_df = fit.mean_squares[fit.strata.finest]
        if made.std_error is None or not square:
            return line(df, None, None, None, None, made.strata or None, None, note=made.note)
        values = rows[usable] @ fit.beta
        f = float(values @ np.linalg.solve(covariance(fit, rows[usable]), values)) / df
        p = float(special.fdtrc(df, error_df, f))
        return line(df, f * df * square, f * square, f, p, fit.strata.finest, error_df, note=note)
    pieces = [fit.strata.parts(row) for row in rows]
    strata = sorted({part.stratum for at in usable for part in pieces[at]})
    if len(strata) > 1:
        return line(len(usable), note=f"mixes the {' and '.join(strata)} strata: no exact F; see the comparisons")
    square, error_df = fit.mean_squares[strata[0]]
    if not square:
        return line(len(usable), None, None, None, None, strata[0], error_df, note=of_row(fit, rows[usable[0]]).note)
    values = rows[usable] @ fit.beta
    f = float(values @ np.linalg.solve(covariance(fit, rows[usable]), values)) / df
    p = float(special.fdtrc(df, error_df, f))
    return line(df, f * df * square, f * square, f, p, strata[0], error_df, note=note)
