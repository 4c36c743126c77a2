"""The analysis of variance of a fit, stratum by stratum."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from toolkit.design import latin, units
from toolkit.design import terms as model_terms
from toolkit.design.terms import Term
from toolkit.errors import ModelError
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model import _ways_out as ways_out
from toolkit.model import mixed
from toolkit.model import offered as offer
from toolkit.model._layers import Layer
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts

COLUMNS = ("term", "df", "sum_sq", "mean_sq", "f", "p_value", "error_stratum", "error_df", "note")


def table(fit: Fit, ss_type: int = 2) -> pd.DataFrame:
    """The table of the analysis of variance.

    Parameters
    ----------
    fit : Fit
    ss_type : int
        1: each term adjusted for those before it, in the order of the brief. 2: each term adjusted for all
        that do not contain it. 3: each term adjusted for all others, on equally weighted means; only where
        every combination was run.

    Returns
    -------
    DataFrame
        term, df, sum_sq, mean_sq, f, p_value, error_stratum, error_df, note; one row a term, then 'error
        (run)' or 'error (build)' for each stratum, 'build' first where builds are blocks, and below an error
        its parts 'lack of fit' and 'pure error' where the runs can tell them. Sums of squares are in the
        squared unit of the analysis scale, those between builds on the scale of one run. Empty places are
        None. Where the strata are not balanced, terms have no sums of squares: F and the error df are Kenward and
        Roger's (df as a decimal number), and 'error (run)' is what differs within the units.

    Raises
    ------
    ModelError
        When ``ss_type`` is not 1, 2 or 3; or 3 is asked with a missing combination, with contrasts that can be
        estimated instead.

    Notes
    -----
    All by rank: what cannot be estimated takes no degrees of freedom. Type II as in F. Yates 1934 and J. Fox,
    An R Companion to Applied Regression; Type III on sum-coded columns. Lack of fit: what combinations (centre
    points among them) differ by beyond the terms, against their repeats (textbook). Curvature: centre points against
    the mean of the corners, a term of its own.

    Checked against: k01, k02, k03, k04 (NIST StRD; R 4.2.2 aov, car::Anova), corrosion of coated bars (Box
    1996), tests/reference/test_anova_cases.py.

    Examples
    --------
    Sprockets change with the build, oils with the run, so there are two lines of error; ``report.tables.anova``
    makes a table of it that is easy to read.

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> made = table(found)[["term", "df", "sum_sq", "p_value"]]
    >>> print(made.astype({"sum_sq": float, "p_value": float}).round(3).to_string(index=False, na_rep="-"))
              term df  sum_sq  p_value
          sprocket  1   0.268    0.012
     error (build)  6   0.129        -
               oil  1   0.119    0.008
    sprocket × oil  1   0.019    0.169
       error (run)  6   0.048        -
    """
    if ss_type not in (1, 2, 3):
        raise ModelError(f"ss_type = {ss_type!r}: expected 1, 2 or 3.")
    if ss_type == 3:
        _refuse_type_3(fit)
    rows = _by_likelihood(fit, ss_type) if fit.mixed is not None else _unjudged(fit) if fit.within else []
    for at, layer in enumerate(fit.layers):
        if at == 0 and fit.strata.blocked and not fit.within:
            rows.append(_block_row(fit, layer, ss_type))
        rows += [_covariate_row(fit, layer, name) for name in fit.strata.covariates]
        if fit.strata.position_df and layer.stratum == fit.strata.finest:
            rows.append(_position_row(fit, layer, ss_type))
        rows += [_term_row(fit, layer, term, ss_type) for term in layer.terms]
        rows += _error_rows(fit, layer)
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def both_types(fit: Fit) -> pd.DataFrame:
    """Type I and Type II side by side, so that it shows where the order of the terms matters.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        One row a term: term, df_1, sum_sq_1, f_1, p_value_1 (adjusted for the terms before it, in the order of the
        brief), df_2, sum_sq_2, f_2, p_value_2 (adjusted for all that do not contain it), error_stratum, error_df,
        differ (True where the sums of squares or df are not the same), note. Type II is the one that is judged.

    Notes
    -----
    They agree where the runs are balanced.

    Checked against: k04-moore-types, k04-warpbreaks-unequal-n (R 4.2.2 anova, car::Anova).
    """
    one, two = (table(fit, ss_type).set_index("term") for ss_type in (1, 2))
    names = [model_terms.name_of(term) for unit in fit.strata.units for term in fit.strata.stratum(unit).terms]
    rows = []
    for name in names:
        first, second = one.loc[name], two.loc[name]
        key = "f" if fit.mixed is not None else "sum_sq"
        sums = [float(line[key] or 0.0) for line in (first, second)]
        differ = first["df"] != second["df"] or abs(sums[0] - sums[1]) > 1e-9 * max(sums[0], sums[1], 1e-300)
        made: dict[str, object] = {"term": name}
        for at, line in ((1, first), (2, second)):
            made |= {f"{key}_{at}": line[key] for key in ("df", "sum_sq", "f", "p_value")}
        made |= {"error_stratum": second["error_stratum"], "error_df": second["error_df"], "differ": bool(differ)}
        rows.append({**made, "note": second["note"]})
    return pd.DataFrame(rows, dtype=object)


def _refuse_type_3(fit: Fit) -> None:
    """Stop where a Type III table would depend on the coding."""
    full = fit.strata.full_columns
    if contrasts.rank(full) == full.shape[1]:
        return
    missing = ways_out.missing_combinations(fit.strata)
    why = (
        f"no run of {ways_out.listed(missing)}"
        if missing
        else "terms are confounded with each other or with builds"
    )
    left = list(offer.offered(fit)["contrast"])
    more = f" and {len(left) - ways_out.SHOWN} more" if len(left) > ways_out.SHOWN else ""
    shown = "; ".join(left[: ways_out.SHOWN]) + more
    raise ModelError(
        f"{fit.response.name}: a Type III table is refused ({why}), because what it tests would then depend "
        f"on the coding. Take Type II, which asks only what these runs can tell, or contrasts that can be estimated"
        f"{f' ({shown})' if left else ''}."
    )


def _row(
    term: str,
    df: int,
    sum_sq: float | None,
    *,
    f: float | None = None,
    p: float | None = None,
    stratum: str | None = None,
    error_df: float | None = None,
    note: str = "",
) -> dict[str, object]:
    """One line of the table."""
    mean_sq = None if sum_sq is None or df == 0 else sum_sq / df
    return dict(zip(COLUMNS, (term, df, sum_sq, mean_sq, f, p, stratum, error_df, note), strict=True))


def _term_row(fit: Fit, layer: Layer, term: Term, ss_type: int) -> dict[str, object]:
    """The line of one term, judged by its stratum's error."""
    added = layer.columns[term]
    sum_sq, df = contrasts.projection_ss(layer.y, layer.of(layer.adjusted_for(term, ss_type)), added)
    name, asked = model_terms.name_of(term), added.shape[1]
    if df == 0:
        return _row(
            name,
            0,
            None,
            stratum=layer.stratum,
            error_df=layer.error_df,
            note=offer.why_nothing(fit.strata, term),
        )
    note = f"only {df} of {asked} df can be estimated: combinations are missing" if df < asked else ""
    f, p = _tested(fit, layer, sum_sq / df, df)
    if why := aligned_builds.term_withheld(fit.strata, term):
        f, p, note = None, None, f"{note}; {why}" if note else why
    return _row(name, df, sum_sq, f=f, p=p, stratum=layer.stratum, error_df=layer.error_df, note=note)


