"""Limits of variance components: by their definition, their coverage, and which way is taken when."""

import numpy as np
import pytest
from scipy import optimize, stats

from tests.unit.numeric import mixed_by_rows as by_rows
from tests.unit.numeric.test_reml import BATCHES, BUILD, KEPT, WHOLE_PLOTS, three_layers
from toolkit.errors import ModelError
from toolkit.numeric import component_limits, component_profile, components, mixed_layout, reml


def unequal() -> tuple[np.ndarray, dict[str, list], np.ndarray]:
    """Columns, runs within builds of unequal size, and a response with scatter of both."""
    rng = np.random.default_rng(6)
    columns, groups = three_layers(rng)
    nested = {name: groups[name] for name in ("build", "run")}
    y = rng.normal(size=len(columns))
    for codes in nested.values():
        names = list(dict.fromkeys(codes))
        y += 1.5 * rng.normal(size=len(names))[[names.index(code) for code in codes]]
    return columns, nested, y


def lowered(columns: np.ndarray, parts: list[np.ndarray], y: np.ndarray, source: int, held: float) -> float:
    """-2 log likelihood of all rows with one variance held, the others found by scipy's simplex search."""
    free = [at for at in range(len(parts)) if at != source]

    def at(logs: np.ndarray) -> float:
        variances = np.full(len(parts), held)
        variances[free] = np.exp(logs)
        return by_rows.criterion(y, columns, parts, variances)

    tight = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000, "maxfev": 4000}
    return min(
        float(optimize.minimize(at, np.full(len(free), start), method="Nelder-Mead", options=tight).fun)
        for start in (-3.0, 0.5)
    )


def test_profile_limits_are_where_the_likelihood_has_fallen() -> None:
    """At every limit the likelihood of all rows, at its best over the others, stands 3.84 above its lowest."""
    columns, groups, y = unequal()
    laid, parts = mixed_layout.layout_of(columns, groups), by_rows.sources(list(groups.values()))
    assert not laid.scalar
    found = component_profile.profile(laid, y)
    made = reml.fit(laid, y)
    lowest = by_rows.criterion(y, columns, parts, made.variances)
    rise = stats.chi2.ppf(0.95, 1)
    assert found.sd.tolist() == pytest.approx(np.sqrt(made.variances).tolist(), rel=1e-14)
    assert (found.sd > 0.0).all()
    ends = 0
    for source in range(3):
        assert found.sd_low[source] < found.sd[source] < found.sd_high[source]
        for sd in (found.sd_low[source], found.sd_high[source]):
            if sd > 0.0:
                assert lowered(columns, parts, y, source, sd**2) - lowest == pytest.approx(rise, abs=1e-5)
                ends += 1
            else:
                assert lowered(columns, parts, y, source, 0.0) - lowest < rise
    assert ends >= 5
    wider = component_profile.profile(laid, y, conf_level=0.99)
    assert (wider.sd_high > found.sd_high).all()
    assert (wider.sd_low <= found.sd_low).all()
    assert component_limits.limits(laid, y).how == ("likelihood profile",) * 3


def test_rise_is_that_of_the_likelihood() -> None:
    """The rise at stated variances against the likelihood of all rows, for each source."""
    columns, groups, y = unequal()
    laid, parts = mixed_layout.layout_of(columns, groups), by_rows.sources(list(groups.values()))
    responses = np.array([y, y[::-1] + columns[:, 1]])
    made = reml.fit_many(laid, responses)
    for source, name in enumerate(laid.names):
        found = component_profile.rise(made, responses, name, 0.7)
        for number, values in enumerate(responses):
            lowest = by_rows.criterion(values, columns, parts, made.variances[number])
            expected = lowered(columns, parts, values, source, 0.7) - lowest
            assert float(found[number]) == pytest.approx(expected, abs=1e-6)
    assert component_profile.rise(made, responses, "residual", float(made.variances[0, -1]))[0] < 1e-9


