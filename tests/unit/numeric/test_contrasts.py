"""Rank, estimability, least squares, codings and sums of squares by rank."""

import numpy as np
import pytest

from tests.reference.loader import close, load
from toolkit.errors import ModelError
from toolkit.numeric import contrasts


def two_by_two(*, without_last: bool = False) -> np.ndarray:
    """Sum-coded columns 1, a, b, ab of a 2 x 2, the last combination left out on request."""
    a, b = np.array([1.0, 1, -1, -1]), np.array([1.0, -1, 1, -1])
    columns = np.column_stack([np.ones(4), a, b, a * b])
    return columns[:3] if without_last else columns


def unbalanced() -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """Columns of wool, tension and their interaction, and the response, of the warpbreaks with unequal n."""
    data = load("k04-warpbreaks-unequal-n").data
    wool = contrasts.sum_coded(2)[data["wool"].map({"A": 0, "B": 1}).to_numpy()]
    tension = contrasts.sum_coded(3)[data["tension"].map({"L": 0, "M": 1, "H": 2}).to_numpy()]
    ones = np.ones((len(data), 1))
    return data["breaks"].to_numpy(float), ones, [wool, tension, contrasts.term_columns([wool, tension])]


def test_ranks_counted_by_hand() -> None:
    """Full factorial 4, missing combination 3, aliased half fraction 4 of 7, zeros 0, no columns 0."""
    assert contrasts.rank(two_by_two()) == 4
    assert contrasts.rank(two_by_two(without_last=True)) == 3
    base = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)
    pairs = np.column_stack([base[:, 0] * base[:, 1], base[:, 0] * base[:, 2], base[:, 1] * base[:, 2]])
    assert contrasts.rank(np.hstack([np.ones((4, 1)), base, pairs])) == 4
    assert contrasts.rank(np.zeros((3, 2))) == 0
    assert contrasts.rank(np.ones((3, 0))) == 0
    assert contrasts.rank(np.eye(3)[:, [0, 0, 1]]) == 2


def test_rank_does_not_depend_on_units() -> None:
    """Hours in thousands beside a share in millionths, and a setting held within 1 % with its square."""
    columns = two_by_two() * [1.0, 1e9, 1e-9, 1e3]
    assert contrasts.rank(columns) == 4
    oil = np.array([99.5, 99.8, 100.1, 100.6, 101.0])
    assert contrasts.rank(np.column_stack([np.ones(5), oil, oil**2])) == 3


def test_estimable_in_a_2x2_with_a_missing_combination() -> None:
    """Three runs tell the differences among them, not the interaction or the main effects."""
    cells = np.array([[1, 1, 1, 1], [1, 1, -1, -1], [1, -1, 1, -1], [1, -1, -1, 1]], dtype=float)
    rows = np.array(
        [
            cells[0] - cells[1],
            cells[0] - cells[2],
            cells[1] - cells[2],
            cells[2] - cells[3],
            [0, 2, 0, 0],
            [0, 0, 0, 4],
            cells[3],
            cells[0],
        ]
    )
    found = contrasts.estimable(rows, two_by_two(without_last=True))
    assert found.tolist() == [True, True, True, False, False, False, False, True]
    assert contrasts.estimable(rows, two_by_two()).all()
    # The additive model makes up for the missing run, in any units.
    scale = np.array([1.0, 1e6, 1e-6])
    additive = contrasts.estimable(rows[:, :3] * scale, two_by_two(without_last=True)[:, :3] * scale)
    assert additive.all()


def test_estimable_interaction_df_of_an_empty_cell() -> None:
    """Tooth growth with an empty combination: rank 5 of 6 columns, 1 interaction df left (R, k04)."""
    case = load("k04-toothgrowth-empty-cell")
    data = case.data
    supp = contrasts.sum_coded(2)[data["supp"].map({"OJ": 0, "VC": 1}).to_numpy()]
    dose = contrasts.sum_coded(3)[data["dose"].map({0.5: 0, 1.0: 1, 2.0: 2}).to_numpy()]
    both = np.hstack([np.ones((len(data), 1)), supp, dose])
    cross = contrasts.term_columns([supp, dose])
    full = np.hstack([both, cross])
    assert full.shape[1] == case.expected("model_columns")
    assert contrasts.rank(full) == case.expected("rank_full")
    y = data["len"].to_numpy(float)
    assert contrasts.projection_ss(y, both, cross)[1] == case.expected("interaction_df_estimable")
    ss, df = contrasts.projection_ss(y, both[:, [0, 2, 3]], supp)
    assert df == case.expected("additive_type2.supp.df")
    assert close(ss, case.expected("additive_type2.supp.ss"), case)


