"""The greatest likelihood of normal values some of which are only known to lie in an interval (rank 1).

Many samples at once. A row that multiplies (gamma, theta) gives theta y - x gamma, the standardised distance of a
value, or of the upper end of its interval, from its fit; ``width`` is how far below it the lower end lies.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special

STEPS, HALVINGS = 60, 40
_HALF_LOG = 0.5 * math.log(2.0 * math.pi)


def scaled(y: np.ndarray, cut: np.ndarray) -> tuple[float, float]:
    """A scale and a centre that keep the numbers near 1."""
    above = y[~cut] if (~cut).any() else y
    return float(above.std()) or max(1.0, abs(float(above.mean()))), float(above.mean())


def rows_of(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """What multiplies (gamma, theta) in theta y - x gamma, shape (samples, n, p + 1)."""
    return np.concatenate([np.broadcast_to(-x, (len(y), *x.shape)), y[:, :, None]], axis=2)


def _log_mass(upper: np.ndarray, lower: np.ndarray) -> np.ndarray:
    """The logarithm of the normal probability between two ends, the lower may be -inf; without cancellation."""
    flip = lower > 0.0
    high, low = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
    top = special.log_ndtr(high)
    gone = np.minimum(special.log_ndtr(low) - top, -1e-300)
    return top + np.log(-np.expm1(gone))


def level_of(rows: np.ndarray, cut: np.ndarray, width: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The log-likelihood of each sample, -inf where theta is not above 0."""
    at = np.einsum("snq,sq->sn", rows, weights)
    theta = weights[:, -1]
    good = theta > 0.0
    log = np.log(np.where(good, theta, 1.0))
    above = log[:, None] - 0.5 * at**2 - _HALF_LOG
    mass = _log_mass(at, at - np.where(good, theta, 1.0)[:, None] * width)
    total = np.where(cut, mass, above).sum(axis=1)
    return np.where(good, total, -np.inf)


def maximum(
    rows: np.ndarray, cut: np.ndarray, width: np.ndarray, basis: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The greatest likelihood of each sample over weights = basis z; weights and log-likelihoods.

    Newton's method; the log of a normal probability between two ends is concave, so that its step always climbs.
    """
    inside = rows @ basis
    theta = basis[-1]
    # Start: least squares with the limits as values.
    z = _start(inside, theta, rows.shape[1] - rows.shape[2] + 1)
    level = level_of(rows, cut, width, z @ basis.T)
    bounded = np.isfinite(width)
    gap = np.where(bounded, width, 0.0)
    active = np.ones(len(rows), dtype=bool)
    for _ in range(STEPS):
        index = np.flatnonzero(active)
        if not len(index):
            break
        r, below, apart = inside[index], cut[index], gap[index]
        at = np.einsum("snq,sq->sn", r, z[index])
        scale = z[index] @ theta
        low = at - scale[:, None] * width[index]
        mass = _log_mass(at, low)
        mills = np.exp(-0.5 * at**2 - _HALF_LOG - mass)
        under = np.where(bounded[index], np.exp(-0.5 * np.where(bounded[index], low, 0.0) ** 2 - _HALF_LOG - mass), 0.0)
        low = np.where(bounded[index], low, 0.0)
        inverse = 1.0 / scale
        # The slope of each row is slope r + tail theta; its curvature follows by the product rule.
        slope = np.where(below, mills - under, -at)
        tail = np.where(below, under * apart, 0.0)
        curve = np.where(below, at * mills - low * under + slope**2, 1.0)
        cross = np.where(below, low * under * apart + slope * tail, 0.0)
        ends = np.where(below, -low * under * apart**2 + tail**2, 0.0)
        count = (~below).sum(axis=1)
        gradient = np.einsum("sn,snq->sq", slope, r) + (count * inverse + tail.sum(axis=1))[:, None] * theta
        information = (curve[:, :, None] * r).transpose(0, 2, 1) @ r
        mixed = np.einsum("sn,snq->sq", cross, r)[:, :, None] * theta
        information += mixed + mixed.transpose(0, 2, 1)
        information += (count * inverse**2 + ends.sum(axis=1))[:, None, None] * np.outer(theta, theta)
        ridge = 1e-12 * np.trace(information, axis1=1, axis2=2)[:, None, None] * np.eye(len(theta))
        step = np.linalg.solve(information + ridge, gradient[:, :, None])[:, :, 0]
        gain = np.einsum("sq,sq->s", gradient, step)
        size = np.ones(len(index))
        open_ = np.ones(len(index), dtype=bool)
        for _half in range(HALVINGS):
            trial = z[index] + size[:, None] * step
            new = level_of(rows[index], below, width[index], trial @ basis.T)
            open_ = ~(new >= level[index] - 1e-13 * np.abs(level[index]))
            if not open_.any():
                break
            size = np.where(open_, size / 2.0, size)
        moved = ~open_
        z[index[moved]] = trial[moved]
        level[index[moved]] = new[moved]
        active[index[(gain < 1e-12) | open_]] = False
    return z @ basis.T, level


def _start(inside: np.ndarray, theta: np.ndarray, df: int) -> np.ndarray:
    """Where to start from, one row a sample: the least-squares fit of the values and limits as they are."""
    # With theta = 1 the rest is least squares; a hair of ridge, for this is a start and no answer.
    base = theta / float(theta @ theta)
    free = np.linalg.svd(theta[None, :])[2][1:].T
    columns, aim = inside @ free, -(inside @ base)
    square = columns.transpose(0, 2, 1) @ columns
    square += 1e-12 * (1.0 + np.trace(square, axis1=1, axis2=2))[:, None, None] * np.eye(free.shape[1])
    moved = np.linalg.solve(square, np.einsum("snk,sn->sk", columns, aim)[:, :, None])[:, :, 0]
    z = base + moved @ free.T
    rest = np.einsum("snq,sq->sn", inside, z)
    sd = np.sqrt((rest**2).sum(axis=1) / max(df, 1))
    return z / np.where(sd > 0.0, sd, 1.0)[:, None]
