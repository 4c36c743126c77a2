"""Whether the residuals look normal, and whether the runs speak for another scale than the one declared (rank 4)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from toolkit.model._layers import within_units
from toolkit.model.diagnostics import FEWEST_DF, LOOK, NOTHING, UNTESTED
from toolkit.model.fit import Fit
from toolkit.numeric.normality import straightness
from toolkit.numeric.power_scale import fits_as_well, power_of

COLUMNS = ("check", "statistic", "df", "p_value", "result", "sentence")
NORMALITY, SCALE = "normality", "scale"
# Where the values span less than this, answers hardly depend on the scale (common practice).
WIDE = 3.0
_PLAIN = {
    2.0: "the square",
    1.0: "the values as they are",
    0.5: "the square root",
    0.0: "the logarithm",
    -0.5: "one over the square root",
    -1.0: "one over the value",
    -2.0: "one over the square",
}


def shape(fit: Fit) -> pd.DataFrame:
    """How straight the normal plot of the residuals is, and whether another power of the values fits better.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    DataFrame
        check (normality, scale), statistic (W; the power that fits best), df of the residuals, p_value (None of scale
        where the largest value is less than 3 times the smallest), result (nothing seen, look at it, not testable),
        sentence. Neither is made below 3 df of error.

    Notes
    -----
    Both by drawn campaigns, since few residuals are neither independent nor of one variance. No scale is changed by it:
    the verdicts keep the one declared before the runs.

    Checked against: tests/unit/model/test_residual_shape.py; the numbers as ``numeric.normality`` and
    ``numeric.power_scale``.
    """
    square, df = fit.mean_squares[fit.strata.finest]
    if not square or df < FEWEST_DF:
        agree = df > 0 and square == 0.0
        told = f"not testable{': the repeats agree to the last digit' if agree else f' with {df} df of error'}"
        rows = [_line(name, None, df, None, UNTESTED, f"{name}: {told}") for name in (NORMALITY, SCALE)]
    else:
        columns = within_units(fit.strata)
        rows = [_normality(fit, columns, df), _scale(fit, columns, df)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _line(*values: object) -> dict[str, object]:
    """One row."""
    return dict(zip(COLUMNS, values, strict=True))


def _normality(fit: Fit, columns: np.ndarray, df: int) -> dict[str, object]:
    """Shapiro and Wilk's W with its share of drawn campaigns."""
    found = straightness(columns, fit.residuals, seed=fit.brief.seed)
    bent = found.p_value < fit.brief.alpha
    told = (
        "the normal plot bends: look for an odd run, two kinds of runs, or another scale"
        if bent
        else "no more than chance allows"
    )
    sentence = f"normality: W = {found.w:.3f} (p = {found.p_value:.2g}): {told}"
    return _line(NORMALITY, found.w, df, found.p_value, LOOK if bent else NOTHING, sentence)


def _scale(fit: Fit, columns: np.ndarray, df: int) -> dict[str, object]:
    """The power of the values that fits best, beside the scale declared."""
    log = fit.response.scale == "log"
    values = np.exp(fit.y) if log else fit.y
    if (values <= 0.0).any():
        return _line(SCALE, None, df, None, UNTESTED, "scale: not testable: values at or below nought have no power")
    best = power_of(columns, values).best
    if values.max() < WIDE * values.min():
        told = f"scale: the largest value is {values.max() / values.min():.2g} times the smallest: any scale would do"
        return _line(SCALE, best, df, None, NOTHING, told)
    p_value = fits_as_well(columns, values, 0 if log else 1, seed=fit.brief.seed)
    declared = "the log scale" if log else "the linear scale"
    nearest = min(_PLAIN, key=lambda power: abs(power - best))
    power = f"{best:z.1f}".replace("-", "−")
    if p_value >= fit.brief.alpha:
        told = f"scale: {declared}, as declared, is as good as any (p = {p_value:.2g}): no more than chance allows"
        return _line(SCALE, best, df, p_value, NOTHING, told)
    told = (
        f"scale: another one than {declared} fits better (p = {p_value:.2g}): power {power}, near {_PLAIN[nearest]}; "
        f"the verdicts keep the scale declared: see whether effects or scatter grow with the level"
    )
    return _line(SCALE, best, df, p_value, LOOK, told)