def test_type_1_and_type_2_of_unequal_n() -> None:
    """Warpbreaks with unequal n (Tippett 1950): R anova and car::Anova type II, and the error line."""
    case = load("k04-warpbreaks-unequal-n")
    y, ones, (wool, tension, cross) = unbalanced()
    tables = {
        "type1.wool": (ones, wool),
        "type1.tension": (np.hstack([ones, wool]), tension),
        "type1.wool:tension": (np.hstack([ones, wool, tension]), cross),
        "type2.wool": (np.hstack([ones, tension]), wool),
        "type2.tension": (np.hstack([ones, wool]), tension),
        "type2.wool:tension": (np.hstack([ones, wool, tension]), cross),
    }
    for name, (base, added) in tables.items():
        ss, df = contrasts.projection_ss(y, base, added)
        assert df == case.expected(f"{name}.df")
        assert close(ss, case.expected(f"{name}.ss"), case), name
    fit = contrasts.least_squares(np.hstack([ones, wool, tension, cross]), y)
    assert fit.df == case.expected("type1.Residuals.df")
    assert close(fit.residual_ss, case.expected("type1.Residuals.ss"), case)
    # Equally weighted means: the grand mean plus or minus the wool coefficient.
    assert close(fit.beta[0] + fit.beta[1], case.expected("ls_means_wool.A"), case)
    assert close(fit.beta[0] - fit.beta[1], case.expected("ls_means_wool.B"), case)


def test_a_large_constant_changes_nothing() -> None:
    """A million on every run (sums stay exact): sums of squares, residuals and effects stay."""
    y, ones, (wool, tension, cross) = unbalanced()
    columns = np.hstack([ones, wool, tension, cross])
    plain, shifted = contrasts.least_squares(columns, y), contrasts.least_squares(columns, y + 1e6)
    assert shifted.residual_ss == pytest.approx(plain.residual_ss, rel=1e-13)
    assert np.allclose(shifted.beta[1:], plain.beta[1:], rtol=1e-9, atol=0)
    assert shifted.beta[0] - plain.beta[0] == pytest.approx(1e6, rel=1e-14)
    for base, added in ((ones, wool), (np.hstack([ones, wool]), tension)):
        ss = contrasts.projection_ss(y + 1e6, base, added)[0]
        assert ss == pytest.approx(contrasts.projection_ss(y, base, added)[0], rel=1e-12)


def test_order_of_runs_and_coding_do_not_matter() -> None:
    """Shuffled runs and another coding of the same factor give the same sums of squares."""
    y, ones, (wool, tension, cross) = unbalanced()
    order = np.random.default_rng(100).permutation(len(y))
    base, added = np.hstack([ones, wool]), tension
    ss = contrasts.projection_ss(y, base, added)[0]
    assert contrasts.projection_ss(y[order], base[order], added[order])[0] == pytest.approx(ss, rel=1e-12)
    other = added @ np.array([[2.0, 5.0], [-1.0, 3.0]])
    assert contrasts.projection_ss(y, base, other) == (pytest.approx(ss, rel=1e-12), 2)
    assert contrasts.projection_ss(y, base, np.hstack([added, other, wool])) == (
        pytest.approx(ss, rel=1e-12),
        2,
    )


