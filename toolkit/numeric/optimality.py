"""How good a set of runs is for a model: D-, A-, G- and I-figures, and the bound that no design can beat.

May import numpy and the error classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from toolkit.errors import Fault, ModelError, raise_all
from toolkit.numeric import _forms as forms
from toolkit.numeric import _guards as guards

Floats = NDArray[np.float64]
# The best measure is sought until the bound that it proves is so near, or for so many rounds.
_NEAR = 1e-7
_ROUNDS = 2000
_CHECKED_EVERY = 10


@dataclass(frozen=True, eq=False)
class Optimality:
    """What the textbooks tell of a design.

    Attributes
    ----------
    determinant : float
        |X'X|; infinity where it is beyond what a number holds.
    d_efficiency : float
        100 |X'X|^(1/p) / n, per cent.
    a_efficiency : float
        100 p / (n trace((X'X)^-1)), per cent.
    g_efficiency : float
        100 p / (n times the largest variance of prediction over the candidates), per cent.
    trace : float
        Of (X'X)^-1: the variances of the coefficients added up, in units of the error variance.
    leverages : ndarray, shape (n,)
        How much each run weighs in its own prediction, 0 to 1.
    largest_variance, mean_variance : float
        Of prediction over the candidates, in units of the error variance.
    inflation : ndarray, shape (p - 1,)
        Of each column but the first by the others: 1 stands apart, columns taken less their mean.
    """

    determinant: float
    d_efficiency: float
    a_efficiency: float
    g_efficiency: float
    trace: float
    leverages: Floats
    largest_variance: float
    mean_variance: float
    inflation: Floats


def of_runs(model: ArrayLike, candidates: ArrayLike) -> Optimality:
    """Give back the optimality figures of a set of runs.

    Parameters
    ----------
    model : array_like, shape (runs, parameters)
        The model's rows, the constant first.
    candidates : array_like, shape (candidates, parameters)
        The rows of the combinations that predictions are asked for.

    Returns
    -------
    Optimality

    Raises
    ------
    ModelError
        When the runs cannot tell every parameter, or the arrays do not fit each other.

    Notes
    -----
    A. C. Atkinson and A. N. Donev, Optimum Experimental Designs (1992); R. H. Myers, D. C. Montgomery and C. M.
    Anderson-Cook, Response Surface Methodology (from memory).

    Checked against: k13-optimality-known-designs, tests/reference/test_optimality_cases.py.
    """
    rows, asked = np.asarray(model, dtype=float), np.asarray(candidates, dtype=float)
    faults = guards.finite("model", rows) + guards.finite("candidates", asked)
    if rows.ndim != 2 or asked.ndim != 2 or rows.shape[1] != asked.shape[1] or not len(asked):
        shapes = f"arrays of shape {rows.shape} and {asked.shape} were given"
        faults.append(Fault("candidates", shapes, "as many columns as the model has"))
    elif not faults and np.linalg.matrix_rank(rows) < rows.shape[1]:
        faults.append(Fault("model", "runs that cannot tell every parameter", "a column that is no sum of others"))
    raise_all(ModelError, "The optimality of the runs cannot be told.", faults)
    count, columns = rows.shape
    information = rows.T @ rows
    inverse = np.linalg.inv(information)
    logarithm = float(np.linalg.slogdet(information)[1])
    variance = forms.quadratic(asked, inverse)
    apart = rows[:, 1:] - rows[:, 1:].mean(axis=0)
    return Optimality(
        determinant=float(np.exp(logarithm)) if logarithm < 700.0 else float("inf"),
        d_efficiency=float(100.0 * np.exp(logarithm / columns) / count),
        a_efficiency=float(100.0 * columns / (count * np.trace(inverse))),
        g_efficiency=float(100.0 * columns / (count * variance.max())),
        trace=float(np.trace(inverse)),
        leverages=forms.quadratic(rows, inverse),
        largest_variance=float(variance.max()),
        mean_variance=float(variance.mean()),
        inflation=np.diag(inverse)[1:] * (apart**2).sum(axis=0),
    )


def moments(criterion: str, rows: ArrayLike, *, mean: bool = True) -> Floats | None:
    """Give back the matrix L of a criterion that is the trace of the inverse information times L.

    Parameters
    ----------
    criterion : str
        D, A or I.
    rows : array_like, shape (candidates, parameters)
        The combinations that predictions are asked for, the constant first.
    mean : bool
        False: the constant is not asked for, because blocks take its place; L is of the other columns.

    Returns
    -------
    ndarray or None
        None for D. A: the unit matrix. I: the mean of the rows' products, less that of their mean without the constant.

    Notes
    -----
    Checked against: sums over the rows, tests/unit/numeric/test_optimality.py.
    """
    given = np.asarray(rows, dtype=float)
    if criterion == "D":
        return None
    if not mean:
        given = given[:, 1:]
    if criterion == "A":
        return np.eye(given.shape[1])
    if not mean:
        given = given - given.mean(axis=0)
    return given.T @ given / len(given)


def bound(rows: ArrayLike, criterion: str = "D", *, mean: bool = True) -> float:
    """Give back what no design of any number of runs can beat, per run.

    Parameters
    ----------
    rows : array_like, shape (candidates, parameters)
        The allowed combinations, the constant first.
    criterion : str
        D, A or I.
    mean : bool
        As in ``moments``.

    Returns
    -------
    float
        D: the most that the p-th root of |X'X| / n^p can be (without the constant: of |X'(I - J/n)X| / n^(p-1)). A and
        I: the least that n times the trace of (X'X)^-1 L can be. The figure is proved, not merely the best found: it
        holds the gap that is left.

    Notes
    -----
    The best measure by multiplication of the weights (S. D. Silvey, D. M. Titterington and B. Torsney, Communications
    in Statistics A7 (1978) 1379-1389); the gap by the equivalence theorem (J. Kiefer and J. Wolfowitz, Canadian J.
    Math. 12 (1960) 363-366; both from memory).

    Checked against: orthogonal two-level designs (1), the quadratic of one factor (thirds at -1, 0, 1), its trace by a
    search over the weights, tests/unit/numeric/test_optimality.py.
    """
    given = np.asarray(rows, dtype=float)
    columns = given.shape[1]
    aim = moments(criterion, given, mean=mean)
    if aim is not None and not mean:
        aim = np.pad(aim, ((1, 0), (1, 0)))
    share = np.full(len(given), 1.0 / len(given))
    best = np.inf if aim is None else -np.inf
    for turn in range(_ROUNDS):
        inverse = np.linalg.inv(forms.products(given, share))
        if aim is None:
            ahead = forms.quadratic(given, inverse)
            share = share * ahead / columns
        else:
            ahead = forms.quadratic(given, inverse @ aim @ inverse)
            trace = float((inverse * aim).sum())
            share = share * np.sqrt(np.maximum(ahead, 0.0))
            share = share / share.sum()
        if turn % _CHECKED_EVERY:
            continue
        if aim is None:
            logarithm = -float(np.linalg.slogdet(inverse)[1])
            proved = (logarithm + float(ahead.max()) - columns) / columns
            best = min(best, proved)
            gap = float(ahead.max()) / columns - 1.0
        else:
            best = max(best, 2.0 * trace - float(ahead.max()))
            gap = float(ahead.max()) / trace - 1.0
        if gap < _NEAR:
            break
    if aim is not None:
        return float(best)
    return float(np.exp(best)) if mean else float(np.exp(best * columns / (columns - 1)))


def of_bound(value: float, criterion: str, limit: float, runs: int, columns: int) -> float:
    """Give back a design's criterion as per cent of the bound.

    Parameters
    ----------
    value : float
        D: the logarithm of the determinant; A and I: minus the trace.
    criterion : str
    limit : float
        From ``bound``.
    runs, columns : int
        Of the design.

    Returns
    -------
    float
        0 where a term cannot be told.

    Notes
    -----
    Checked against: tests/unit/numeric/test_optimality.py.
    """
    if value == -np.inf:
        return 0.0
    if criterion == "D":
        return float(100.0 * np.exp(value / columns) / (runs * limit))
    return float(100.0 * limit / (runs * -value))
