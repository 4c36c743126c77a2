"""The band beside the residuals of a fit: in their unit, on their layout, and none where there is no error."""

import numpy as np
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.model import fit as model_fit
from toolkit.model.envelope import envelope
from toolkit.numeric.envelope import residual_envelope

FACTORS = ("pin", "oil")


def fitted(builds=("B1", "B2", "B3"), **more):
    """The INVENTED 2x2, its builds as blocks."""
    data = pin_by_oil(INVENTED[: 4 * len(builds)], builds=builds)
    brief = brief_of(data, FACTORS, "elongation_pct", block=True, scale="log", **more)
    return model_fit.fit(brief, runs_of(data, FACTORS, "elongation_pct", build="build"), "elongation_pct")


def test_it_is_the_band_of_the_layout_times_the_error_sd_found():
    fit = fitted()
    square, df = fit.mean_squares["run"]
    found = envelope(fit, seed=11)
    build = np.repeat(np.eye(3), 4, axis=0)
    pin, oil = np.tile([-1, -1, 1, 1], 3), np.tile([-1, 1, -1, 1], 3)
    asked = residual_envelope(np.column_stack([build, pin, oil, pin * oil]), seed=11)
    assert df == asked.df == 6
    assert list(found["place"]) == list(range(1, 13))
    for name in ("low", "middle", "high"):
        assert found[name].to_numpy() == pytest.approx(np.sqrt(square) * getattr(asked, name), rel=1e-9)


def test_without_an_error_there_is_no_band():
    found = envelope(fitted(builds=("B1",)), seed=11)
    assert found.empty and list(found.columns) == ["place", "low", "middle", "high"]
