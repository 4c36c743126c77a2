"""Response surfaces against R's fits of published data, and published run counts and axial distances."""

import numpy as np
import pytest

from tests.reference.loader import close, load
from toolkit.numeric import second_order, surfaces


def test_central_composite_yield():
    case = load("k06-bhh-ccd-yield")
    data = case.data
    found = second_order.fit(data[["x1", "x2"]].to_numpy(), data["yield"].to_numpy())
    keys = ("(Intercept)", "x1", "x2", "I(x1^2)", "I(x2^2)", "x1:x2")
    for at, key in enumerate(keys):
        assert close(found.beta[at], case.expected(f"coefficients.estimate.{key}"), case)
        assert close(found.std_error[at], case.expected(f"coefficients.se.{key}"), case)
        if f"coefficients.estimate.{key}" in case.printed:
            printed = f"coefficients.estimate.{key}"
            assert abs(found.beta[at] - case.published(printed)) <= case.published_abs(printed)
    assert close(found.residual_sd, case.expected("residual_sd"), case)
    assert found.df == case.expected("residual_df")
    assert close(found.r2, case.expected("r2"), case)
    point = second_order.stationary(found)
    assert close(point.point[0], case.expected("stationary_point.x1"), case)
    assert close(point.point[1], case.expected("stationary_point.x2"), case)
    assert close(point.predicted, case.expected("predicted_at_stationary"), case)
    assert close(point.eigenvalues[0], case.expected("eigenvalues.0"), case)
    assert close(point.eigenvalues[1], case.expected("eigenvalues.1"), case)
    assert point.nature == case.text("nature")
    lack = found.lack_of_fit
    assert (lack.df, lack.pure_df) == (case.expected("lack_of_fit.df"), case.expected("pure_error.df"))
    assert close(lack.pure_ss, case.expected("pure_error.ss"), case)
    assert close(lack.ss, case.expected("lack_of_fit.ss"), case)
    assert close(lack.f, case.expected("lack_of_fit.F"), case)
    assert close(lack.p, case.expected("lack_of_fit.p"), case)


@pytest.mark.parametrize("response", ["uniformity", "stress"])
def test_central_composite_of_vapour_deposition(response):
    case = load("k06-nist-cvd-ccd")
    data = case.data
    found = second_order.fit(data[["x1", "x2"]].to_numpy(), data[response].to_numpy())
    for at, key in enumerate(("(Intercept)", "x1", "x2", "I(x1^2)", "I(x2^2)", "x1:x2")):
        assert close(found.beta[at], case.expected(f"{response}.coefficients.estimate.{key}"), case)
        assert close(found.std_error[at], case.expected(f"{response}.coefficients.se.{key}"), case)
    assert close(found.residual_sd, case.expected(f"{response}.residual_sd"), case)
    assert close(found.r2, case.expected(f"{response}.r2"), case)
    assert second_order.columns(data[["x1", "x2"]].to_numpy()).shape == (11, 6)
    if response == "stress":
        point = second_order.stationary(found)
        assert close(point.point[0], case.expected("stress.stationary_point.x1"), case)
        assert close(point.point[1], case.expected("stress.stationary_point.x2"), case)
        assert close(point.predicted, case.expected("stress.predicted_at_stationary"), case)
        assert close(point.eigenvalues[0], case.expected("stress.eigenvalues.0"), case)
        assert close(point.eigenvalues[1], case.expected("stress.eigenvalues.1"), case)
        assert point.nature == case.text("stress.nature")


def test_axial_distances():
    case = load("k06-ccd-axial-distance")
    for at, row in enumerate(case.records("table")):
        factors, cube = int(row["k"]), int(row["F"])
        found = surfaces.axial_distance("rotatable", factors, cube=cube, cube_centres=3, axial_centres=3)
        assert close(found, row["rotatable_alpha"], case)
        printed = f"table.{at}.rotatable_alpha"
        assert abs(found - case.published(printed)) <= case.published_abs(printed)
        assert 2 * factors == row["axial_runs"]
        smallest = [one for one in case.records("table") if one["k"] == row["k"]][0]["F"]
        assert surfaces.cube_of(factors).runs == smallest
    for row in case.records("orthogonal_quadratic"):
        size = {"cube": int(row["F"]), "cube_centres": int(row["n0"]), "axial_centres": 0}
        assert close(surfaces.axial_distance("orthogonal quadratic", int(row["k"]), **size), row["alpha"], case)
    for row in case.records("orthogonal_blocking"):
        size = {"cube": int(row["F"]), "cube_centres": int(row["centre_cube"])}
        size["axial_centres"] = int(row["centre_star"])
        assert close(surfaces.axial_distance("orthogonal blocking", int(row["k"]), **size), row["alpha"], case)
    laid = surfaces.central_composite("rotatable", 3, centres=(0, 6))
    assert laid.distance == pytest.approx(case.expected("table.1.rotatable_alpha"), abs=5e-7)
    assert laid.part.count("axial") == 6


@pytest.mark.parametrize("factors", [3, 4, 5, 6, 7])
def test_box_behnken_run_counts(factors):
    case = load("k06-box-behnken-counts")
    found = surfaces.box_behnken(factors)
    assert found.part.count("edge") == case.expected(f"k{factors}.edge_points")
    assert found.part.count("centre") == case.expected(f"k{factors}.centre_customary")
    assert len(found.points) == case.expected(f"k{factors}.total")
    assert sorted(set(found.points.ravel().tolist())) == [case.expected(f"levels.{at}") for at in range(3)]
    assert not np.all(np.abs(found.points) == 1.0, axis=1).any()
    assert len(np.unique(found.points, axis=0)) == case.expected(f"k{factors}.edge_points") + 1
