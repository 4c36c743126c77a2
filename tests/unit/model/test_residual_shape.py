"""Normality and scale of the residuals of a fit: the numbers, and every sentence."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.model.fit import fit
from toolkit.model.residual_shape import shape
from toolkit.numeric.normality import straightness
from toolkit.numeric.power_scale import fits_as_well, power_of

Y = "elongation_pct"


def fitted(values=INVENTED, *, scale="log", rows=slice(None)):
    """A 2x2 in three builds."""
    data = pin_by_oil(INVENTED).assign(**{Y: list(values)}).iloc[rows]
    brief = brief_of(data, ["pin", "oil"], Y, scale=scale, block="build")
    return fit(brief, runs_of(data, ["pin", "oil"], Y, build="build"), Y)


def columns():
    """Combinations and builds as columns of noughts and ones."""
    data = pin_by_oil(INVENTED)
    return np.hstack([
        pd.get_dummies(data["pin"] + data["oil"]).to_numpy(float), pd.get_dummies(data["build"]).to_numpy(float)
    ])


def test_quiet_residuals_on_the_declared_scale():
    wide = np.array(INVENTED) * np.tile([1.0, 1.5, 2.5, 4.0], 3)
    table = shape(fitted(wide)).set_index("check")
    left = np.log(wide) - columns() @ np.linalg.pinv(columns()) @ np.log(wide)
    found = straightness(columns(), left, seed=1)
    p_value = fits_as_well(columns(), wide, 0, seed=1)
    assert found.p_value > 0.05 < p_value
    assert table["sentence"].to_dict() == {
        "normality": f"normality: W = {found.w:.3f} (p = {found.p_value:.2g}): no more than chance allows",
        "scale": f"scale: the log scale, as declared, is as good as any (p = {p_value:.2g}): no more than chance "
        "allows",
    }
    assert set(table["result"]) == {"nothing seen"}
    assert table["statistic"].tolist() == pytest.approx([found.w, power_of(columns(), wide).best], abs=1e-6)
    assert set(table["df"]) == {6}


def test_where_the_values_span_little_any_scale_would_do():
    row = shape(fitted()).set_index("check").loc["scale"]
    assert (row["result"], row["p_value"]) == ("nothing seen", None)
    assert row["sentence"] == "scale: the largest value is 1.8 times the smallest: any scale would do"


def test_a_run_far_out_bends_the_plot_and_a_growing_scatter_speaks_for_another_scale():
    data = pd.DataFrame({"finish": np.repeat(["honed", "lapped"], 8)})
    data[Y] = np.exp(0.1 * np.random.default_rng(3).normal(size=16) + np.where(np.arange(16) == 5, 1.0, 0.0))
    made = fit(brief_of(data, ["finish"], Y, scale="log"), runs_of(data, ["finish"], Y), Y)
    row = shape(made).set_index("check").loc["normality"]
    assert row["p_value"] < 0.05 and row["result"] == "look at it"
    assert row["sentence"] == (
        f"normality: W = {row['statistic']:.3f} (p = {row['p_value']:.2g}): the normal plot bends: look for an odd "
        "run, two kinds of runs, or another scale"
    )
    # Effects that multiply, over a wide range, read on the linear scale.
    level = np.exp(np.tile([0.0, 1.0, 1.5, 2.5], 3) + np.repeat([0.0, 1.0, 2.0], 4))
    wide = level * np.exp(0.03 * np.random.default_rng(5).normal(size=12))
    row = shape(fitted(wide, scale="linear")).set_index("check").loc["scale"]
    assert row["result"] == "look at it" and abs(row["statistic"]) < 0.1
    power = f"{row['statistic']:.1f}".replace("-", "−")
    assert row["sentence"] == (
        f"scale: another one than the linear scale fits better (p = {row['p_value']:.2g}): power {power}, near the "
        "logarithm; the verdicts keep the scale declared: see whether effects or scatter grow with the level"
    )


def test_what_cannot_be_tested_says_so():
    few = shape(fitted(rows=slice(0, 6)))
    assert list(few["sentence"]) == [
        "normality: not testable with 1 df of error", "scale: not testable with 1 df of error"]
    assert set(few["result"]) == {"not testable"} and set(few["p_value"]) == {None}
    alike = shape(fitted([0.1] * 12))
    assert list(alike["sentence"]) == [
        "normality: not testable: the repeats agree to the last digit",
        "scale: not testable: the repeats agree to the last digit",
    ]
    below = [value - 0.11 for value in INVENTED]
    row = shape(fitted(below, scale="linear")).set_index("check").loc["scale"]
    assert min(below) < 0.0
    assert row["sentence"] == "scale: not testable: values at or below nought have no power"
