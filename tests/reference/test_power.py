"""Power, sample size and limits of a scatter against R 4.2.2, Cohen (1988) and the NIST/SEMATECH e-Handbook.

Each test reads one case of tests/reference; case.toml there names the source of every number.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from tests.reference.loader import close, load
from toolkit.numeric import equivalence_promise, intervals, noncentral


def smallest_n(enough: Callable[[int], bool], start: int = 2) -> int:
    """The smallest whole number from `start` on that is enough."""
    n = start
    while not enough(n):
        n += 1
    return n


def solved_n(power: Callable[[float], float], wanted: float) -> float:
    """The fractional n at which a rising power curve has the wanted value, by halving [2, 1000]."""
    low, high = 2.0, 1000.0
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if power(middle) < wanted else (low, middle)
    return high


def two_sample(n: float, delta: float, sd: float = 1.0, alpha: float = 0.05) -> float:
    """Power of a comparison of two groups of n."""
    return float(noncentral.power_t(delta, sd * math.sqrt(2 / n), 2 * (n - 1), alpha=alpha))


def test_power_of_a_comparison_on_a_grid() -> None:
    """R power.t.test(strict = TRUE), two groups and pairs, 45 settings each."""
    case = load("k09-power-t")
    grid = case.frames["grid"]
    assert len(grid) == 45
    two = noncentral.power_t(grid["d"], np.sqrt(2 / grid["n"]), 2 * (grid["n"] - 1))
    paired = noncentral.power_t(grid["d"], 1 / np.sqrt(grid["n"]), grid["n"] - 1)
    for row, (found_two, found_paired) in enumerate(zip(two, paired, strict=True)):
        assert close(found_two, grid["power_two_sample"][row], case), grid.loc[row]
        assert close(found_paired, grid["power_paired"][row], case), grid.loc[row]


def test_power_and_sample_size_of_the_r_help_page() -> None:
    """R power.t.test(n = 20, delta = 1) and the n for 90 % power (prints from memory, recomputed by R)."""
    case = load("k09-power-t")
    found = two_sample(20, 1.0)
    assert close(found, case.expected("n20_delta1_power_strict"), case)
    # R's default leaves out the far tail: it differs from the strict value in the seventh digit
    key = "n20_delta1_power_nonstrict"
    assert close(found, case.expected(key), case)
    assert abs(found - case.published(key)) <= case.published_abs(key)

    key = "n_for_90_two_sided"
    found = solved_n(lambda n: two_sample(n, 1.0), 0.90)
    assert close(found, case.expected(key), case, key="n_rel")
    # the print has six digits and R's root a loose tolerance of its own
    assert abs(found - case.published(key)) <= case.published_abs(key) + case.tolerance["n_rel"] * found
    assert smallest_n(lambda n: two_sample(n, 1.0) >= 0.90) == case.expected("n_for_90_two_sided_ceiling")

    # one-sided 5 % is two-sided 10 % without its far tail (1.4e-6 here), which R does not count
    def one_sided(n: float) -> float:
        """Power one-sided: the two-sided one less its far tail, by scipy's noncentral t."""
        df, ratio = 2 * (n - 1), math.sqrt(n / 2)
        far_tail = stats.nct.cdf(-float(noncentral.critical_t(df, alpha=0.10)), df, ratio)
        return two_sample(n, 1.0, alpha=0.10) - float(far_tail)

    key = "n_for_90_one_sided"
    found = solved_n(one_sided, 0.90)
    assert close(found, case.expected(key), case, key="n_rel")
    assert abs(found - case.published(key)) <= case.published_abs(key) + case.tolerance["n_rel"] * found


def test_power_of_one_effect_of_a_two_level_factorial() -> None:
    """R, noncentral t: SE 2 sigma / sqrt(N), error df of the full and of the main-effects model."""
    case = load("k09-power-2k-effect")
    assert case.text("se_effect_formula") == "2*sigma/sqrt(N)"
    grid = case.frames["grid"]
    assert len(grid) == 60
    without_error = 0
    for row in grid.itertuples():
        runs = row.n * 2**row.k
        std_error = 2 / math.sqrt(runs)
        assert row.df_error_full_model == runs - 2**row.k
        full = float(noncentral.power_t(row.delta_over_sigma, std_error, row.df_error_full_model))
        if row.df_error_full_model == 0:
            # nothing can be tested without an error df: R leaves the cell blank, we say no power
            assert np.isnan(row.power_full_model)
            assert full == 0.0
            without_error += 1
        else:
            assert close(full, row.power_full_model, case), row
        main = float(noncentral.power_t(row.delta_over_sigma, std_error, runs - 1 - row.k))
        if np.isnan(row.power_main_effects_only):
            assert runs - 1 - row.k == 0
        else:
            assert close(main, row.power_main_effects_only, case), row
    assert without_error == 12
    example = float(noncentral.power_t(2.0, 2 / math.sqrt(16), 8))
    assert close(example, case.expected("example_k3_n2_d2_full"), case)