@pytest.mark.parametrize("between", [0.5, 2.0])
def test_profile_covers(between: float) -> None:
    """In 2,000 split-plots with five of 24 runs lost the true SD lies between the limits in about 95 % of them.

    Likelihood limits are not exact: with six df between builds they hold 94 % to 99 %.
    """
    laid = mixed_layout.layout_of(WHOLE_PLOTS[KEPT], {"build": BUILD[KEPT].tolist()})
    rng = np.random.default_rng(31)
    y = between * rng.normal(size=(2000, 8))[:, BUILD[KEPT]] + rng.normal(size=(2000, len(KEPT)))
    made = reml.fit_many(laid, y)
    quantile, noise = stats.chi2.ppf(0.95, 1), 3.24 * np.sqrt(0.05 * 0.95 / 2000)
    builds = np.mean(component_profile.rise(made, y, "build", between**2) <= quantile)
    runs = np.mean(component_profile.rise(made, y, "residual", 1.0) <= quantile)
    assert 0.94 - noise <= builds <= 0.99 + noise
    assert 0.93 - noise <= runs <= 0.96 + noise


def test_balanced_layers_by_mean_squares() -> None:
    """Two layers of groups: each component by Williams and Tukey from its mean square and the next, as by hand."""
    rng = np.random.default_rng(12)
    build, run = np.repeat(np.arange(5), 8), np.repeat(np.arange(20), 2)
    y = 2.0 * rng.normal(size=5)[build] + rng.normal(size=20)[run] + 0.5 * rng.normal(size=40)
    laid = mixed_layout.layout_of(np.ones((40, 1)), {"build": build.tolist(), "run": run.tolist()})
    found = component_limits.limits(laid, y)
    run_means, build_means = y.reshape(20, 2).mean(axis=1), y.reshape(5, 8).mean(axis=1)
    squares = [
        8.0 * np.var(build_means, ddof=1),
        2.0 * ((run_means - np.repeat(build_means, 4)) ** 2).sum() / 15,
        ((y - np.repeat(run_means, 2)) ** 2).sum() / 20,
    ]
    known = component_limits.stratum_squares(laid, y)
    assert known is not None
    assert known.mean_squares == pytest.approx(squares, rel=1e-10)
    assert known.df.tolist() == [4, 15, 20]
    assert known.multipliers.tolist() == [pytest.approx(row) for row in ([8, 2, 1], [0, 2, 1], [0, 0, 1])]
    outer = components.between_scatter(squares[0], 4, squares[1], 15, 8)
    inner = components.between_scatter(squares[1], 15, squares[2], 20, 2)
    assert found.sd[:2] == pytest.approx([float(outer.sd), float(inner.sd)], rel=1e-10)
    assert found.sd_low[:2] == pytest.approx([float(outer.sd_low), float(inner.sd_low)], rel=1e-10)
    assert found.sd_high[:2] == pytest.approx([float(outer.sd_high), float(inner.sd_high)], rel=1e-10)
    chi = np.sqrt(20 * squares[2] / stats.chi2.ppf([0.975, 0.025], 20))
    assert [found.sd_low[2], found.sd_high[2]] == pytest.approx(list(chi), rel=1e-9)
    assert found.how == ("mean squares",) * 3


def test_a_negative_component_is_shown() -> None:
    """Box and Tiao's batches: the variance keeps its sign, its SD is 0, and the upper limit is above 0."""
    laid = mixed_layout.layout_of(np.ones((30, 1)), {"batch": np.repeat(np.arange(6), 5).tolist()})
    found = component_limits.limits(laid, BATCHES.ravel())
    assert found.variances[0] == pytest.approx(-1.3219, abs=1e-4)
    assert found.sd[0] == 0.0
    assert found.sd_low[0] == 0.0
    assert found.sd_high[0] > 1.0
    by_likelihood = component_profile.profile(laid, BATCHES.ravel())
    assert by_likelihood.variances[0] == 0.0
    assert by_likelihood.sd_low[0] == 0.0
    assert by_likelihood.sd_high[0] > 1.0


