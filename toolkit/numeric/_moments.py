"""Sums and traces over all rows that the likelihood of a linear mixed model and its inference are made of.

With H = I + sum of ratio_i Z_i Z_i' (variances over the residual one), S_i = Z_i Z_i' and W the inverse of H. Two ways
to the same numbers: by pattern where every coordinate stands alone, by block elsewhere. Everything holds a leading axis
of data sets. May import numpy; arguments are checked by the callers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolkit.numeric._bases import Floats
from toolkit.numeric.mixed_layout import Layout


@dataclass(frozen=True, eq=False)
class Values:
    """Responses of a layout, less what some fixed coefficients explain, in its coordinates.

    Attributes
    ----------
    inside : ndarray, shape (sets, blocks, r)
    rest : ndarray, shape (sets,)
        Sum of squares outside all coordinates.
    """

    inside: Floats
    rest: Floats

    def of(self, sets: np.ndarray) -> Values:
        """The data sets chosen by a mask or by numbers."""
        return Values(self.inside[sets], self.rest[sets])

    def less(self, layout: Layout, coefs: Floats) -> Values:
        """The same with further coefficients of the basis taken off, shape (sets, p)."""
        return Values(self.inside - _fitted(layout, coefs), self.rest)


@dataclass(frozen=True, eq=False)
class Moments:
    """Sums and traces at given ratios; k sources of scatter, the residual last if asked for.

    Attributes
    ----------
    log_det : ndarray, shape (sets,)
        log det H.
    inverse : ndarray, shape (sets, p, p)
        The inverse of X'WX, X the orthonormal basis of the fixed columns.
    log_information : ndarray, shape (sets,)
        log det X'WX.
    traces : ndarray, shape (sets, k, k)
        tr(W S_i W S_j).
    trace : ndarray, shape (sets, k)
        tr(W S_i).
    once : ndarray, shape (sets, k, p, p)
        X'W S_i W X.
    twice : ndarray, shape (sets, k, k, p, p)
        X'W S_i W S_j W X.
    """

    log_det: Floats
    inverse: Floats
    log_information: Floats
    traces: Floats
    trace: Floats
    once: Floats
    twice: Floats


@dataclass(frozen=True, eq=False)
class Fitted:
    """Generalised least squares at given ratios, with e the residuals it leaves and u = We.

    Attributes
    ----------
    coefs : ndarray, shape (sets, p)
    rss : ndarray, shape (sets,)
        e'We.
    single : ndarray, shape (sets, k)
        u'S_i u.
    double : ndarray, shape (sets, k, k)
        u'S_i W S_j u.
    cross : ndarray, shape (sets, k, p)
        X'W S_i u.
    """

    coefs: Floats
    rss: Floats
    single: Floats
    double: Floats
    cross: Floats


def coarse(layout: Layout, ratios: Floats, values: Values) -> tuple[Floats, Floats, Floats, Floats]:
    """Log det H, log det X'WX, generalised least-squares coefficients and e'We: enough for the likelihood alone."""
    if layout.scalar:
        weight, log_det = _pattern_weights(layout, ratios)
        rows, given, design = weight[:, layout.patterns.which], values.inside[:, :, 0], layout.design[:, 0]
        information = _times(weight, layout.patterns.squares)
        coefs = _solved(information, (rows * given) @ design)
        rss = values.rest + (rows * (given - coefs @ design.T) ** 2).sum(axis=1)
    else:
        block_weight, log_det = _block_weights(layout, ratios)
        weighted = np.matmul(block_weight, layout.design)
        information = _information(layout, weighted)
        coefs = _solved(information, _right(values, weighted))
        left = values.less(layout, coefs).inside
        rss = values.rest + (left * np.matmul(block_weight, left[..., None])[..., 0]).sum(axis=(1, 2))
    return log_det, np.linalg.slogdet(information)[1], coefs, rss


def moments(layout: Layout, ratios: Floats, values: Values | None, *, residual: bool) -> tuple[Moments, Fitted | None]:
    """Everything at ratios of shape (sets, terms), with the residual among the sources or not; no values, no fit."""
    by = _by_pattern if layout.scalar else _by_block
    made, fitted = by(layout, ratios, values, layout.terms + int(residual))
    if residual:
        # Outside all coordinates there is nothing but the residual, and W is the identity.
        made.trace[:, -1] += layout.rest_df
        made.traces[:, -1, -1] += layout.rest_df
    if fitted is not None and values is not None:
        fitted.rss[:] += values.rest
        if residual:
            fitted.single[:, -1] += values.rest
            fitted.double[:, -1, -1] += values.rest
    return made, fitted


def _solved(matrix: Floats, right: Floats) -> Floats:
    """The solutions of many sets of equations, one right side each, shape (sets, p)."""
    return np.linalg.solve(matrix, right[..., None])[..., 0]


def _fitted(layout: Layout, coefs: Floats) -> Floats:
    """What coefficients of the basis explain, in coordinates: shape (sets, blocks, r)."""
    return (coefs @ layout.design.reshape(-1, coefs.shape[1]).T).reshape(len(coefs), *layout.design.shape[:2])


def _pattern_weights(layout: Layout, ratios: Floats) -> tuple[Floats, Floats]:
    """One over the variance of each pattern, shape (sets, patterns), and log det H."""
    above = 1.0 + ratios @ layout.patterns.multipliers[:, :-1].T
    return 1.0 / above, np.log(above) @ layout.patterns.number


def _times(weight: Floats, parts: Floats) -> Floats:
    """Weighted sums of parts: shapes (..., k) and (k, a, b) to (..., a, b)."""
    return (weight @ parts.reshape(len(parts), -1)).reshape(*weight.shape[:-1], *parts.shape[1:])


def _by_pattern(layout: Layout, ratios: Floats, values: Values | None, count: int) -> tuple[Moments, Fitted | None]:
    """Sums inside the coordinates, where each of them stands alone."""
    known = layout.patterns
    share, pairs = known.multipliers[:, :count], known.pairs[:, :count, :count]
    weight, log_det = _pattern_weights(layout, ratios)
    square = weight * weight
    number = weight * known.number
    information = _times(weight, known.squares)
    inverse = np.linalg.inv(information)
    made = Moments(
        log_det,
        inverse,
        np.linalg.slogdet(information)[1],
        _times(weight * number, pairs),
        number @ share,
        _times(square[:, None, :] * share.T, known.squares),
        _times((square * weight)[:, None, None, :] * pairs.transpose(1, 2, 0), known.squares),
    )
    if values is None:
        return made, None
    rows, design, given = weight[:, known.which], layout.design[:, 0], values.inside[:, :, 0]
    coefs = np.matmul(((rows * given) @ design)[:, None, :], inverse)[:, 0]
    once = rows * (given - coefs @ design.T)
    power = once * once
    by_row = share[known.which]
    cross = ((rows * once)[:, None, :] * by_row.T) @ design
    double = _times(rows * power, pairs[known.which])
    return made, Fitted(coefs, (power / rows).sum(axis=1), power @ by_row, double, cross)


def _block_weights(layout: Layout, ratios: Floats) -> tuple[Floats, Floats]:
    """W of each block, shape (sets, blocks, r, r), and log det H."""
    r = layout.spread.shape[-1]
    above = np.eye(r) + np.tensordot(ratios, layout.spread[:-1], 1)
    return np.linalg.inv(above), np.linalg.slogdet(above)[1].sum(axis=1)


def _information(layout: Layout, weighted: Floats) -> Floats:
    """X'WX from WX, shape (sets, blocks, r, p)."""
    p = layout.parameters
    return layout.design.reshape(-1, p).T @ weighted.reshape(len(weighted), -1, p)