def _tested(fit: Fit, layer: Layer, mean_sq: float, df: int) -> tuple[float | None, float | None]:
    """F and p against the error of the stratum; None where there is no error to judge by."""
    error, error_df = fit.mean_squares[layer.stratum]
    if not error:
        return None, None
    f = mean_sq / error
    return f, float(special.fdtrc(df, error_df, f))


def _block_row(fit: Fit, layer: Layer, ss_type: int) -> dict[str, object]:
    """The line of the builds where they are blocks: before the terms in Type I, adjusted for them
    otherwise."""
    terms = () if ss_type == 1 else layer.terms
    ones, builds, beside = np.split(layer.base, [1, 1 + fit.strata.build_columns.shape[1]], axis=1)
    base = np.hstack([ones, beside, *(layer.columns[term] for term in terms)])
    sum_sq, df = contrasts.projection_ss(layer.y, base, builds)
    return _row("build", df, sum_sq if df else None, note="blocks: taken out, not tested")


def _position_row(fit: Fit, layer: Layer, ss_type: int) -> dict[str, object]:
    """The line of the positions: before the terms in Type I, adjusted for them otherwise."""
    width = fit.strata.position_df
    others, own = layer.base[:, :-width], layer.base[:, -width:]
    terms = () if ss_type == 1 else layer.terms
    sum_sq, df = contrasts.projection_ss(layer.y, np.hstack([others, *(layer.columns[term] for term in terms)]), own)
    if latin.used(fit.brief):
        note = "places in the order of a build: taken out as fixed, not tested"
        return _row(latin.PLACE, df, sum_sq if df else None, stratum=layer.stratum, note=note)
    note = "positions of the engine: taken out as fixed, not tested"
    return _row("position", df, sum_sq if df else None, stratum=layer.stratum, note=note)