def test_crossed_with_their_product_needs_four_mean_squares() -> None:
    """Operator by part with repeats: operator and part come from differences to the product, all by mean squares."""
    rng = np.random.default_rng(5)
    part, operator = np.repeat(np.arange(6), 6), np.tile(np.repeat(np.arange(3), 2), 6)
    groups = {
        "part": part.tolist(),
        "operator": operator.tolist(),
        "both": mixed_layout.within(part.tolist(), operator.tolist()),
    }
    y = 3 * rng.normal(size=6)[part] + rng.normal(size=3)[operator] + rng.normal(size=36)
    laid = mixed_layout.layout_of(np.ones((36, 1)), groups)
    known = component_limits.stratum_squares(laid, y)
    assert known is not None
    cells = y.reshape(6, 3, 2)
    by_part, by_operator, both = cells.mean(axis=(1, 2)), cells.mean(axis=(0, 2)), cells.mean(axis=2)
    product = both - by_part[:, None] - by_operator[None, :] + y.mean()
    squares = {
        "part": 6 * np.var(by_part, ddof=1),
        "operator": 12 * np.var(by_operator, ddof=1),
        "both": 2 * (product**2).sum() / 10,
        "residual": ((cells - both[:, :, None]) ** 2).sum() / 18,
    }
    expected = [
        (squares["part"] - squares["both"]) / 6,
        (squares["operator"] - squares["both"]) / 12,
        (squares["both"] - squares["residual"]) / 2,
        squares["residual"],
    ]
    assert known.variances == pytest.approx(expected, rel=1e-10)
    found = component_limits.limits(laid, y)
    one = components.between_scatter(squares["operator"], 2, squares["both"], 10, 12)
    assert float(found.sd_high[1]) == pytest.approx(float(one.sd_high), rel=1e-9)
    lost = mixed_layout.layout_of(WHOLE_PLOTS[KEPT], {"build": BUILD[KEPT].tolist()})
    assert component_limits.stratum_squares(lost, y[: len(KEPT)]) is None


def test_oils_that_differ_between_builds_too_are_not_balanced() -> None:
    """Three oils, two a build: equal builds, but the oils lie in both strata, so no mean square is anyone's error."""
    build, oil = np.repeat(np.arange(6), 2), np.array([0, 1, 0, 2, 1, 2] * 2)
    columns = np.column_stack([np.ones(12), oil == 1, oil == 2]).astype(float)
    laid = mixed_layout.layout_of(columns, {"build": build.tolist()})
    y = np.random.default_rng(3).normal(size=12) + 2.0 * np.random.default_rng(4).normal(size=6)[build]
    assert laid.scalar
    assert component_limits.stratum_squares(laid, y) is None
    assert component_limits.limits(laid, y).how == ("likelihood profile",) * 2


def test_limits_that_cannot_be_worked_out() -> None:
    """Levels, lengths and sources out of range are told in words."""
    laid = mixed_layout.layout_of(np.ones((30, 1)), {"batch": np.repeat(np.arange(6), 5).tolist()})
    y = BATCHES.ravel()
    for function in (component_limits.limits, component_profile.profile):
        with pytest.raises(ModelError) as told:
            function(laid, y[:4], conf_level=1.0)
        assert str(told.value) == (
            "The limits cannot be worked out.\n"
            "  conf_level: 1 was given; expected a share between 0 and 1, both excluded.\n"
            "  response: an array of shape (4,) was given; expected 30 values, one a row."
        )
    with pytest.raises(ModelError) as told:
        component_limits.stratum_squares(laid, np.full(30, np.nan))
    assert str(told.value) == (
        "The mean squares cannot be worked out.\n"
        "  response: a missing value (and 29 more) was given; expected a finite number."
    )
    made = reml.fit_many(laid, y[None, :])
    with pytest.raises(ModelError) as told:
        component_profile.rise(made, y, "batches", -1.0)
    assert str(told.value) == (
        "The likelihood cannot be followed.\n"
        "  responses: an array of shape (30,) was given; expected shape (1, 30), as fitted by fit_many.\n"
        "  source: 'batches' was given; expected 'batch' or 'residual'. Did you mean 'batch'?"
    )
    with pytest.raises(ModelError) as told:
        component_profile.rise(made, y[None, :], "residual", 0.0)
    assert str(told.value) == "The likelihood cannot be followed.\n  variance: 0 was given; expected a number above 0."
