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


def table_faults(case: Case, prefix: str, terms: Sequence[str], y: np.ndarray, *, kind: int = 1) -> list[str]:
    """Where df, SS, MS and F of the terms, or the residual line, differ from the table below `prefix`."""
    expected = case.table(prefix)
    listed = {str(i) for i in expected.index} - {"(Intercept)"}
    if listed != {*terms, "Residuals"}:
        return [f"{case.id}: {prefix} lists {sorted(listed)}"]
    columns = columns_of(case, terms)
    fit = contrasts.least_squares(joined(columns, terms), y)
    lines = {"Residuals": (fit.residual_ss, fit.df)}
    for term in terms:
        base = joined(columns, base_of(term, terms, kind))
        lines[term] = contrasts.projection_ss(y, base, columns[term])
    if "(Intercept)" in expected.index:
        others = np.hstack([columns[term] for term in terms])
        lines["(Intercept)"] = contrasts.projection_ss(y, others, columns["1"])
    faults = []
    for term, (ss, df) in lines.items():
        found = {"ss": ss, "ms": ss / df}
        if term != "Residuals":
            found["F"] = ss / df / (fit.residual_ss / fit.df)
        wrong = {k: v for k, v in found.items() if not close(v, expected.loc[term, k], case)}
        if df != expected.loc[term, "df"]:
            wrong["df"] = df
        faults += [
            f"{case.id}: {prefix}.{term}.{k}: {v}, not {expected.loc[term, k]}" for k, v in wrong.items()
        ]
    return faults


def printed_faults(case: Case, found: dict[str, float]) -> list[str]:
    """Where the found numbers are not those the source prints, each within the width of its last digit."""
    if set(found) != set(case.printed):
        return [f"{case.id}: the source prints {sorted(case.printed)}, found are {sorted(found)}"]
    off = {k: v for k, v in found.items() if not abs(v - case.published(k)) <= case.published_abs(k)}
    return [f"{case.id}: {k}: {v}, printed is {case.published(k)}" for k, v in off.items()]
