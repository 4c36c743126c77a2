"""Mixed models against R: variances, restricted likelihood, Kenward-Roger and Satterthwaite tests, limits.

lme4 stops its search early: of the oats' block variance it has four digits. Where the layout is balanced the exact
answer follows from the mean squares, and there we are held to that; elsewhere lme4's own likelihood says who is nearer.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from tests.reference.loader import Case, close, load
from toolkit.numeric import component_limits, component_profile, kenward_roger, mixed_layout, reml, satterthwaite
from toolkit.numeric.contrast_tests import ContrastTests
from toolkit.numeric.mixed_layout import Layout


def indicators(case: Case, factors: Sequence[str]) -> np.ndarray:
    """The constant and one column a level but the first of each factor, as R's treatment coding has it."""
    columns = [np.ones((len(case.data), 1))]
    for name in factors:
        given = case.data[name].to_numpy()
        columns.append((given[:, None] == np.unique(given)[None, 1:]).astype(float))
    return np.hstack(columns)


def layout(case: Case, columns: np.ndarray, terms: Mapping[str, Sequence[str]]) -> Layout:
    """The layout of a case; a term of two columns is the second within the first."""
    groups = {}
    for name, names in terms.items():
        first = case.data[names[0]].tolist()
        groups[name] = first if len(names) == 1 else mixed_layout.within(first, case.data[names[1]].tolist())
    return mixed_layout.layout_of(columns, groups)


def pair_faults(case: Case, key: str, names: Sequence[str], found: ContrastTests, rel: float) -> list[str]:
    """Where estimates, standard errors, df, t and p of pairs differ from emmeans' table."""
    columns = {
        "estimate": found.estimate,
        "SE": found.std_error,
        "df": found.df,
        "t.ratio": found.t,
        "p.value": found.p_value,
    }
    assert [k for k in case.values if k.startswith(f"{key}.") and k.endswith(".SE")] == [f"{key}.{p}.SE" for p in names]
    # p of 1e-11 moves 30 times as far as its t.
    wide = {"p.value": 30.0}
    return [
        f"{key}.{pair}.{column}: {values[at]}, not {expected}"
        for at, pair in enumerate(names)
        for column, values in columns.items()
        for expected in [case.expected(f"{key}.{pair}.{column}")]
        if values[at] != pytest.approx(expected, rel=rel * wide.get(column, 1.0))
    ]


VARIETY_PAIRS = ("Golden Rain - Marvellous", "Golden Rain - Victory", "Marvellous - Victory")
NITRO_PAIRS = ("nf0 - nf0.2", "nf0 - nf0.4", "nf0 - nf0.6", "nf0.2 - nf0.4", "nf0.2 - nf0.6", "nf0.4 - nf0.6")


def differences(levels: int, before: int, columns: int) -> np.ndarray:
    """All pairs of levels in treatment coding: the level's own column against the other's."""
    effects = np.zeros((levels, columns))
    effects[1:, before : before + levels - 1] = np.eye(levels - 1)
    return np.array([effects[a] - effects[b] for a in range(levels) for b in range(a + 1, levels)])


def oats(case: Case) -> Layout:
    """Varieties on plots within blocks, nitrogen on parts of a plot, without interaction."""
    terms = {"block": ["block"], "plot": ["block", "variety"]}
    return layout(case, indicators(case, ["variety", "nitro"]), terms)


def test_unbalanced_oats_variances_and_likelihood() -> None:
    """Variances as lme4's to 1e-5, at a likelihood no lower than lme4's; standard errors and coefficients to 1e-6."""
    case = load("k07-oats-unbalanced")
    laid, y = oats(case), case.data["yield"]
    made = reml.fit(laid, y)
    theirs = np.array([case.expected(f"reml.{name}") for name in ("block", "variety:block", "Residual")])
    assert made.variances == pytest.approx(theirs, rel=1e-5)
    assert float(made.criterion) == pytest.approx(case.expected("reml_criterion"), rel=1e-12)
    assert float(made.criterion) <= case.expected("reml_criterion")
    assert float(reml.criterion(laid, y, theirs)) == pytest.approx(case.expected("reml_criterion"), rel=1e-14)
    names = ["(Intercept)", "varietyMarvellous", "varietyVictory", "nf0.2", "nf0.4", "nf0.6"]
    assert made.beta == pytest.approx([case.expected(f"fixed.{name}") for name in names], rel=1e-6)
    errors = np.sqrt(np.diag(made.covariance))
    assert errors == pytest.approx([case.expected(f"fixed_se_plain.{name}") for name in names], rel=1e-6)
    # The proof: level in every variance, and bending upwards in all of them.
    assert np.abs(made.gradient * made.variances).max() < 1e-9
    assert np.linalg.eigvalsh(made.hessian).min() > 0.0
    assert made.at_zero.tolist() == [False, False]


