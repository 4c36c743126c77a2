"""Mixed models against the full covariance matrix of all rows, at the boundary, and when they cannot be fitted."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.errors import ModelError
from toolkit.numeric import component_limits, kenward_roger, mixed_layout, reml

# Whole plots: two coatings on eight builds of three oils, five of the 24 runs lost (invented).
BUILD = np.repeat(np.arange(8), 3)
OIL = np.tile(np.arange(3), 8)
KEPT = np.setdiff1d(np.arange(24), [2, 7, 11, 15, 22])
WHOLE_PLOTS = np.column_stack([np.ones(24), BUILD % 2, OIL == 1, OIL == 2]).astype(float)

# Box and Tiao (1973) Bayesian Inference in Statistical Analysis, Addison-Wesley, table 5.1.4: generated data whose
# between-batch mean square lies below the one within (data from memory; the mean squares are checked below).
BATCHES = np.array(
    [
        [7.298, 3.846, 2.434, 9.566, 7.990],
        [5.220, 6.556, 0.608, 11.788, -0.892],
        [0.110, 10.386, 13.434, 5.510, 8.166],
        [2.212, 4.852, 7.092, 9.288, 4.980],
        [0.282, 9.014, 4.458, 9.446, 7.198],
        [1.722, 4.782, 8.106, 0.758, 3.758],
    ]
)


def three_layers(rng: np.random.Generator) -> tuple[np.ndarray, dict[str, list]]:
    """Unequal runs within unequal builds, and operators across them all."""
    build = np.repeat(np.arange(6), [6, 9, 4, 7, 8, 5])
    run = np.concatenate([np.arange(k) // 2 for k in (6, 9, 4, 7, 8, 5)])
    operator = rng.integers(0, 4, len(build))
    columns = np.column_stack([np.ones(len(build)), build % 2, rng.normal(size=len(build))])
    groups = {
        "build": build.tolist(),
        "run": mixed_layout.within(build.tolist(), run.tolist()),
        "operator": operator.tolist(),
    }
    return columns, groups


def layouts() -> list[tuple[str, np.ndarray, dict[str, list]]]:
    """Every way to the numbers: coordinates alone, blocks, one large block, a term that no block shares."""
    rng = np.random.default_rng(3)
    columns, groups = three_layers(rng)
    nested = {name: groups[name] for name in ("build", "run")}
    crossed = {name: groups[name] for name in ("build", "operator")}
    return [
        ("whole plots", WHOLE_PLOTS, {"build": BUILD.tolist()}),
        ("whole plots, runs lost", WHOLE_PLOTS[KEPT], {"build": BUILD[KEPT].tolist()}),
        ("nested, unequal", columns, nested),
        ("crossed, unequal", columns, crossed),
        ("three terms", columns, groups),
    ]


def grouped(groups: dict[str, list]) -> list[np.ndarray]:
    """Z Z' of each term and the identity."""
    return by_rows.sources(list(groups.values()))


@pytest.mark.parametrize(("name", "columns", "groups"), layouts(), ids=[name for name, _, _ in layouts()])
def test_likelihood_is_that_of_all_rows(name: str, columns: np.ndarray, groups: dict[str, list]) -> None:
    """The folded likelihood against the density of error contrasts of all rows, at variances drawn at random."""
    laid = mixed_layout.layout_of(columns, groups)
    assert laid.scalar == name.startswith("whole plots")
    rng = np.random.default_rng(8)
    volume = np.linalg.slogdet(columns.T @ columns)[1]
    for _ in range(5):
        variances = rng.exponential(size=len(groups) + 1) * rng.choice([0.0, 1.0, 10.0], len(groups) + 1)
        variances[-1] = rng.exponential() + 0.1
        y = 50.0 + rng.normal(size=len(columns))
        found = reml.criterion(laid, y, variances)
        # Error contrasts know nothing of the units of X: the usual form holds log det X'X on both sides.
        expected = by_rows.criterion(y, columns, grouped(groups), variances)
        assert float(found) == pytest.approx(expected + volume, rel=1e-11)


