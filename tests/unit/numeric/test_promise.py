"""Assurance and the six outcomes: pinned values, independent simulation, limits and invariances."""

import numpy as np
import pytest
from scipy import stats

from toolkit.numeric import noncentral, promise

MARGIN = -np.log(0.80)
SIZES = np.arange(2, 61)
# The six verdicts of a 2x2 in blocks, SD of ln 0.13, margin 20 %: (blocks, pilot df, true gain) -> shares in
# the order worthwhile gain; gain open; smaller; not known; worthwhile loss; loss open (2e6 draws elsewhere).
SIX = {
    (3, 2, 0.25): (0.0474, 0.552, 0.008, 0.392, 0.000, 0.000),
    (4, 8, 0.25): (0.056, 0.791, 0.010, 0.144, 0.000, 0.000),
    (4, 8, 0.16): (0.003, 0.514, 0.130, 0.353, 0.000, 0.000),
    (4, 8, 0.43): (0.739, 0.248, 0.000, 0.013, 0.000, 0.000),
    (4, 8, 0.00): (0.000, 0.016, 0.615, 0.352, 0.000, 0.016),
}
# Two one-sided 5 % tests of two groups of n, SD 1: R 4.2.2, numerical integration over the pooled SD (D. J.
# Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657-680). n, true difference, margin -> power.
EQUIVALENCE = {
    (4, 0.0, 1.0): 0.0434087882036882,
    (8, 0.0, 1.0): 0.234787781183698,
    (20, 0.5, 1.0): 0.462076660933033,
    (6, 0.0, 1.5): 0.563037628697636,
    (6, 0.5, 1.5): 0.43191378023892,
    (4, 0.5, 2.0): 0.526782671265328,
    (12, 0.5, 2.0): 0.972119657504936,
}


