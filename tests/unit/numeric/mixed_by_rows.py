"""Mixed models by the covariance matrix of all rows: slow, plain, and written apart from the toolkit.

Everything is a textbook formula on rows by rows matrices; nothing is folded, turned or profiled out.
"""

from collections.abc import Sequence

import numpy as np


def sources(groups: Sequence[Sequence[object]]) -> list[np.ndarray]:
    """Z Z' of each term, rows by rows, and the identity of the residual."""
    made = []
    for codes in groups:
        names = list(dict.fromkeys(codes))
        z = np.array([[float(code == name) for name in names] for code in codes])
        made.append(z @ z.T)
    return [*made, np.eye(len(made[0]))]


def criterion(y: np.ndarray, x: np.ndarray, parts: Sequence[np.ndarray], variances: Sequence[float]) -> float:
    """-2 log restricted likelihood by error contrasts: the normal density of K'y for K'X = 0, K'K = I.

    The density of all such contrasts differs from the usual form by log det X'X alone.
    """
    left = np.linalg.svd(x, full_matrices=True)[0][:, x.shape[1] :]
    cov = left.T @ sum(v * part for v, part in zip(variances, parts, strict=True)) @ left
    z = left.T @ y
    return float(
        len(z) * np.log(2 * np.pi) + np.linalg.slogdet(cov)[1] + z @ np.linalg.solve(cov, z)
    )


def kenward_roger(
    x: np.ndarray, parts: Sequence[np.ndarray], variances: Sequence[float], rows: np.ndarray
) -> tuple[np.ndarray, float, float]:
    """Widened covariance, df and factor of F: Kenward and Roger 1997, equations as printed there."""
    v = sum(one * part for one, part in zip(variances, parts, strict=True))
    w = np.linalg.inv(v)
    phi = np.linalg.inv(x.T @ w @ x)
    p = [-x.T @ w @ part @ w @ x for part in parts]
    q = [[x.T @ w @ a @ w @ b @ w @ x for b in parts] for a in parts]
    k = range(len(parts))
    cleared = w - w @ x @ phi @ x.T @ w
    information = np.array([[0.5 * np.trace(cleared @ a @ cleared @ b) for b in parts] for a in parts])
    doubt = np.linalg.inv(information)
    widened = phi + 2 * phi @ sum(doubt[i, j] * (q[i][j] - p[i] @ phi @ p[j]) for i in k for j in k) @ phi
    theta = rows.T @ np.linalg.inv(rows @ phi @ rows.T) @ rows
    t = [theta @ phi @ p[i] @ phi for i in k]
    a1 = sum(doubt[i, j] * np.trace(t[i]) * np.trace(t[j]) for i in k for j in k)
    a2 = sum(doubt[i, j] * np.trace(t[i] @ t[j]) for i in k for j in k)
    ell = len(rows)
    b = (a1 + 6 * a2) / (2 * ell)
    g = ((ell + 1) * a1 - (ell + 4) * a2) / ((ell + 2) * a2)
    below = 3 * ell + 2 * (1 - g)
    c1, c2, c3 = g / below, (ell - g) / below, (ell + 2 - g) / below
    mean = 1 / (1 - a2 / ell)
    spread = 2 / ell * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
    rho = spread / (2 * mean**2)
    m = 4 + (ell + 2) / (ell * rho - 1)
    return widened, float(m), float(m / (mean * (m - 2)))


def is_best(
    y: np.ndarray, x: np.ndarray, parts: Sequence[np.ndarray], variances: np.ndarray, step: float = 0.03
) -> bool:
    """Whether no variance moved a little either way, by itself, brings the criterion down."""
    best = criterion(y, x, parts, variances)
    moved = [
        np.where(np.arange(len(variances)) == at, variances * factor, variances)
        for factor in (1.0 - step, 1.0 + step)
        for at in range(len(variances))
    ]
    return all(criterion(y, x, parts, one) > best for one in moved)


def coefficients(
    y: np.ndarray, x: np.ndarray, parts: Sequence[np.ndarray], variances: Sequence[float]
) -> np.ndarray:
    """Generalised least squares at given variances."""
    weights = np.linalg.inv(sum(v * part for v, part in zip(variances, parts, strict=True)))
    return np.linalg.solve(x.T @ weights @ x, x.T @ weights @ y)