def test_unbalanced_oats_by_kenward_roger() -> None:
    """F, df, p and all pairs as pbkrtest's to six digits; at lme4's own variances the df agree to ten digits."""
    case = load("k07-oats-unbalanced")
    laid = oats(case)
    made = reml.fit(laid, case.data["yield"])
    ours = kenward_roger.adjusted(laid, made.variances)
    variances = [case.expected(f"reml.{name}") for name in ("block", "variety:block", "Residual")]
    at_theirs = kenward_roger.adjusted(laid, variances)
    terms = {"variety": (np.eye(6)[1:3], 2), "nf": (np.eye(6)[3:], 3)}
    for term, (rows, df) in terms.items():
        found, same = kenward_roger.f_test(ours, made.beta, rows), kenward_roger.f_test(at_theirs, made.beta, rows)
        assert found.num_df == df
        assert float(found.f) == pytest.approx(case.expected(f"kenward_roger.{term}.F"), rel=1e-6)
        assert float(found.den_df) == pytest.approx(case.expected(f"kenward_roger.{term}.denDF"), rel=1e-6)
        assert float(found.p_value) == pytest.approx(case.expected(f"kenward_roger.{term}.p"), rel=5e-6)
        assert float(same.den_df) == pytest.approx(case.expected(f"kenward_roger.{term}.denDF"), rel=1e-10)
    asked = {"variety_pairs_kr": (VARIETY_PAIRS, 3, 1), "nitro_pairs_kr": (NITRO_PAIRS, 4, 3)}
    faults = []
    for key, (pairs, levels, before) in asked.items():
        rows = differences(levels, before, 6)
        faults += pair_faults(case, key, pairs, kenward_roger.contrasts(ours, made.beta, rows), 1e-6)
        same = kenward_roger.contrasts(at_theirs, made.beta, rows)
        for column, values in {"SE": same.std_error, "df": same.df}.items():
            expected = [case.expected(f"{key}.{pair}.{column}") for pair in pairs]
            assert values == pytest.approx(expected, rel=1e-10)
    assert not faults, "\n".join(faults)


def test_unbalanced_oats_by_satterthwaite() -> None:
    """F, df and p and all pairs as lmerTest's, whose derivatives are numerical, to six digits."""
    case = load("k07-oats-unbalanced")
    made = reml.fit(oats(case), case.data["yield"])
    known = satterthwaite.approximate(made)
    for term, rows in {"variety": np.eye(6)[1:3], "nf": np.eye(6)[3:]}.items():
        found = satterthwaite.f_test(known, made.beta, rows)
        assert float(found.f) == pytest.approx(case.expected(f"satterthwaite.{term}.F"), rel=1e-6)
        assert float(found.den_df) == pytest.approx(case.expected(f"satterthwaite.{term}.denDF"), rel=1e-6)
        assert float(found.p_value) == pytest.approx(case.expected(f"satterthwaite.{term}.p"), rel=5e-6)
    found = satterthwaite.contrasts(known, made.beta, differences(3, 1, 6))
    faults = pair_faults(case, "variety_pairs_satt", VARIETY_PAIRS, found, 1e-6)
    assert not faults, "\n".join(faults)