def test_least_squares_by_rank_meets_the_moore_penrose_conditions() -> None:
    """Aliased columns in unlike units: four conditions, the shortest solution, numpy's own answer."""
    rng = np.random.default_rng(101)
    base = rng.normal(size=(12, 3)) * [1.0, 40.0, 0.02]
    columns = np.column_stack([np.ones(12), base, base[:, 0] + 2 * base[:, 1], np.zeros(12)])
    y = rng.normal(size=12) + 3.0
    fit = contrasts.least_squares(columns, y)
    assert (fit.rank, fit.df) == (4, 8)
    gram, inverse = columns.T @ columns, fit.unscaled_cov
    scale = np.abs(gram).max() * np.abs(inverse).max()
    assert np.allclose(gram @ inverse @ gram, gram, rtol=0, atol=1e-10 * np.abs(gram).max())
    assert np.allclose(inverse @ gram @ inverse, inverse, rtol=0, atol=1e-10 * np.abs(inverse).max())
    assert np.allclose(gram @ inverse, (gram @ inverse).T, rtol=0, atol=1e-12 * scale)
    shortest = np.linalg.lstsq(columns, y, rcond=1e-12)[0]
    assert np.allclose(fit.beta, shortest, rtol=1e-9, atol=1e-11)
    assert np.allclose(fit.residuals, y - columns @ shortest, rtol=0, atol=1e-12)
    assert fit.residual_ss == pytest.approx(float(fit.residuals @ fit.residuals), rel=1e-13)


def test_least_squares_of_a_line_by_hand() -> None:
    """Points (1, 2), (2, 3), (3, 5): slope 1.5, intercept 1/3, residual SS 1/6; X'X inverse by hand."""
    columns = np.column_stack([np.ones(3), [1.0, 2.0, 3.0]])
    fit = contrasts.least_squares(columns, [2.0, 3.0, 5.0])
    assert fit.beta.tolist() == pytest.approx([1 / 3, 1.5], rel=1e-13)
    assert fit.residual_ss == pytest.approx(1 / 6, rel=1e-13)
    assert np.allclose(fit.unscaled_cov, np.array([[14.0, -6.0], [-6.0, 3.0]]) / 6.0, rtol=1e-12)
    assert (fit.df, fit.rank) == (1, 2)
    # Through the origin nothing may be shifted: slope 23 / 14, residual SS 38 - 529 / 14.
    origin = contrasts.least_squares(columns[:, 1:], [2.0, 3.0, 5.0])
    assert float(origin.beta[0]) == pytest.approx(23 / 14, rel=1e-13)
    assert origin.residual_ss == pytest.approx(38 - 529 / 14, rel=1e-12)
    assert contrasts.projection_ss([2.0, 3.0, 5.0], np.ones((3, 0)), columns[:, 1:]) == (
        pytest.approx(529 / 14, rel=1e-13),
        1,
    )


def test_saturated_fit_has_no_residual() -> None:
    """As many columns as runs: residuals of rounding size, no df."""
    fit = contrasts.least_squares(two_by_two(), [1.0, 2.0, 4.0, 9.0])
    assert fit.df == 0
    assert fit.residual_ss < 1e-28
    assert fit.beta.tolist() == pytest.approx([4.0, -2.5, -1.5, 1.0], rel=1e-13)


def test_nothing_added_explains_nothing() -> None:
    """Columns already in the base, a constant beside a constant, or none at all: 0 on 0 df."""
    y, ones, (wool, _, _) = unbalanced()
    base = np.hstack([ones, wool])
    for added in (wool, 3.0 * ones, np.ones((len(y), 0))):
        assert contrasts.projection_ss(y, base, added) == (0.0, 0)


def test_codings_as_r_prints_them() -> None:
    """R 4.2.2 contr.sum(3) and, by hand, the interaction columns of a 2 x 3, first factor slowest."""
    assert contrasts.sum_coded(2).tolist() == [[1.0], [-1.0]]
    assert contrasts.sum_coded(3).tolist() == [[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]]
    first, second = np.repeat([0, 1], 3), np.tile([0, 1, 2], 2)
    found = contrasts.term_columns([contrasts.sum_coded(2)[first], contrasts.sum_coded(3)[second]])
    assert found.tolist() == [[1, 0], [0, 1], [-1, -1], [-1, 0], [0, -1], [1, 1]]
    three = contrasts.term_columns([np.array([[1.0, 2]]), np.array([[3.0, 5]]), np.array([[7.0]])])
    assert three.tolist() == [[21, 35, 42, 70]]