def anova_power(k: int, n: float, f_squared: float, alpha: float = 0.05) -> float:
    """Power of a one-way ANOVA of k groups of n at Cohen's f squared."""
    return float(noncentral.power_f(k * n * f_squared, k - 1, k * (n - 1), alpha=alpha))


def test_power_of_a_one_way_anova() -> None:
    """R help page of power.anova.test (0.3535594 and 11.92613, read) and Cohen (1988), f = .28 and .25."""
    case = load("k09-power-anova-cohen")
    # between.var = 1 among 4 means is f squared = (k - 1) / k x between / within
    f_squared = 3 / 4 * 1 / 3
    key = "anova_g4_n5_var1_3_power"
    found = anova_power(4, 5, f_squared)
    assert close(found, case.expected(key), case)
    assert abs(found - case.published(key)) <= case.published_abs(key)

    key = "anova_g4_var1_3_n_for_80"
    found = solved_n(lambda n: anova_power(4, n, f_squared), 0.80)
    assert close(found, case.expected(key), case, key="n_rel")
    # R prints 11.92613 where the exact root is 11.926111: its root tolerance, not ours
    assert abs(found - case.published(key)) <= case.published_abs(key) + case.tolerance["n_rel"] * found

    key = "f.28_k4_n20_power"
    found = anova_power(4, 20, 0.28**2)
    assert close(found, case.expected(key), case)
    assert abs(found - case.published(key)) <= case.published_abs(key)

    key = "f.25_k4_n_for_80"
    found = solved_n(lambda n: anova_power(4, n, 0.25**2), 0.80)
    assert close(found, case.expected(key), case, key="n_rel")
    assert math.ceil(found) == case.published(f"{key}.rounded_up")


def test_sample_size_and_power_of_cohen_d() -> None:
    """Cohen (1988): d = .5 needs 64 a group for 80 %; one sample of 60 at d = .2, alpha = .10."""
    case = load("k09-power-anova-cohen")
    key = "d.5_n_for_80"
    found = solved_n(lambda n: two_sample(n, 0.5), 0.80)
    assert close(found, case.expected(key), case, key="n_rel")
    assert smallest_n(lambda n: two_sample(n, 0.5) >= 0.80) == case.published(f"{key}.rounded_up")
    key = "d.2_n60_alpha.10_one_sample_power"
    found = float(noncentral.power_t(0.2, 1 / math.sqrt(60), 59, alpha=0.10))
    assert close(found, case.expected(key), case)
    assert abs(found - case.published(key)) <= case.published_abs(key)


def test_upper_limit_of_a_pilot_scatter_and_the_runs_it_asks_for() -> None:
    """R qchisq, power.t.test(strict = TRUE); invented pilot: SD 4.2 with 4 df, difference 6, 90 % power."""
    case = load("k09-sigma-upper-bound")
    sd, df = case.expected("sd"), case.expected("df")
    scatter = {"n_plain": sd}
    for percent in (80, 90, 95):
        upper = float(intervals.sd_upper(sd, df, level=percent / 100))
        assert close(upper, case.expected(f"upper{percent}"), case)
        scatter[f"n_upper{percent}"] = upper
    for key, assumed in scatter.items():
        found = smallest_n(lambda n, assumed=assumed: two_sample(n, 6.0, assumed) >= 0.90)
        assert found == case.expected(key), key


@pytest.mark.parametrize("index", range(5))
def test_detectable_ratio(index: int) -> None:
    """R power.t.test on the log scale: the ratio that two groups of n show with 80 % power."""
    case = load("k09-detectable-ratio-log")
    setting = case.records("cases")[index]
    n = setting["n"]
    found = float(noncentral.detectable(setting["cv_log_sd"] * math.sqrt(2 / n), 2 * (n - 1), power=0.80))
    assert close(found, setting["delta_log"], case)
    assert close(math.exp(found), setting["ratio_up"], case)
    assert close(math.exp(-found), setting["ratio_down"], case)


