"""Polynomial contrasts: coefficients of printed tables, uneven spacing, a parabola found again, refusals."""

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import brief_of, runs_of
from toolkit.errors import ModelError
from toolkit.model import polynomials
from toolkit.model.anova import table
from toolkit.model.fit import fit

# R. A. Fisher and F. Yates, Statistical Tables, orthogonal polynomials (textbook).
TABLE = {
    3: [(-1, 0, 1), (1, -2, 1)],
    4: [(-3, -1, 1, 3), (1, -1, -1, 1), (-1, 3, -3, 1)],
    5: [(-2, -1, 0, 1, 2), (2, -1, -2, -1, 2), (-1, 2, 0, -2, 1), (1, -4, 6, -4, 1)],
}


@pytest.mark.parametrize("count", TABLE)
def test_even_spacing_gives_the_printed_coefficients(count):
    found = polynomials.weights_of([10.0 + 2.5 * at for at in range(count)])
    for row, printed in zip(found, TABLE[count], strict=True):
        expected = np.array(printed, dtype=float)
        assert row / row[-1] == pytest.approx(expected / expected[-1], abs=1e-12)
    assert np.abs(found[1:]).sum(axis=1) == pytest.approx(np.full(count - 2, 2.0))
    # The line from first to last: weights times the places give the range.
    assert found[0] @ np.linspace(0, 7, count) == pytest.approx(7.0)


def test_uneven_spacing_by_hand():
    # Doses 0.5, 1, 2: places -2/3, -1/6, 5/6 of the mean; squares add to 7/6, times the range 1.5.
    found = polynomials.weights_of([0.5, 1.0, 2.0])
    assert found[0] == pytest.approx(np.array([-2 / 3, -1 / 6, 5 / 6]) / (7 / 6) * 1.5, rel=1e-12)
    assert found[1] == pytest.approx([2 / 3, -1, 1 / 3], rel=1e-12)


def curve(scale="linear", at=1.0):
    """Temperatures 80, 90, 110 twice at two oils, wear a parabola with noise of nought; INVENTED."""
    lines = [(temp, oil) for _ in range(2) for temp in ("110", "80", "90") for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["temp_degC", "oil"])
    x, oil = data["temp_degC"].astype(float), (data["oil"] == "O1").astype(float)
    clean = 20 + 0.4 * (x - 80) - 0.01 * at * (x - 80) ** 2 + 3 * oil
    noise = np.array([1, -1, 0.5, -0.5, 2, 1, -1, 1, -0.5, 0.5, -2, -1]) * 0.01
    data["wear_um"] = np.exp(clean / 20 + noise) if scale == "log" else clean + noise
    names = ["temp_degC", "oil"]
    brief = brief_of(data, names, "wear_um", numeric=["temp_degC"], scale=scale)
    return fit(brief, runs_of(data, names, "wear_um"), "wear_um")


def test_a_line_is_found_again_and_levels_are_put_in_order():
    linear, quadratic = polynomials.polynomials(curve(at=0.0), "temp_degC", at={"oil": "O1"}).to_dict("records")
    assert linear["estimate"] == pytest.approx(0.4 * 30, rel=1e-9)
    assert quadratic["estimate"] == pytest.approx(0.0, abs=1e-9)
    assert linear["contrast"] == "temp_degC linear: from 80 to 110 along the straight line at oil O1"
    assert quadratic["contrast"] == "temp_degC quadratic: +0.667 × 80, -1 × 90, +0.333 × 110 at oil O1"
    assert (quadratic["degree"], quadratic["at"], quadratic["weights"]) == (
        2, {"oil": "O1"}, {"80": pytest.approx(2 / 3), "90": -1.0, "110": pytest.approx(1 / 3)})


def test_a_bend_of_known_size_and_sums_of_squares_that_add_up():
    made = curve()
    linear, quadratic = polynomials.polynomials(made, "temp_degC").to_dict("records")
    # -0.01 (x - 80)^2 is 0, -1, -9: two thirds of 0 less -1 and a third of -9.
    assert quadratic["estimate"] == pytest.approx(-9 / 3 + 1, rel=1e-9)
    line = table(made).set_index("term").loc["temp_degC"]
    assert linear["sum_sq"] + quadratic["sum_sq"] == pytest.approx(line["sum_sq"], rel=1e-10)
    ratio = (quadratic["estimate"] / quadratic["std_error"]) ** 2
    assert quadratic["sum_sq"] / made.mean_squares["run"][0] == pytest.approx(ratio, rel=1e-10)


def test_ratios_on_the_log_scale():
    linear, quadratic = polynomials.polynomials(curve("log"), "temp_degC").to_dict("records")
    assert quadratic["estimate"] == pytest.approx(np.exp((-9 / 3 + 1) / 20), rel=1e-9)
    assert (quadratic["measured_in"], linear["measured_in"]) == ("ratio", "ratio")


def test_names_and_two_levels_have_no_polynomial():
    made = curve()
    with pytest.raises(ModelError) as refused:
        polynomials.polynomials(made, "oil")
    assert str(refused.value) == (
        "factor 'oil': its levels are names, not numbers, so it has no straight line. Compare its levels instead, or "
        "give them a value in the brief."
    )
    data = pd.DataFrame({"load_N": ["1", "2"] * 2, "y": [1.0, 2.0, 1.1, 2.2]})
    two = fit(brief_of(data, ["load_N"], "y", numeric=["load_N"]), runs_of(data, ["load_N"], "y"), "y")
    with pytest.raises(ModelError) as refused:
        polynomials.polynomials(two, "load_N")
    assert str(refused.value) == (
        "factor 'load_N': 2 levels; expected three or more. Between two levels the straight line is their comparison."
    )