@pytest.mark.parametrize(("name", "columns", "groups"), layouts(), ids=[name for name, _, _ in layouts()])
def test_fit_is_the_highest_place(name: str, columns: np.ndarray, groups: dict[str, list]) -> None:
    """Nowhere near is better by the likelihood of all rows; slope and Hessian are its differences."""
    laid, parts = mixed_layout.layout_of(columns, groups), grouped(groups)
    rng = np.random.default_rng(21)
    volume = np.linalg.slogdet(columns.T @ columns)[1]
    for scatter in (0.0, 0.7, 3.0):
        y = rng.normal(size=len(columns))
        for codes in groups.values():
            names = list(dict.fromkeys(codes))
            y += scatter * rng.normal(size=len(names))[[names.index(code) for code in codes]]
        made = reml.fit(laid, y)

        def at(variances: np.ndarray, y: np.ndarray = y) -> float:
            return by_rows.criterion(y, columns, parts, variances) + volume

        assert float(made.criterion) == pytest.approx(at(made.variances), rel=1e-11)
        for _ in range(40):
            other = made.variances * np.exp(rng.normal(scale=0.7, size=len(parts)))
            other[:-1] += made.at_zero * rng.exponential(size=len(groups)) * made.variances[-1]
            assert at(other) > float(made.criterion)
        step = 1e-4 * np.where(made.variances > 0.0, made.variances, made.variances[-1])
        free = made.variances > 0.0
        for source in np.flatnonzero(free):
            move = np.zeros(len(parts))
            move[source] = step[source]
            rise = at(made.variances + move) + at(made.variances - move) - 2 * at(made.variances)
            assert made.hessian[source, source] == pytest.approx(rise / step[source] ** 2, rel=1e-3)
        for source in np.flatnonzero(~free):
            move = np.zeros(len(parts))
            move[source] = 0.01 * step[source]
            slope = (at(made.variances + move) - at(made.variances)) / move[source]
            assert made.gradient[source] == pytest.approx(slope, rel=1e-2)
            assert made.gradient[source] >= 0.0
        weights = np.linalg.inv(sum(v * part for v, part in zip(made.variances, parts, strict=True)))
        cov = np.linalg.inv(columns.T @ weights @ columns)
        assert made.covariance == pytest.approx(cov, rel=1e-9, abs=1e-12)
        assert made.beta == pytest.approx(cov @ columns.T @ weights @ y, rel=1e-8, abs=1e-9)


def test_no_scatter_between_batches() -> None:
    """Box and Tiao's generated batches: the component is 0, the residual 13.81, the negative component is shown."""
    groups = np.repeat(np.arange(6), 5)
    laid, y = mixed_layout.layout_of(np.ones((30, 1)), {"batch": groups.tolist()}), BATCHES.ravel()
    squares = component_limits.stratum_squares(laid, y)
    assert squares is not None
    # Printed analysis of variance: 41.6816 on 5 and 358.7014 on 24 df (from memory).
    assert squares.mean_squares * squares.df == pytest.approx([41.6816, 358.7014], abs=5e-4)
    assert squares.variances[0] == pytest.approx((41.6816 / 5 - 358.7014 / 24) / 5, abs=1e-4)
    made = reml.fit(laid, y)
    assert made.variances[0] == 0.0
    assert made.at_zero.tolist() == [True]
    # lme4's vignette prints 13.81 for the residual and 5.6656 for the mean (from memory).
    assert made.variances[1] == pytest.approx(13.81, abs=0.005)
    assert made.variances[1] == pytest.approx(np.var(y, ddof=1), rel=1e-12)
    assert made.beta[0] == pytest.approx(5.6656, abs=5e-5)
    assert made.gradient[0] > 0.0


def test_a_zero_that_is_no_highest_place() -> None:
    """Unequal builds whose likelihood falls from zero and then rises above it: zero is a trap, the top is found."""
    sizes = [1, 1, 1, 1, 4, 15]
    build = np.repeat(np.arange(6), sizes)
    rng = np.random.default_rng(2)
    laid = mixed_layout.layout_of(np.ones((len(build), 1)), {"build": build.tolist()})
    responses = rng.normal(size=(400, 23)) + 0.6 * rng.normal(size=(400, 6))[:, build]
    made = reml.fit_many(laid, responses)
    ratios = np.concatenate([[0.0], np.geomspace(1e-3, 300.0, 60)])
    unit = np.column_stack([ratios, np.ones(61)])
    freedom, traps = laid.rows - laid.parameters, 0
    for y, found, variances in zip(responses, made.criterion, made.variances, strict=True):
        # D(v) = freedom ln v + rss / v + constant: two points give rss, and rss / freedom is the best residual.
        halved = reml.criterion(laid, y, unit) - reml.criterion(laid, y, 2.0 * unit)
        best = 2.0 * (halved + freedom * np.log(2.0)) / freedom
        path = reml.criterion(laid, y, unit * best[:, None])
        assert float(found) <= path.min() + 1e-9
        traps += bool(path[1] > path[0] and variances[0] > 0.0)
    assert traps > 0


