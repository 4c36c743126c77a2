"""The band that the ordered residuals of a fit keep to where nothing but a normal scatter is in them."""

from __future__ import annotations

import math

import pandas as pd

from toolkit.model._layers import within_units
from toolkit.model.fit import Fit
from toolkit.numeric.envelope import residual_envelope

COLUMNS = ("place", "low", "middle", "high")


def envelope(fit: Fit, *, seed: int) -> pd.DataFrame:
    """The simulated band beside the ordered residuals of a fit.

    Parameters
    ----------
    fit : Fit
    seed : int
        Of the drawing.

    Returns
    -------
    DataFrame
        One row a run, the smallest residual first: place (from 1), low, middle and high on the analysis scale, each
        place by itself at the brief's level. Empty where no degree of freedom of error is left between runs, or the
        repeats agree to the last digit.

    Notes
    -----
    ``numeric.envelope.residual_envelope`` times the error SD found between runs.

    Checked against: tests/unit/model/test_envelope.py.
    """
    square, df = fit.mean_squares[fit.strata.finest]
    if not square or df < 1:
        return pd.DataFrame(columns=list(COLUMNS))
    found = residual_envelope(within_units(fit.strata), seed=seed, conf_level=fit.brief.conf_level)
    sd = math.sqrt(square)
    parts = {name: sd * getattr(found, name) for name in COLUMNS[1:]}
    return pd.DataFrame({"place": range(1, len(fit.y) + 1), **parts})