def test_balanced_oats_are_the_strata() -> None:
    """Exact from the mean squares; every Kenward-Roger F is that of its stratum, as R's aov has it."""
    case = load("k07-oats-splitplot")
    codes = [case.data[name].astype("category").cat.codes.to_numpy() for name in ("variety", "nitro")]
    sums = [np.vstack([np.eye(k - 1), -np.ones((1, k - 1))])[code] for k, code in zip((3, 4), codes, strict=True)]
    both = (sums[0][:, :, None] * sums[1][:, None, :]).reshape(len(case.data), -1)
    columns = np.hstack([np.ones((len(case.data), 1)), *sums, both])
    laid, y = layout(case, columns, {"block": ["block"], "plot": ["block", "variety"]}), case.data["yield"]
    made = reml.fit(laid, y)
    block, plot, residual = (
        case.expected(f"strata.{stratum}.Residuals.ms") for stratum in ("block", "block:variety", "Within")
    )
    assert made.variances == pytest.approx([(block - plot) / 12, (plot - residual) / 4, residual], rel=1e-9)
    for name, value in zip(("block", "variety:block", "Residual"), made.variances, strict=True):
        assert close(value, case.expected(f"reml.{name}"), case, key="reml_rel")
        assert np.sqrt(value) == pytest.approx(case.published(f"reml.{name}.root"), abs=0.005)
    # lme4 prints the criterion for its own coding of the columns, whose volume differs from ours.
    treatment = np.hstack([np.ones((72, 1)), *(np.eye(k)[code][:, 1:] for k, code in zip((3, 4), codes, strict=True))])
    products = (treatment[:, 1:3, None] * treatment[:, None, 3:6]).reshape(72, 6)
    again = layout(case, np.hstack([treatment, products]), {"block": ["block"], "plot": ["block", "variety"]})
    assert float(reml.fit(again, y).criterion) == pytest.approx(case.expected("reml_criterion"), rel=1e-9)
    known = kenward_roger.adjusted(laid, made.variances)
    asked = {"variety": (1, 3, "block:variety", 10), "nf": (3, 6, "Within", 45), "variety:nf": (6, 12, "Within", 45)}
    for term, (start, stop, stratum, df) in asked.items():
        found = kenward_roger.f_test(known, made.beta, np.eye(12)[start:stop])
        assert float(found.f) == pytest.approx(case.expected(f"strata.{stratum}.{term}.F"), rel=1e-8)
        assert float(found.den_df) == pytest.approx(df, rel=1e-8)
        assert float(found.p_value) == pytest.approx(case.expected(f"strata.{stratum}.{term}.p"), rel=1e-7)
        assert close(float(found.f), case.expected(f"kenward_roger_anova.{term}.F"), case, key="kr_rel")
        assert close(float(found.den_df), case.expected(f"kenward_roger_anova.{term}.denDF"), case, key="kr_rel")
    for key, pairs, at, levels in (("variety_pairs", VARIETY_PAIRS, 1, 3), ("nitro_pairs", NITRO_PAIRS, 3, 4)):
        means = np.zeros((levels, 12))
        means[:, at : at + levels - 1] = np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])
        rows = np.array([means[a] - means[b] for a in range(levels) for b in range(a + 1, levels)])
        faults = pair_faults(case, key, pairs, kenward_roger.contrasts(known, made.beta, rows), 1e-6)
        assert not faults, "\n".join(faults)
    squares = component_limits.stratum_squares(laid, y)
    assert squares is not None
    assert squares.mean_squares == pytest.approx([block, plot, residual], rel=1e-9)
    assert squares.df.tolist() == [5, 10, 45]
    published = ("strata.block:variety.variety.F", "strata.Within.nf.F", "strata.Within.Residuals.ms")
    assert [case.published(key) for key in published] == [1.485, 37.69, 177.1]
    assert case.expected(published[0]) == pytest.approx(1.485, abs=5e-4)
    assert squares.mean_squares[1] * 10 == pytest.approx(case.published("strata.block:variety.Residuals.ss"), abs=0.05)


def test_dyestuff_by_both_likelihoods() -> None:
    """REML is the mean-square answer; ML, both likelihoods and the profile limits are lme4's, and as printed."""
    case = load("k08-dyestuff")
    laid, y = layout(case, np.ones((30, 1)), {"Batch": ["Batch"]}), case.data["Yield"]
    made = reml.fit(laid, y)
    assert made.variances == pytest.approx([case.expected("var_between_anova"), case.expected("var_within")], rel=1e-9)
    for key, found in {"reml": made, "ml": reml.fit(laid, y, restricted=False)}.items():
        for name, value in zip(("Batch", "Residual"), found.variances, strict=True):
            assert close(value, case.expected(f"{key}.{name}"), case, key="reml_rel")
            assert value == pytest.approx(case.expected(f"{key}.{name}"), rel=1e-7)
        assert found.variances[0] == pytest.approx(case.published(f"{key}.Batch"), abs=0.005)
    assert float(made.criterion) == pytest.approx(case.expected("reml_criterion"), rel=1e-10)
    ml = reml.criterion(laid, y, reml.fit(laid, y, restricted=False).variances, restricted=False)
    assert float(ml) == pytest.approx(-2 * case.expected("ml_loglik"), rel=1e-10)
    found = component_profile.profile(laid, y, restricted=False)
    for at, key in enumerate(("sd_(Intercept)|Batch", "sigma")):
        for end, value in ((0, found.sd_low[at]), (1, found.sd_high[at])):
            expected = f"profile_ci95_sd_ml.{key}.{end}"
            assert close(value, case.expected(expected), case, key="profile_rel")
            assert value == pytest.approx(case.published(expected), abs=0.002)
    squares = component_limits.stratum_squares(laid, y)
    assert squares is not None
    expected = [case.published("ms_between"), case.published("ms_within")]
    assert squares.mean_squares == pytest.approx(expected, abs=0.005)
    limits = component_limits.limits(laid, y)
    assert limits.how == ("mean squares", "mean squares")
    within = [case.expected("var_within_ci95.0"), case.expected("var_within_ci95.1")]
    assert [limits.sd_low[1] ** 2, limits.sd_high[1] ** 2] == pytest.approx(within, rel=1e-8)