def test_many_are_one_after_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many responses at once, in slices too, are each what one alone gives."""
    rng = np.random.default_rng(14)
    columns, groups = three_layers(rng)
    nested = {name: groups[name] for name in ("build", "run")}
    for wanted in ({"build": BUILD.tolist()}, nested):
        given_columns = WHOLE_PLOTS if len(wanted) == 1 else columns
        laid = mixed_layout.layout_of(given_columns, wanted)
        responses = rng.normal(size=(30, laid.rows)) + 100.0
        together = reml.fit_many(laid, responses)
        monkeypatch.setattr(reml, "_SLICE", 7 * (laid.spread.size + laid.design.size * (laid.terms + 1)))
        sliced = reml.fit_many(laid, responses)
        for number, y in enumerate(responses):
            alone = reml.fit(laid, y)
            for name in ("variances", "beta", "covariance", "criterion", "gradient", "hessian"):
                one = getattr(alone, name)
                scale = np.abs(one).max() + 1.0
                assert getattr(together, name)[number] == pytest.approx(one, rel=1e-7, abs=1e-8 * scale)
                assert getattr(sliced, name)[number] == pytest.approx(one, rel=1e-7, abs=1e-8 * scale)
        assert 0.0 < together.at_zero.mean() < 1.0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    shift=st.sampled_from([0.0, 1e3, -1e6]),
    factor=st.sampled_from([1.0, 1e-3, 25.4, -1.0]),
    kind=st.sampled_from([0, 1, 2, 3, 4]),
)
def test_units_order_and_names_do_not_matter(seed: int, shift: float, factor: float, kind: int) -> None:
    """Another unit, another zero, other names, another order of rows: variances scale, df and p stay."""
    rng = np.random.default_rng(seed)
    _, columns, groups = layouts()[kind]
    y = rng.normal(size=len(columns))
    for codes in groups.values():
        names = list(dict.fromkeys(codes))
        y = y + 0.8 * rng.normal(size=len(names))[[names.index(code) for code in codes]]
    order = rng.permutation(len(y))
    other_groups = {f"{name}!": [f"no. {codes[at]}" for at in order] for name, codes in groups.items()}
    turn = rng.normal(size=(columns.shape[1],) * 2) + 3.0 * np.eye(columns.shape[1])
    first = mixed_layout.layout_of(columns, groups)
    second = mixed_layout.layout_of(columns[order] @ turn, other_groups)
    one, two = reml.fit(first, y), reml.fit(second, shift + factor * y[order])
    assert two.variances == pytest.approx(factor**2 * one.variances, rel=1e-6, abs=1e-9 * factor**2)
    rows = np.eye(columns.shape[1])[1:]
    known, again = (kenward_roger.adjusted(laid, made.variances) for laid, made in ((first, one), (second, two)))
    found, same = kenward_roger.f_test(known, one.beta, rows), kenward_roger.f_test(again, two.beta, rows @ turn)
    assert float(same.f) == pytest.approx(float(found.f), rel=1e-5)
    assert float(same.den_df) == pytest.approx(float(found.den_df), rel=1e-5)
    assert float(same.p_value) == pytest.approx(float(found.p_value), rel=1e-4)
    assert float(same.f) != pytest.approx(0.0, abs=1e-12)


GOOD = np.column_stack([np.ones(6), [0.0, 0.0, 1.0, 1.0, 2.0, 5.0]])
PAIRS = ["a", "a", "b", "b", "c", "c"]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: mixed_layout.layout_of(np.column_stack([GOOD, GOOD.sum(axis=1)]), {"build": PAIRS}),
            "The mixed model cannot be laid out.\n  fixed columns: column 3 is a sum of those before; expected columns "
            "that each say something of their own. Leave out what is aliased.",
        ),
        (
            lambda: mixed_layout.layout_of(
                np.where(GOOD == 5.0, np.nan, GOOD), {"build": ["a"] * 6, "run": list("abcdef"), "part": PAIRS[:4]}
            ),
            "The mixed model cannot be laid out.\n"
            "  fixed columns: a missing value was given; expected a finite number.\n"
            "  random term 'build': all rows are in one group; expected two groups or more. Leave the term out.\n"
            "  random term 'run': every row is a group of its own; expected groups of several rows. Leave the term "
            "out: its scatter is in the residual.\n"
            "  random term 'part': 4 rows were given; expected 6, as in the fixed columns.",
        ),
        (
            lambda: mixed_layout.layout_of(GOOD[:3], {"residual": list("aab"), "build": ["a", None, float("nan")]}),
            "The mixed model cannot be laid out.\n"
            "  fixed columns: 3 rows for 2 columns; expected at least 4 rows. Leave out terms, or add runs.\n"
            "  random term 'residual': the name is taken by what is left of each row; expected another name.\n"
            "  random term 'build': row 2 (and 1 more) has no group; expected a group in every row.",
        ),
        (
            lambda: mixed_layout.layout_of(GOOD, {"build": PAIRS, "day": [1, 1, 2, 2, 3, 3]}),
            "The mixed model cannot be laid out.\n  random term 'day': its groups are those of 'build'; expected "
            "groups of its own. Leave one of them out.",
        ),
        (
            lambda: mixed_layout.layout_of(GOOD, {}),
            "The mixed model cannot be laid out.\n  random terms: 0 were given; expected 1 to 8.",
        ),
        (
            lambda: mixed_layout.layout_of(np.ones(6), {"build": PAIRS}),
            "The mixed model cannot be laid out.\n  fixed columns: an array of 1 dimensions was given; expected two "
            "dimensions, rows by columns.",
        ),
        (
            lambda: mixed_layout.layout_of(
                np.array([[1.0, name == "a", name == "b"] for name in PAIRS], dtype=float), {"build": PAIRS}
            ),
            "The mixed model cannot be laid out.\n  random term 'build': the fixed columns explain all of it; expected "
            "scatter that is left. Leave out the term, or the fixed columns that name its groups.",
        ),
        (
            lambda: mixed_layout.layout_of(
                np.array([[1.0, at % 2] for at in range(6)]), {"build": [1, 1, 2, 2, 3, 3], "side": [1, 2, 1, 2, 1, 3]}
            ),
            None,
        ),
        (
            lambda: mixed_layout.within(["a", "b"], ["x"]),
            "The groups cannot be nested.\n  inner groups: 1 were given; expected 2, one a row.",
        ),
    ],
)
def test_layouts_that_cannot_be(make: Callable[[], object], message: str | None) -> None:
    """Every fault at once, in words; the layout of the last but one is odd but can be fitted."""
    if message is None:
        assert make() is not None
        return
    with pytest.raises(ModelError) as told:
        make()
    assert str(told.value) == message


def test_sources_that_cannot_be_told_apart() -> None:
    """Two terms whose sum is a constant of each row pair are named together."""
    # Each build has two runs of two rows, and days cut each build in two the other way: the three are tied.
    build, left = [1, 1, 2, 2], [1, 2, 1, 2]
    columns = np.ones((4, 1))
    with pytest.raises(ModelError) as told:
        mixed_layout.layout_of(columns, {"build": build, "day": left, "side": [1, 2, 2, 1]})
    assert str(told.value) == (
        "The mixed model cannot be laid out.\n  random terms: the scatter of 'build' and 'day' and 'side' and "
        "'residual' cannot be told apart in these rows; expected repeats that tell them apart. Leave one of them out."
    )


def test_responses_that_cannot_be_fitted() -> None:
    """Missing values, wrong lengths, an exact fit, copied values: named, never a NaN."""
    laid = mixed_layout.layout_of(GOOD, {"build": PAIRS})
    y = np.array([1.0, 2.0, 4.0, 3.0, 5.0, 7.0])
    cases = [
        (
            [1.0, np.nan, 2.0, np.nan, 3.0, 4.0],
            "response: a missing value (and 1 more) was given; expected a finite number.",
        ),
        (y[:5], "response: an array of shape (5,) was given; expected 6 values, one a row."),
        (
            3.0 + 0.25 * GOOD[:, 1],
            "response: the fixed columns fit every value exactly; expected scatter that is left.",
        ),
    ]
    for given_y, fault in cases:
        with pytest.raises(ModelError) as told:
            reml.fit(laid, given_y)
        assert str(told.value) == f"The mixed model cannot be fitted.\n  {fault}"
    copied = mixed_layout.layout_of(np.ones((6, 1)), {"build": PAIRS})
    with pytest.raises(ModelError) as told:
        reml.fit_many(copied, [y, [1.0, 1.0, 2.5, 2.5, 4.0, 4.0]])
    assert str(told.value) == (
        "The mixed model cannot be fitted.\n  response 2: values within the finest groups agree to the last digit; "
        "expected a residual that scatters. Were values copied?"
    )
    with pytest.raises(ModelError) as told:
        # What differs within builds lies in the sixteenth digit.
        reml.fit(copied, 1e6 + 1e-8 * np.array([0.0, 0.0, 1.0, 1.0, 5.0, 5.0]) + 1e-10 * np.array([0, 1, 0, 1, 0, 1]))
    assert str(told.value) == (
        "The mixed model cannot be fitted.\n  response: values within the finest groups agree to the last digit; "
        "expected a residual that scatters. Were values copied?"
    )
    with pytest.raises(ModelError) as told:
        reml.fit_many(laid, y)
    assert str(told.value) == (
        "The mixed model cannot be fitted.\n  responses: an array of shape (6,) was given; expected one row a "
        "response, 6 values in each."
    )
    with pytest.raises(ModelError) as told:
        reml.criterion(laid, y, [1.0, 0.0])
    assert str(told.value) == (
        "The likelihood cannot be worked out.\n  residual variance: 0 was given; expected a number above 0."
    )
    with pytest.raises(ModelError) as told:
        reml.criterion(laid, y[:4], [1.0])
    assert str(told.value) == (
        "The likelihood cannot be worked out.\n"
        "  response: an array of shape (4,) was given; expected 6 values, one a row.\n"
        "  variances: an array of shape (1,) was given; expected 2 in the last axis, one a source of scatter."
    )


def test_no_constant_among_the_columns() -> None:
    """Wear through the origin: a large mean stays what it is, since no column can take it up."""
    rng = np.random.default_rng(15)
    columns = np.column_stack([np.linspace(1.0, 3.0, 24), OIL == 1]).astype(float)
    y = 1e4 + rng.normal(size=24)
    groups = {"build": BUILD.tolist()}
    made = reml.fit(mixed_layout.layout_of(columns, groups), y)
    weights = np.linalg.inv(sum(v * part for v, part in zip(made.variances, grouped(groups), strict=True)))
    expected = np.linalg.solve(columns.T @ weights @ columns, columns.T @ weights @ y)
    assert made.beta == pytest.approx(expected, rel=1e-9)
    found = by_rows.criterion(y, columns, grouped(groups), made.variances)
    assert float(made.criterion) == pytest.approx(found + np.linalg.slogdet(columns.T @ columns)[1], rel=1e-8)


def test_work_is_folded_away() -> None:
    """Coordinates are as few as the scatter needs: runs for stations, groups for crossed terms, one for a build."""
    station = np.repeat(np.arange(24), 20)
    nested = {"build": BUILD[station].tolist(), "run": station.tolist()}
    laid = mixed_layout.layout_of(np.ones((480, 1)), nested)
    assert (laid.scalar, laid.spread.shape, laid.rest_df) == (True, (3, 24, 1, 1), 456)
    lost = np.delete(np.arange(480), [3, 25, 26])
    unequal = {name: [codes[at] for at in lost] for name, codes in nested.items()}
    laid = mixed_layout.layout_of(np.ones((477, 1)), unequal)
    assert (laid.scalar, laid.spread.shape, laid.rest_df) == (False, (3, 8, 3, 3), 453)
    # Ten parts by four operators, two rows lost: 13 directions of scatter in 38 rows, the mean among them.
    part, operator = np.repeat(np.arange(10), 4)[2:], np.tile(np.arange(4), 10)[2:]
    laid = mixed_layout.layout_of(np.ones((38, 1)), {"part": part.tolist(), "operator": operator.tolist()})
    assert (laid.scalar, laid.spread.shape, laid.rest_df) == (False, (3, 1, 13, 13), 25)


def test_scatter_between_builds_far_above_the_runs() -> None:
    """Builds 100,000 times as far apart as runs: the ratio is found, contrasts within builds keep their error."""
    rng = np.random.default_rng(4)
    runs = rng.normal(size=24)
    y = 1e5 * rng.normal(size=8)[BUILD] + runs
    laid = mixed_layout.layout_of(WHOLE_PLOTS, {"build": BUILD.tolist()})
    made = reml.fit(laid, y)
    squares = component_limits.stratum_squares(laid, y)
    assert squares is not None
    assert made.variances == pytest.approx(squares.variances, rel=1e-7)
    known = kenward_roger.adjusted(laid, made.variances)
    found = kenward_roger.contrasts(known, made.beta, np.eye(4)[1:])
    assert found.df == pytest.approx([6, 14, 14], rel=1e-6)
    within = runs - np.array([runs[BUILD == build].mean() for build in range(8)])[BUILD]
    beta = np.array([within[OIL == oil].mean() for oil in range(3)])
    assert found.estimate[1:] == pytest.approx(beta[1:] - beta[0], rel=1e-7)
    assert found.std_error[1:] == pytest.approx(np.sqrt(squares.mean_squares[1] * 2 / 8), rel=1e-7)