def test_sd_of_ln_from_a_coefficient_of_variation_and_back() -> None:
    """sqrt(ln(1 + cv^2)), worked by R: a CV of 30 % is an SD of ln of 0.29356."""
    case = load("k09-detectable-ratio-log")
    cv, sd = case.expected("sdlog_from_cv.cv"), case.expected("sdlog_from_cv.sdlog")
    assert float(intervals.sd_of_ln_from_cv(cv)) == pytest.approx(sd, rel=1e-14)
    assert float(intervals.cv_from_sd_of_ln(sd)) == pytest.approx(cv, rel=1e-14)


@pytest.mark.parametrize("index", range(5))
def test_runs_for_an_interval_of_a_wanted_width(index: int) -> None:
    """R qt: the smallest n whose interval, at the assumed SD, is no wider than plus or minus h."""
    case = load("k09-ci-halfwidth-n")
    setting = case.records("cases")[index]
    groups = {"mean": 1, "difference": 2}[setting["type"]]

    def half_width(n: int) -> float:
        """Half the width of the interval of one mean, or of the difference of two, from n runs a group."""
        std_error = setting["s"] * math.sqrt(groups / n)
        low, high = intervals.t_interval(0.0, std_error, groups * (n - 1), conf_level=setting["conf"])
        return float(high - low) / 2

    assert smallest_n(lambda n: half_width(n) <= setting["h"]) == setting["n"]


def test_sample_size_of_one_mean_by_the_handbook_iteration() -> None:
    """NIST/SEMATECH e-Handbook 7.2.2.2, one-sided 5 % and 5 %, one sigma: 11 by the normal, settled at 13."""
    case = load("k09-nist-one-mean-iteration")
    # a two-sided critical value at 10 % is the one-sided one at 5 %
    normal = (2 * float(noncentral.critical_t(math.inf, alpha=0.10))) ** 2
    assert close(normal, case.expected("normal_raw"), case)
    sequence = [math.ceil(normal)]
    for _ in range(6):
        sequence.append(math.ceil((2 * float(noncentral.critical_t(sequence[-1] - 1, alpha=0.10))) ** 2))
    assert sequence == [case.expected(f"sequence.{i}") for i in range(7)]
    assert sequence[0] == case.published("sequence.0")
    assert sequence[-1] == case.expected("settled") == case.published("settled")
    # the exact answer; the far tail that one-sided power leaves out cannot move a whole n
    exact = smallest_n(lambda n: noncentral.power_t(1.0, 1 / math.sqrt(n), n - 1, alpha=0.10) >= 0.95)
    assert exact == case.expected("exact_noncentral_t")


def test_limits_of_a_pooled_scatter() -> None:
    """NIST/SEMATECH e-Handbook 2.4.4.1 gauge data, pooled by R: chi-square limits of an SD with 60 df."""
    case = load("k08-pooled-sd-nist")
    data = case.data
    df = int(data["df"].sum())
    pooled = math.sqrt(float((data["df"] * data["sd"] ** 2).sum()) / df)
    assert df == case.expected("df")
    assert close(pooled, case.expected("pooled_sd"), case)
    low, high = intervals.sd_interval(pooled, df, conf_level=0.95)
    assert close(float(low), case.expected("ci95.0"), case)
    assert close(float(high), case.expected("ci95.1"), case)
    for percent in (80, 95):
        upper = float(intervals.sd_upper(pooled, df, level=percent / 100))
        assert close(upper, case.expected(f"upper{percent}_one_sided"), case)


def test_power_of_two_one_sided_tests() -> None:
    """R 4.2.2, integration over the pooled SD: 30 settings of two groups, SD 1, known scatter."""
    case = load("k09-tost-equivalence")
    grid = case.frames["grid"]
    assert len(grid) == 30
    n = grid["n"].to_numpy(dtype=float)
    found = equivalence_promise.equivalence_assurance(
        grid["theta"], grid["margin"], [(2 / n, 2 * n - 2)], [(1.0, math.inf)]
    )
    assert np.abs(found - grid["power"]).max() < case.tolerance["grid_abs"]
    # The two small groups: both one-sided p values and the 90 % interval, by R.
    data = case.frames["data"]
    groups = [data.loc[data["group"] == name, "value"].to_numpy(dtype=float) for name in ("x", "y")]
    pooled = math.sqrt((groups[0].var(ddof=1) + groups[1].var(ddof=1)) / 6)
    low, high = intervals.t_interval(groups[0].mean() - groups[1].mean(), pooled, 10, conf_level=0.90)
    assert close(float(low), case.expected("ci90.0"), case)
    assert close(float(high), case.expected("ci90.1"), case)
    assert (-0.5 < low) and (high < 0.5)