def two_arms(n: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """The one mean square of a comparison of two arms of n runs."""
    return [(2.0 / n, 2.0 * n - 2.0)]


def in_blocks(blocks: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """The one mean square of a main effect of a 2x2 in complete blocks."""
    return [(1.0 / blocks, 3.0 * (blocks - 1.0))]


def width(share: np.ndarray, draws: int) -> np.ndarray:
    """Four binomial standard errors, with a floor for shares near 0 and 1."""
    return 4.0 * np.sqrt(np.maximum(share * (1.0 - share), 1e-5) / draws)


def drawn_main_effect(rng, draws: int, blocks: int, sd: np.ndarray, gain: float) -> tuple[np.ndarray, ...]:
    """Limits of the main effect of a 2x2 in blocks, from drawn run values and the usual least squares."""
    a, b = np.array([-1, 1, -1, 1]) / 2.0, np.array([-1, -1, 1, 1]) / 2.0
    block = rng.normal(0.0, 1.0, (draws, blocks, 1))
    values = gain * a + 0.4 * b + block + sd[:, None, None] * rng.normal(size=(draws, blocks, 4))
    means = values.mean(axis=1)
    estimate = means[:, [1, 3]].mean(axis=1) - means[:, [0, 2]].mean(axis=1)
    # Residuals of blocks and all four combinations: what is left after both margins are taken off.
    left = values - values.mean(axis=2, keepdims=True) - means[:, None, :] + means.mean(axis=1)[:, None, None]
    df = 3 * (blocks - 1)
    std_error = np.sqrt((left**2).sum(axis=(1, 2)) / df / blocks)
    half = stats.t.ppf(0.975, df) * std_error
    return estimate - half, estimate + half


def verdicts(low: np.ndarray, high: np.ndarray, margin: float) -> np.ndarray:
    """Shares of the six verdicts by the rules in their order, in the order of OUTCOMES."""
    rules = [low > margin, high < -margin, (-margin < low) & (high < margin), low > 0, high < 0]
    named = np.select(
        rules,
        ["worthwhile gain", "worthwhile loss", "smaller than worthwhile"]
        + ["gain, size not settled", "loss, size not settled"],
        "not known yet",
    )
    return np.array([np.mean(named == name) for name in promise.OUTCOMES])


def test_the_six_outcomes_are_named() -> None:
    """The order in which shares come back."""
    assert promise.OUTCOMES == (
        "worthwhile gain",
        "gain, size not settled",
        "smaller than worthwhile",
        "not known yet",
        "worthwhile loss",
        "loss, size not settled",
    )


def test_assurance_of_two_arms() -> None:
    """Difference 1.5 s, pilot of 3 df, 4 / 9 / 14 runs an arm: pinned, and by drawn campaigns."""
    found = promise.assurance(1.5, two_arms(np.array([4.0, 9.0, 14.0])), [(1.0, 3)])
    assert found.tolist() == pytest.approx([0.3921, 0.6878, 0.8044], abs=5e-4)
    rng = np.random.default_rng(50)
    draws = 60_000
    for n, share in zip((4, 9, 14), found, strict=True):
        sd = np.sqrt(3.0 / rng.chisquare(3, draws))[:, None]
        first, second = sd * rng.normal(size=(draws, n)), 1.5 + sd * rng.normal(size=(draws, n))
        pooled = (first.var(axis=1, ddof=1) + second.var(axis=1, ddof=1)) / 2
        t = (second.mean(axis=1) - first.mean(axis=1)) / np.sqrt(pooled * 2 / n)
        shown = float(np.mean(np.abs(t) > stats.t.ppf(0.975, 2 * n - 2)))
        assert abs(shown - share) < width(share, draws)


def test_known_scatter_equals_power() -> None:
    """A million pilot df, and infinitely many: strict two-sided power, R power.t.test (k09-power-t)."""
    for gain in (0.3, 0.7, 1.5, 3.0):
        exact = noncentral.power_t(gain, np.sqrt(2 / SIZES), 2 * SIZES - 2)
        for df in (1e6, np.inf):
            found = promise.assurance(gain, two_arms(SIZES), [(1.0, df)])
            assert np.abs(found - exact).max() < 1e-4
    # Two of the recorded values: 3 an arm at 0.5 SD, 20 an arm at 1 SD.
    found = promise.assurance([0.5, 1.0], [([2 / 3, 0.1], [4, 38])], [(1.0, np.inf)])
    assert found.tolist() == pytest.approx([0.0768490499604122, 0.868953027724586], abs=1e-4)


def test_assurance_of_a_2x2_in_blocks() -> None:
    """Gain 0.25, SD 0.13, 2 to 8 blocks: plug-in, pilot of 2 df, 6 more df from the rig's history."""
    blocks = np.arange(2.0, 9.0)
    plug_in = noncentral.power_t(0.25, 0.13 / np.sqrt(blocks), 3 * (blocks - 1))
    alone = promise.assurance(0.25, in_blocks(blocks), [(0.13**2, 2)])
    remembered = promise.assurance(0.25, in_blocks(blocks), [(0.13**2, 8)])
    assert plug_in.tolist() == pytest.approx([0.46, 0.79, 0.93, 0.98, 0.99, 1, 1], abs=5e-3)
    assert alone.tolist() == pytest.approx([0.40, 0.60, 0.70, 0.76, 0.80, 0.82, 0.85], abs=5e-3)
    assert remembered.tolist() == pytest.approx([0.44, 0.73, 0.85, 0.91, 0.94, 0.96, 0.97], abs=5e-3)
    rng = np.random.default_rng(51)
    draws = 60_000
    for df, shares in ((2, alone), (8, remembered)):
        for b in (2, 3, 5):
            sd = 0.13 * np.sqrt(df / rng.chisquare(df, draws))
            low, high = drawn_main_effect(rng, draws, b, sd, 0.25)
            assert abs(np.mean((low > 0) | (high < 0)) - shares[b - 2]) < width(shares[b - 2], draws)


@pytest.mark.parametrize("case", SIX)
def test_six_outcomes_of_a_2x2_in_blocks(case: tuple[int, int, float]) -> None:
    """Pinned to 0.001, and by drawn campaigns to which the rules are applied one after the other."""
    blocks, df, gain = case
    found = promise.outcome_shares(gain, MARGIN, in_blocks(float(blocks)), [(0.13**2, df)])
    assert found.tolist() == pytest.approx(SIX[case], abs=1e-3)
    rng = np.random.default_rng(52)
    draws = 60_000
    sd = 0.13 * np.sqrt(df / rng.chisquare(df, draws))
    low, high = drawn_main_effect(rng, draws, blocks, sd, gain)
    assert (np.abs(verdicts(low, high, MARGIN) - found) < width(found, draws)).all()


@pytest.mark.parametrize("case", EQUIVALENCE)
def test_smaller_than_worthwhile_is_an_equivalence_test(case: tuple[int, float, float]) -> None:
    """With a 90 % interval and known scatter: two one-sided 5 % tests."""
    n, gain, margin = case
    found = promise.outcome_shares(gain, margin, two_arms(float(n)), [(1.0, np.inf)], alpha=0.10)
    assert float(found[2]) == pytest.approx(EQUIVALENCE[case], abs=1e-4)


def test_outcomes_sum_to_one_and_none_is_negative() -> None:
    """Over plans from hopeless to huge, margins from tiny to wide; those beyond zero add to assurance."""
    for margin in (0.01, 0.223, 5.0):
        for gain in (-8.0, -0.2, 0.0, 0.223, 3.0):
            shares = promise.outcome_shares(gain, margin, two_arms(SIZES), [(0.3, 2.5)])
            assert shares.shape == (59, 6)
            assert (shares >= 0.0).all()
            assert np.allclose(shares.sum(axis=1), 1.0, rtol=0, atol=1e-12)
            # An interval beyond zero that is also inside the margin is a 'smaller': shown is at least the
            # rest.
            shown = shares[:, [0, 1, 4, 5]].sum(axis=1)
            assured = promise.assurance(gain, two_arms(SIZES), [(0.3, 2.5)])
            assert (shown <= assured + 1e-12).all()
            assert (assured <= shown + shares[:, 2] + 1e-12).all()


def test_a_gain_is_the_mirror_of_a_loss() -> None:
    """Turning the sign of the effect swaps gains and losses; nothing else moves."""
    plus = promise.outcome_shares(0.3, 0.2, two_arms(SIZES), [(0.1, 4)])
    minus = promise.outcome_shares(-0.3, 0.2, two_arms(SIZES), [(0.1, 4)])
    assert np.allclose(plus[:, [4, 5, 2, 3, 0, 1]], minus, rtol=0, atol=1e-13)
    assert promise.assurance(0.3, two_arms(SIZES), [(0.1, 4)]).tolist() == pytest.approx(
        promise.assurance(-0.3, two_arms(SIZES), [(0.1, 4)]).tolist(), abs=1e-14
    )


def test_true_change_at_the_margin_is_shown_worthwhile_at_half_alpha() -> None:
    """Exactly 2.5 % at any plan size and any pilot."""
    for df in (2, 8, np.inf):
        shares = promise.outcome_shares(MARGIN, MARGIN, two_arms(SIZES), [(0.02, df)])
        assert np.abs(shares[:, 0] - 0.025).max() < 1e-4


def test_assurance_rises_with_runs_and_with_pilot_df() -> None:
    """More runs always help; more pilot df help where the plug-in power is above one half."""
    df = np.array([1.0, 2.0, 3.0, 5.0, 8.0, 16.0, 60.0, np.inf])
    table = np.array([promise.assurance(1.5, two_arms(SIZES), [(1.0, nu)]) for nu in df])
    assert (np.diff(table, axis=1) > 0).all()
    plug_in = noncentral.power_t(1.5, np.sqrt(2 / SIZES), 2 * SIZES - 2)
    assert (np.diff(table[:, plug_in > 0.55], axis=0) > 0).all()


def test_no_effect_is_shown_at_alpha() -> None:
    """Without an effect every plan shows one in alpha of the campaigns, whatever the pilot said."""
    for alpha in (0.01, 0.05, 0.20):
        found = promise.assurance(0.0, two_arms(SIZES), [(1.0, 2)], alpha=alpha)
        assert np.abs(found - alpha).max() < 1e-4


def test_never_missing_up_to_fifty_scatters() -> None:
    """Effects to 50 s, df from a fraction to infinity, plans without an interval among them."""
    gain = np.array([0.0, 0.01, 1.0, 5.0, 20.0, 50.0])[:, None]
    error_df = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 7.0, 118.0, np.inf])
    for df in (0.05, 1, 2, 3, 12, 1e6, np.inf):
        assured = promise.assurance(gain, [(0.2, error_df)], [(1.0, df)])
        shares = promise.outcome_shares(gain, 0.223, [(0.2, error_df)], [(1.0, df)])
        assert np.isfinite(assured).all()
        assert np.isfinite(shares).all()
        assert (assured[:, :2] == 0.0).all()
        assert (shares[:, :2] == [0.0, 0.0, 0.0, 1.0, 0.0, 0.0]).all()


def test_scale_and_shape() -> None:
    """Ten times the scatter, effect and margin change nothing; a single plan gives a single number."""
    one = promise.outcome_shares(0.25, 0.2, [(0.25, 9)], [(0.02, 5)])
    ten = promise.outcome_shares(2.5, 2.0, [(0.25, 9)], [(2.0, 5)])
    assert one.shape == (6,)
    assert one.tolist() == pytest.approx(ten.tolist(), abs=1e-13)
    assert promise.assurance(0.25, [(0.25, 9)], [(0.02, 5)]).shape == ()
    assert promise.assurance(np.ones((3, 1)), two_arms(SIZES), [(1.0, 3)]).shape == (3, 59)