def _covariate_row(fit: Fit, layer: Layer, name: str) -> dict[str, object]:
    """The line of one covariate, adjusted for everything else."""
    places = fit.strata.build_columns.shape[1]
    at = 1 + places + list(fit.strata.covariates).index(name)
    others = np.delete(layer.full, at, axis=1)
    sum_sq, df = contrasts.projection_ss(layer.y, others, layer.full[:, [at]])
    f, p = _tested(fit, layer, sum_sq / df, df) if df else (None, None)
    note = "covariate: taken out of every term, adjusted for all of them"
    return _row(name, df, sum_sq if df else None, f=f, p=p, stratum=layer.stratum, error_df=layer.error_df, note=note)


def _error_rows(fit: Fit, layer: Layer) -> list[dict[str, object]]:
    """The error line of a stratum, with lack of fit and pure error below it where the runs can tell them."""
    mean_sq, df = fit.mean_squares[layer.stratum]
    name = f"error ({layer.stratum})"
    if mean_sq is None:
        return [_row(name, 0, None, stratum=layer.stratum, error_df=0, note="no error estimate: no df left")]
    note = "exactly 0: the repeats agree to the last digit, nothing can be tested" if mean_sq == 0.0 else ""
    rows = [_row(name, df, mean_sq * df, stratum=layer.stratum, error_df=df, note=note)]
    combinations = _combination_columns(fit, layer)
    lack_ss, lack_df = contrasts.projection_ss(layer.y, layer.full, combinations)
    pure_df = df - lack_df
    if lack_df == 0 or pure_df == 0 or mean_sq == 0.0:
        return rows
    pure_ss = contrasts.least_squares(np.hstack([layer.full, combinations]), layer.y).residual_ss
    f = lack_ss / lack_df / (pure_ss / pure_df) if pure_ss > 0.0 else None
    p = None if f is None else float(special.fdtrc(lack_df, pure_df, f))
    where = f"pure error ({layer.stratum})"
    return [
        *rows,
        _row(
            "lack of fit",
            lack_df,
            lack_ss,
            f=f,
            p=p,
            stratum=where,
            error_df=pure_df,
            note="part of the error: what combinations differ by beyond the terms",
        ),
        _row(
            "pure error",
            pure_df,
            pure_ss,
            stratum=layer.stratum,
            error_df=pure_df,
            note="part of the error: repeats of the same combination",
        ),
    ]


def _combination_columns(fit: Fit, layer: Layer) -> np.ndarray:
    """One column a combination, as the stratum sees it, shape (units, combinations)."""
    laid = fit.strata
    chain = laid.units
    inner = chain[chain.index(layer.stratum) + 1 :]
    names = [name for name in laid.brief.factor_names if laid.of_term((name,)) not in inner]
    keys = [tuple(line) for line in laid.runs[names].itertuples(index=False)]
    distinct = list(dict.fromkeys(keys))
    return laid.scaled(layer.stratum, np.array([[float(key == one) for one in distinct] for key in keys]))


def _unjudged(fit: Fit) -> list[dict[str, object]]:
    """The lines of terms that nothing is left to judge by, where only differences within units can be judged."""
    laid = fit.strata
    return [
        _row(
            model_terms.name_of(term),
            laid.spans[term].stop - laid.spans[term].start,
            None,
            stratum=unit,
            error_df=0,
            note=ways_out.no_error(fit.brief, laid, unit),
        )
        for unit in laid.units[:-1]
        for term in laid.stratum(unit).terms
    ]


def _by_likelihood(fit: Fit, ss_type: int) -> list[dict[str, object]]:
    """The lines where the strata are not balanced: terms by Kenward and Roger, then the error within the units."""
    rows = []
    for unit in fit.strata.units:
        for term in fit.strata.stratum(unit).terms:
            rows.append(_likelihood_row(fit, unit, term, ss_type))
    square, df = fit.mean_squares[fit.strata.finest]
    within = units.PLURALS[fit.mixed.units[-2]] if fit.mixed is not None else ""
    note = f"from differences within the {within} alone; tests weigh it together with the scatter between {within}"
    total = None if square is None else square * df
    finest = fit.strata.finest
    return [*rows, _row(f"error ({finest})", df, total, stratum=finest, error_df=df, note=note)]


def _likelihood_row(fit: Fit, unit: str, term: Term, ss_type: int) -> dict[str, object]:
    """The line of one term where the strata are not balanced."""
    name, span = model_terms.name_of(term), fit.strata.spans[term]
    found = mixed.term_test(fit.mixed, term, ss_type) if fit.mixed is not None else None
    if found is None:
        return _row(name, 0, None, stratum=unit, note=offer.why_nothing(fit.strata, term))
    asked = span.stop - span.start
    note = "no sum of squares of its own: F and error df by Kenward and Roger"
    if found.num_df < asked:
        note += f"; only {found.num_df} of {asked} df can be estimated: combinations are missing"
    numbers = {"f": float(found.f), "p": float(found.p_value), "error_df": float(found.den_df)}
    if why := aligned_builds.term_withheld(fit.strata, term):
        numbers, note = {}, why
    return _row(name, found.num_df, None, stratum=unit, note=note, **numbers)