@pytest.mark.parametrize(
    ("name", "response", "terms", "squares", "components", "criterion"),
    [
        (
            "k08-pastes-nested",
            "strength",
            {"batch": ["batch"], "cask:batch": ["batch", "cask"]},
            ("ms.batch", "ms.cask_in_batch", "ms.assay"),
            ("ems.batch", "ems.cask", "ems.assay"),
            246.990745853487,
        ),
        (
            "k08-penicillin-crossed",
            "diameter",
            {"plate": ["plate"], "sample": ["sample"]},
            ("ms.sample", "ms.plate", "ms.residual"),
            ("ems.plate", "ems.sample", "ems.residual"),
            330.860588999604,
        ),
    ],
)
def test_nested_and_crossed_components(
    name: str,
    response: str,
    terms: dict[str, list[str]],
    squares: tuple[str, ...],
    components: tuple[str, ...],
    criterion: float,
) -> None:
    """Mean squares, df and components from them to 1e-8; REML the same, and lme4's to the digits lme4 has."""
    case = load(name)
    laid, y = layout(case, np.ones((len(case.data), 1)), terms), case.data[response]
    found = component_limits.stratum_squares(laid, y)
    assert found is not None
    order = np.argsort(-np.array([case.expected(key) for key in squares]))
    assert found.mean_squares == pytest.approx([case.expected(squares[at]) for at in order], rel=1e-8)
    assert sorted(found.df) == sorted(case.expected(f"df.{at}") for at in range(3))
    exact = [case.expected(key) for key in components]
    assert found.variances == pytest.approx(exact, rel=1e-8)
    made = reml.fit(laid, y)
    assert made.variances == pytest.approx(exact, rel=1e-7)
    for term, value in zip((*terms, "Residual"), made.variances, strict=True):
        assert close(value, case.expected(f"reml.{term}"), case, key="reml_rel")
        if f"reml.{term}.root" in case.printed:
            # lme4 stops at 1.9316 where the mean squares give 1.93156.
            assert np.sqrt(value) == pytest.approx(case.published(f"reml.{term}.root"), abs=6e-5)
    assert criterion == case.expected("reml_criterion")
    assert float(made.criterion) == pytest.approx(criterion, rel=1e-9)
    assert float(made.criterion) <= criterion + 1e-11
    if name == "k08-pastes-nested":
        assert float(made.beta[0]) == pytest.approx(case.expected("mean"), rel=1e-12)
        assert float(np.sqrt(made.covariance[0, 0])) == pytest.approx(case.expected("se_mean"), rel=1e-8)
        known = kenward_roger.adjusted(laid, made.variances)
        assert float(kenward_roger.contrasts(known, made.beta, [[1.0]]).df[0]) == pytest.approx(9, rel=1e-7)


def test_machines_are_judged_by_the_workers_way_with_them() -> None:
    """Repeats within worker and machine are sub-samples: F, df and pairs are those of the interaction stratum."""
    case = load("k08-machines-mixed")
    terms = {"worker": ["worker"], "worker:machine": ["worker", "machine"]}
    laid, y = layout(case, indicators(case, ["machine"]), terms), case.data["score"]
    squares = component_limits.stratum_squares(laid, y)
    assert squares is not None
    strata = ("worker", "worker:machine", "Within")
    assert squares.mean_squares == pytest.approx(
        [case.expected(f"strata.{stratum}.Residuals.ms") for stratum in strata], rel=1e-7
    )
    assert squares.df.tolist() == [case.expected(f"strata.{stratum}.Residuals.df") for stratum in strata]
    made = reml.fit(laid, y)
    assert made.variances == pytest.approx(squares.variances, rel=1e-8)
    for name, value in zip((*terms, "Residual"), made.variances, strict=True):
        assert close(value, case.expected(f"reml.{name}"), case, key="reml_rel")
    known = kenward_roger.adjusted(laid, made.variances)
    found = kenward_roger.f_test(known, made.beta, np.eye(3)[1:])
    key = "strata.worker:machine.machine"
    assert float(found.f) == pytest.approx(case.expected(f"{key}.F"), rel=1e-7)
    assert float(found.den_df) == pytest.approx(10, rel=1e-7)
    assert float(found.p_value) == pytest.approx(case.expected(f"{key}.p"), rel=1e-6)
    assert float(found.f) < 0.03 * case.expected("wrong_F_against_repeats")
    pairs = kenward_roger.contrasts(known, made.beta, differences(3, 1, 3))
    faults = pair_faults(case, "machine_pairs", ("A - B", "A - C", "B - C"), pairs, 1e-6)
    assert not faults, "\n".join(faults)
