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
    samples = len(rows)
    inside = rows @ basis
    theta = basis[-1]
    # Start: least squares with the limits as values.
    z = np.empty((samples, basis.shape[1]))
    for at in range(samples):
        z[at] = _start(rows[at], basis)
    level = level_of(rows, cut, width, z @ basis.T)
    bounded = np.isfinite(width)
    gap = np.where(bounded, width, 0.0)
    active = np.ones(samples, dtype=bool)
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
        information = np.einsum("sn,snq,snt->sqt", curve, r, r)
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


def _start(rows: np.ndarray, basis: np.ndarray) -> np.ndarray:
    """Weights to start from: the least-squares fit of the values and limits as they are."""
    x, y = -rows[:, :-1], rows[:, -1]
    # Over weights = basis z with theta = 1: z solves the rest in least squares.
    theta = basis[-1]
    base = theta / float(theta @ theta)
    free = np.linalg.svd(theta[None, :])[2][1:].T
    inside = rows @ basis
    moved = np.linalg.lstsq(inside @ free, -(inside @ base), rcond=None)[0] if free.shape[1] else np.zeros(0)
    z = base + free @ moved
    rest = inside @ z
    sd = math.sqrt(float(rest @ rest) / max(len(y) - x.shape[1], 1)) or 1.0
    return z / sd
