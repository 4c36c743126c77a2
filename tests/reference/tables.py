"""Models as columns, for tests that check toolkit.numeric alone: no brief, no design, no formula."""

from collections.abc import Sequence

import numpy as np

from tests.reference.loader import Case, close
from toolkit.numeric import contrasts

Columns = dict[str, np.ndarray]


def columns_of(case: Case, terms: Sequence[str]) -> Columns:
    """Sum-to-zero columns of each term (`a`, `a:b`), with the constant under the name 1."""
    made: Columns = {"1": np.ones((len(case.data), 1))}
    for term in terms:
        coded = []
        for factor in term.split(":"):
            levels, level = np.unique(case.data[factor].to_numpy(), return_inverse=True)
            coded.append(contrasts.sum_coded(len(levels))[level])
        made[term] = contrasts.term_columns(coded)
    return made


def joined(columns: Columns, terms: Sequence[str]) -> np.ndarray:
    """The columns of the constant and of some terms, side by side."""
    return np.hstack([columns["1"], *(columns[term] for term in terms)])


def base_of(term: str, terms: Sequence[str], kind: int) -> list[str]:
    """The terms a sum of squares is adjusted for: before it (I), not containing it (II), all others (III)."""
    if kind == 1:
        return list(terms[: terms.index(term)])
    own = set(term.split(":"))
    return [t for t in terms if t != term and (kind == 3 or not own <= set(t.split(":")))]


def check_table(case: Case, prefix: str, terms: Sequence[str], y: np.ndarray, *, kind: int = 1) -> None:
    """Compare df, SS, MS and F of every term, and the residual line, with the table below `prefix`."""
    expected = case.table(prefix)
    assert {str(i) for i in expected.index} - {"(Intercept)"} == {*terms, "Residuals"}
    columns = columns_of(case, terms)
    fit = contrasts.least_squares(joined(columns, terms), y)
    lines = {"Residuals": (fit.residual_ss, fit.df)}
    for term in terms:
        base = joined(columns, base_of(term, terms, kind))
        lines[term] = contrasts.projection_ss(y, base, columns[term])
    if "(Intercept)" in expected.index:
        others = np.hstack([columns[term] for term in terms])
        lines["(Intercept)"] = contrasts.projection_ss(y, others, columns["1"])
    for term, (ss, df) in lines.items():
        assert df == expected.loc[term, "df"], term
        assert close(ss, expected.loc[term, "ss"], case), term
        assert close(ss / df, expected.loc[term, "ms"], case), term
        if term != "Residuals":
            assert close(ss / df / (fit.residual_ss / fit.df), expected.loc[term, "F"], case), term


def printed_agree(case: Case, found: dict[str, float]) -> None:
    """Compare with every number the source prints, within the width of its last digit."""
    assert set(found) == set(case.printed)
    for key, value in found.items():
        assert abs(value - case.published(key)) <= case.published_abs(key), key
