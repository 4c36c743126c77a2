"""Sums of squares and effects of balanced layouts, straight from the columns of the model.

Balanced and blocked factorials against R 4.2.2 (anova) and the prints they were taken from; case.toml of each
case names the source. Here only toolkit.numeric is under test, no brief and no design.
"""

import math

import numpy as np
import pytest

from tests.reference.loader import close, load
from tests.reference.tables import base_of, columns_of, joined, printed_faults, table_faults
from toolkit.numeric import contrasts, intervals, noncentral


def test_one_way_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.4.3.3: table and the interval of a level mean."""
    case = load("k01-nist-handbook-oneway")
    y, columns = case.data["y"].to_numpy(), columns_of(case, ["level"])
    ss, df = contrasts.projection_ss(y, columns["1"], columns["level"])
    fit = contrasts.least_squares(joined(columns, ["level"]), y)
    ms_error = fit.residual_ss / fit.df
    f = ss / df / ms_error
    assert (df, fit.df) == (case.expected("factor.df"), case.expected("error.df"))
    for key, value in {
        "factor.ss": ss,
        "factor.F": f,
        "error.ss": fit.residual_ss,
        "error.ms": ms_error,
    }.items():
        assert close(value, case.expected(key), case), key
    assert not printed_faults(
        case, {"factor.ss": ss, "error.ss": fit.residual_ss, "factor.F": f, "error.ms": ms_error}
    )
    for level, mean in case.data.groupby("level")["y"].mean().items():
        assert close(mean, case.expected(f"means.{level}"), case)
        low, high = intervals.t_interval(mean, math.sqrt(ms_error / 5), fit.df)
        assert close(float(high - low) / 2, case.expected("mean_ci95_halfwidth"), case)


def test_effects_of_a_pilot_plant() -> None:
    """Box, Hunter & Hunter (1978) p. 308 ff.: seven effects, pooled variance, intervals with 8 df."""
    case = load("k02-bhh-pilot-2x2x2")
    data, names = case.data, case.names("effects")
    columns = {"1": np.ones(len(data))} | {n: data[list(n)].prod(axis=1).to_numpy(float) for n in names}
    fit = contrasts.least_squares(np.column_stack(list(columns.values())), data["yield"].to_numpy(float))
    variance = fit.residual_ss / fit.df
    # an effect is high minus low: twice the coefficient of a column of -1 and +1
    effects = dict(zip(names, 2 * fit.beta[1:], strict=True))
    std_error = 2 * np.sqrt(variance * np.diag(fit.unscaled_cov)[1:])
    assert fit.df == case.expected("pooled_df") == 8
    assert close(variance, case.expected("pooled_variance"), case)
    assert close(fit.beta[0], case.expected("mean"), case)
    assert close(float(noncentral.critical_t(fit.df)), case.expected("t_crit"), case)
    for (name, effect), error in zip(effects.items(), std_error, strict=True):
        assert close(effect, case.expected(f"effects.{name}"), case), name
        assert close(error, case.expected("se_effect"), case), name
        low, high = intervals.t_interval(effect, error, fit.df)
        assert close(float(low), case.expected(f"ci95.{name}.0"), case), name
        assert close(float(high), case.expected(f"ci95.{name}.1"), case), name
    found = {f"effects.{name}": effect for name, effect in effects.items()}
    assert not printed_faults(case, found | {"pooled_variance": variance, "se_effect": float(std_error[0])})


def test_two_way_of_survival_times() -> None:
    """Box & Cox (1964), 3 poisons by 4 treatments, as times in units of 10 hours and as their reciprocals."""
    case = load("k02-bhh-poisons-3x4")
    terms, time = ["poison", "antidote", "poison:antidote"], case.data["survival"].to_numpy() / 100
    assert not table_faults(case, "time", terms, time)
    assert not table_faults(case, "reciprocal", terms, 1 / time)
    columns = columns_of(case, terms)
    ss = {t: contrasts.projection_ss(time, joined(columns, base_of(t, terms, 1)), columns[t]) for t in terms}
    error = contrasts.least_squares(joined(columns, terms), time).residual_ss
    found = {"time.poison.ss": ss["poison"][0], "time.antidote.ms": ss["antidote"][0] / ss["antidote"][1]}
    found |= {"time.poison:antidote.ss": ss["poison:antidote"][0], "time.Residuals.ss": error}
    assert not printed_faults(case, found)


def test_three_way_of_a_bottling_line() -> None:
    """Montgomery's bottling example (from memory, recomputed by R): three factors, two replicates."""
    case = load("k02-bottling-3factor")
    terms = [name for name in case.table("anova").index if name != "Residuals"]
    y = case.data["deviation"].to_numpy(float)
    assert not table_faults(case, "anova", terms, y)
    columns = columns_of(case, terms)
    fit = contrasts.least_squares(joined(columns, terms), y)
    total = contrasts.least_squares(columns["1"], y).residual_ss
    assert close(math.sqrt(fit.residual_ss / fit.df), case.expected("residual_sd"), case)
    assert close(total, case.expected("total_ss"), case)
    found = {f"anova.{t}.ss": contrasts.projection_ss(y, columns["1"], columns[t])[0] for t in terms}
    assert not printed_faults(case, found | {"anova.Residuals.ss": fit.residual_ss, "total_ss": total})