def _right(values: Values, weighted: Floats) -> Floats:
    """X'Wy from WX."""
    flat = weighted.reshape(len(weighted), -1, weighted.shape[-1])
    return np.matmul(values.inside.reshape(len(flat), 1, -1), flat)[:, 0]


def _by_block(
    layout: Layout, ratios: Floats, values: Values | None, count: int
) -> tuple[Moments, Fitted | None]:
    """Sums inside the coordinates, block by block."""
    sets, p = len(ratios), layout.parameters
    spread = layout.spread[:count]
    weight, log_det = _block_weights(layout, ratios)
    weighted = np.matmul(weight, layout.design)
    information = _information(layout, weighted)
    inverse = np.linalg.inv(information)
    spread_design = np.matmul(spread, weighted[:, None])
    wide = spread_design.transpose(0, 2, 3, 1, 4).reshape(sets, -1, count * p)
    again = np.matmul(weight[:, None], spread_design).transpose(0, 2, 3, 1, 4).reshape(sets, -1, count * p)
    once = np.matmul(weighted.reshape(sets, -1, p).transpose(0, 2, 1), wide)
    twice = np.matmul(wide.transpose(0, 2, 1), again)
    spread_weight = np.matmul(spread, weight[:, None])
    across = spread_weight.transpose(0, 1, 2, 4, 3).reshape(sets, count, -1)
    made = Moments(
        log_det,
        inverse,
        np.linalg.slogdet(information)[1],
        np.matmul(spread_weight.reshape(sets, count, -1), across.transpose(0, 2, 1)),
        np.trace(spread_weight, axis1=3, axis2=4).sum(axis=2),
        once.reshape(sets, p, count, p).transpose(0, 2, 1, 3),
        twice.reshape(sets, count, p, count, p).transpose(0, 1, 3, 2, 4),
    )
    if values is None:
        return made, None
    coefs = np.matmul(_right(values, weighted)[:, None, :], inverse)[:, 0]
    left = values.less(layout, coefs).inside
    once_left = np.matmul(weight, left[..., None])
    spread_left = np.matmul(spread, once_left[:, None])
    flat = spread_left.reshape(sets, count, -1)
    twice_left = np.matmul(weight[:, None], spread_left).reshape(sets, count, -1)
    fitted = Fitted(
        coefs,
        (left * once_left[..., 0]).sum(axis=(1, 2)),
        np.matmul(flat, once_left.reshape(sets, -1, 1))[..., 0],
        np.matmul(flat, twice_left.transpose(0, 2, 1)),
        np.matmul(flat, weighted.reshape(sets, -1, p)),
    )
    return made, fitted