MESSAGES = {
    "rank": (
        lambda: contrasts.rank([1.0, 2.0]),
        "The rank of the columns cannot be worked out.\n"
        "  columns: an array of 1 dimensions was given; expected two dimensions, runs by columns.",
    ),
    "estimable": (
        lambda: contrasts.estimable(np.ones((1, 3)), np.eye(2)),
        "It cannot be told what is estimable.\n"
        "  comparisons: coefficients for 3 columns were given; expected coefficients for 2.",
    ),
    "least_squares": (
        lambda: contrasts.least_squares(np.eye(3), [1.0, np.nan]),
        "The fit cannot be made.\n"
        "  response: 2 rows were given; expected 3, one a run.\n"
        "  response: a missing value was given; expected a finite number.",
    ),
    "projection_ss": (
        lambda: contrasts.projection_ss([1.0, 2.0], np.ones((2, 1)), np.eye(3)),
        "The sum of squares cannot be worked out.\n  added columns: 3 rows were given; expected 2, one a run.",
    ),
    "sum_coded": (
        lambda: contrasts.sum_coded(1),
        "The factor cannot be coded.\n  levels: 1 were given; expected two or more.",
    ),
    "term_columns": (
        lambda: contrasts.term_columns([]),
        "The columns of the term cannot be built.\n  factors of the term: none was given; expected at least one.",
    ),
    "term_columns, lengths": (
        lambda: contrasts.term_columns([np.ones((2, 1)), np.ones((3, 1))]),
        "The columns of the term cannot be built.\n  columns of factor 2: 3 rows were given; expected 2, one a run.",
    ),
}


@pytest.mark.parametrize("name", MESSAGES)
def test_messages(name: str) -> None:
    """Arrays of the wrong shape, missing values: the whole message."""
    call, message = MESSAGES[name]
    with pytest.raises(ModelError) as caught:
        call()
    assert str(caught.value) == message


def test_aliased_columns_in_unlike_units() -> None:
    """A column and a thousand times itself: only comparisons in the ratio 1 : 1000 can be told."""
    once = np.array([[1.0], [-1.0], [1.0], [-1.0]])
    rows = [[1.0, 1e3], [-2.0, -2e3], [1.0, 0.0], [0.0, 1.0], [1e3, 1.0], [1.0, 1.0]]
    found = contrasts.estimable(rows, np.hstack([once, 1e3 * once]))
    assert found.tolist() == [True, True, False, False, False, False]


def test_sums_of_squares_do_not_depend_on_units() -> None:
    """Columns of the same term in units twenty decades apart, with an aliased one and one of zeros beside them."""
    y, ones, (wool, tension, _) = unbalanced()
    base = np.hstack([1e7 * ones, 1e-7 * wool])
    ss, df = contrasts.projection_ss(y, np.hstack([ones, wool]), tension)
    added = np.column_stack([tension * [1e-10, 1e10], 1e-10 * tension.sum(axis=1), np.zeros(len(y))])
    assert contrasts.projection_ss(y, base, added) == (pytest.approx(ss, rel=1e-11), df)


def test_spanned_columns_are_orthonormal_and_leave_the_residuals_of_least_squares() -> None:
    """Units twenty decades apart and an aliased column: the rank is that of the columns, the residuals numpy's."""
    y, ones, (wool, tension, _) = unbalanced()
    columns = np.hstack([1e9 * ones, wool, 1e-9 * tension, wool + 2.0 * ones])
    basis = contrasts.spanned(columns)
    assert basis.shape == (len(y), contrasts.rank(columns))
    np.testing.assert_allclose(basis.T @ basis, np.eye(basis.shape[1]), atol=1e-12)
    plain = np.hstack([ones, wool, tension])
    expected = y - plain @ np.linalg.lstsq(plain, y, rcond=None)[0]
    np.testing.assert_allclose(y - basis @ (basis.T @ y), expected, atol=1e-9)
