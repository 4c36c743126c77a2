"""Optimality figures of known designs against R, from the definitions."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from tests.reference.loader import close, load
from toolkit.numeric import exchange_model, optimality

CASE = "k13-optimality-known-designs"
# Design file, model, and the candidates that predictions are told over.
DESIGNS = {
    "full_2x3_main": ("full_2x3", "main", "corners"),
    "full_2x3_int": ("full_2x3", "int", "corners"),
    "half_2_4_1_main": ("half_2_4_1", "main", "corners"),
    "pb12_main": ("pb12", "main", "corners"),
    "one_factor_at_a_time_4runs_main": ("ofat4", "main", "corners"),
    "missing_cell_2x2_main_6runs": ("missing_cell", "main", "corners"),
    "ccd_k2_rotatable_5centres_quad": ("ccd_k2", "quad", "design"),
    "face_centred_k3_3centres_quad": ("fcc_k3", "quad", "grid"),
}


def rows_of(points: np.ndarray, model: str) -> np.ndarray:
    """The model's rows for points in coded units, through the axes that a search uses."""
    axes = tuple(exchange_model.numbers(np.unique(points[:, at])) for at in range(points.shape[1]))
    terms = {
        "main": exchange_model.main_effects(len(axes)),
        "int": exchange_model.interactions(len(axes)),
        "quad": exchange_model.quadratic(axes),
    }[model]
    levels = np.column_stack([np.searchsorted(axis.columns[:, 0], points[:, at]) for at, axis in enumerate(axes)])
    return exchange_model.Space(axes, terms).rows(levels)


@pytest.mark.parametrize("name", DESIGNS)
def test_figures_of_known_designs(name: str) -> None:
    """Determinant, D, A, G, trace, leverage, variances of prediction and inflation."""
    case = load(CASE)
    file, model, over = DESIGNS[name]
    points = case.frames[file].to_numpy(dtype=float)
    if over == "design":
        candidates = points
    else:
        steps = (-1.0, 1.0) if over == "corners" else (-1.0, 0.0, 1.0)
        candidates = np.array(list(product(steps, repeat=points.shape[1])))
    found = optimality.of_runs(rows_of(points, model), rows_of(candidates, model))
    told = {
        "det_XtX": found.determinant,
        "d_efficiency_pct": found.d_efficiency,
        "a_efficiency_pct": found.a_efficiency,
        "g_efficiency_pct": found.g_efficiency,
        "trace_inverse": found.trace,
        "max_leverage": found.leverages.max(),
        "max_pred_var_candidates": found.largest_variance,
        "avg_pred_var_candidates": found.mean_variance,
    }
    told |= {f"vif.{at}": value for at, value in enumerate(found.inflation)}
    for key, value in told.items():
        assert close(float(value), case.expected(f"{name}.{key}"), case), (name, key, value)
    assert len(points) == case.expected(f"{name}.n") and len(found.inflation) + 1 == case.expected(f"{name}.p")