@pytest.mark.parametrize(
    ("case_id", "response", "terms"),
    [
        ("k02-toothgrowth", "len", ["supp", "dose", "supp:dose"]),
        ("k02-warpbreaks", "breaks", ["wool", "tension", "wool:tension"]),
        ("k03-rcbd-penicillin", "yield", ["blend", "treatment"]),
    ],
)
def test_balanced_tables(case_id: str, response: str, terms: list[str]) -> None:
    """Crampton (1947), Tippett (1950) p. 106, Box, Hunter & Hunter (1978) pp. 209-228, tables by R.

    In a balanced layout types I, II and III are the same numbers.
    """
    case = load(case_id)
    y = case.data[response].to_numpy(float)
    for kind in (1, 2, 3):
        assert not table_faults(case, "anova", terms, y, kind=kind)


def test_one_difference_within_a_level() -> None:
    """R: tension M minus L within wool A, with the residual SD of all 54 looms."""
    case = load("k02-warpbreaks")
    cells = case.data.groupby(["wool", "tension"], sort=True).ngroup().to_numpy()
    fit = contrasts.least_squares(np.eye(6)[cells], case.data["breaks"].to_numpy(float))
    # combinations sort as A:H, A:L, A:M, ...
    weights = np.array([0.0, -1.0, 1.0, 0.0, 0.0, 0.0])
    std_error = math.sqrt(fit.residual_ss / fit.df * weights @ fit.unscaled_cov @ weights)
    prefix = "wool_A_M_minus_L"
    assert close(weights @ fit.beta, case.expected(f"{prefix}.estimate"), case)
    assert close(std_error, case.expected(f"{prefix}.se"), case)
    assert fit.df == case.expected(f"{prefix}.df")
    low, high = intervals.t_interval(weights @ fit.beta, std_error, fit.df)
    assert close(float(low), case.expected(f"{prefix}.ci95.0"), case)
    assert close(float(high), case.expected(f"{prefix}.ci95.1"), case)


def test_blocks_against_no_blocks() -> None:
    """Box, Hunter & Hunter (1978) pp. 209-228: what five blends as blocks were worth."""
    case = load("k03-rcbd-penicillin")
    y = case.data["yield"].to_numpy(float)
    assert not table_faults(case, "anova_ignoring_blocks", ["treatment"], y)
    columns = columns_of(case, ["blend", "treatment"])
    blend, _ = contrasts.projection_ss(y, columns["1"], columns["blend"])
    treatment, _ = contrasts.projection_ss(y, joined(columns, ["blend"]), columns["treatment"])
    fit = contrasts.least_squares(joined(columns, ["blend", "treatment"]), y)
    found = {"anova.blend.ss": blend, "anova.treatment.ss": treatment, "anova.Residuals.ss": fit.residual_ss}
    assert not printed_faults(case, found | {"anova.treatment.F": treatment / 3 / (fit.residual_ss / fit.df)})


def test_pairs_as_blocks() -> None:
    """Box, Hunter & Hunter (1978) p. 100: ten boys, a material on each foot; F is t squared."""
    case = load("k03-paired-shoe-wear")
    y = case.data["wear"].to_numpy(float)
    columns = columns_of(case, ["boy", "material"])
    ss, _ = contrasts.projection_ss(y, joined(columns, ["boy"]), columns["material"])
    fit = contrasts.least_squares(joined(columns, ["boy", "material"]), y)
    # sum-to-zero with A first: the coefficient is half of A minus B
    difference = 2 * fit.beta[-1]
    std_error = math.sqrt(4 * fit.residual_ss / fit.df * fit.unscaled_cov[-1, -1])
    low, high = intervals.t_interval(difference, std_error, fit.df)
    assert fit.df == case.expected("paired.df")
    assert close(ss, case.expected("block_anova.material.ss"), case)
    assert close(ss / (fit.residual_ss / fit.df), case.expected("block_anova.material.F"), case)
    assert close(difference, case.expected("paired.mean_difference"), case)
    assert close(difference / std_error, case.expected("paired.t"), case)
    assert close(float(low), case.expected("paired.ci95.0"), case)
    assert close(float(high), case.expected("paired.ci95.1"), case)
    alone = contrasts.least_squares(joined(columns, ["material"]), y)
    unpaired = 2 * alone.beta[-1] / math.sqrt(4 * alone.residual_ss / alone.df * alone.unscaled_cov[-1, -1])
    assert close(unpaired, case.expected("unpaired.t"), case)
    assert alone.df == case.expected("unpaired.df")
