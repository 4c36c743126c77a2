"""Whole plots that are not balanced: the strata where they are, formulas on all runs where they are not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.brief.model import Brief
from toolkit.design import questions, strata
from toolkit.design import terms as model_terms
from toolkit.errors import ModelError
from toolkit.model import _estimates as exact
from toolkit.model import anova, mixed
from toolkit.model.fit import of_strata
from toolkit.numeric import components, kenward_roger, reml


def runs_of(brief: Brief, builds: int, *, repeats: int = 1) -> pd.DataFrame:
    """Every level of the second factor in every build, the first changing from build to build."""
    first, second = brief.factors
    return pd.DataFrame(
        [
            {"run_id": f"R{build}{name}{k}", "build_id": f"B{build}", first.name: level, second.name: name}
            for build in range(builds)
            for level in [first.names[build % len(first.names)]]
            for name in second.names
            for k in range(repeats)
        ]
    )


def three_by_three() -> Brief:
    """Three sprockets changed with the build, three oils within it."""
    factors = (briefs.factor("sprocket", "S0", "S1", "S2", undo="build"), briefs.factor("oil", "O0", "O1", "O2"))
    return replace(briefs.whole_plots(), factors=factors)


def drawn(runs: pd.DataFrame, between: float, seed: int) -> np.ndarray:
    """A response without effects."""
    rng = np.random.default_rng(seed)
    codes, names = pd.factorize(runs["build_id"])
    return 2.0 + between * rng.normal(size=len(names))[codes] + rng.normal(size=len(runs))


def rows_of(brief: Brief, terms: tuple) -> list[np.ndarray]:
    """The comparisons of the brief, one of them mixing builds and runs."""
    return [questions.of_comparison(brief, item, terms).row for item in brief.comparisons]


def test_balanced_builds_are_the_strata() -> None:
    """Estimates, errors, df, F, p and limits are those of the mean squares; a mixed contrast by its own formula."""
    brief = three_by_three()
    runs = runs_of(brief, 9)
    laid = strata.of_runs(brief, runs)
    y = drawn(runs, 1.5, 4)
    plain, made = of_strata(brief, brief.response("elongation_pct"), laid, y), mixed.of_strata(laid, y)
    (build, build_df), (run, run_df) = plain.mean_squares["build"], plain.mean_squares["run"]
    assert (build_df, run_df) == (6, 12)
    assert made.fit.variances == pytest.approx([(build - run) / 3, run], rel=1e-8)
    for row in rows_of(brief, laid.terms):
        expected, found = exact.of_row(plain, row), mixed.estimate(made, row)
        assert found is not None
        assert found.value == pytest.approx(expected.value, rel=1e-9)
        assert found.std_error == pytest.approx(expected.std_error, rel=1e-8)
        if " and " not in expected.strata:
            assert found.df == pytest.approx(expected.df, rel=1e-7)
    table = anova.table(plain).set_index("term")
    for term, name in {("sprocket",): "sprocket", ("oil",): "oil", ("sprocket", "oil"): "sprocket × oil"}.items():
        found = mixed.term_test(made, term)
        assert found is not None
        line = table.loc[name]
        assert (found.num_df, float(found.den_df)) == (line["df"], pytest.approx(line["error_df"], rel=1e-7))
        assert float(found.f) == pytest.approx(line["f"], rel=1e-8)
        assert float(found.p_value) == pytest.approx(line["p_value"], rel=1e-7)
    limits = mixed.scatter(made, 0.95)
    expected = components.between_scatter(build, build_df, run, run_df, 3)
    assert [limits.sd[0], limits.sd_low[0], limits.sd_high[0]] == pytest.approx(
        [float(expected.sd), float(expected.sd_low), float(expected.sd_high)], rel=1e-8
    )
    assert limits.names == ("build", "residual")
    assert made.notes == (
        "as the strata: scatter between builds and between runs by restricted maximum likelihood, standard errors and "
        "df by Kenward and Roger in place of exact mean squares",
    )


def test_what_further_runs_would_bring_is_foreseen() -> None:
    """At given variances: the strata where balanced, the fit's own errors and df where it is the fit's own runs."""
    brief = three_by_three()
    runs = runs_of(brief, 9)
    laid = strata.of_runs(brief, runs)
    rows = np.array(rows_of(brief, laid.terms))
    for row, found in zip(rows[:2], mixed.foreseen(laid, np.array([2.0, 0.5]), rows), strict=False):
        (part,) = laid.parts(row)
        square = {"build": 0.5 + 3 * 2.0, "run": 0.5}[part.stratum]
        assert found == (pytest.approx(part.unit_variance * square), pytest.approx(part.error_df))
    left = strata.of_runs(brief, runs.drop(index=[1, 5, 6]))
    made = mixed.of_strata(left, drawn(left.runs, 1.0, 12))
    for row, found in zip(rows, mixed.foreseen(left, made.fit.variances, rows), strict=True):
        own = mixed.estimate(made, row)
        assert own is not None
        assert found == (pytest.approx(own.std_error**2), pytest.approx(own.df))
    assert mixed.foreseen(strata.of_runs(brief, runs[runs["oil"] != "O1"]), made.fit.variances, rows[1:2]) == [None]


def test_lost_runs_against_formulas_on_all_runs() -> None:
    """Five of 27 runs lost: estimates by generalised least squares, errors and df by Kenward and Roger on rows."""
    brief = three_by_three()
    runs = runs_of(brief, 9).drop(index=[1, 5, 6, 15, 22]).reset_index(drop=True)
    laid = strata.of_runs(brief, runs)
    assert laid.unbalanced
    y = drawn(runs, 1.0, 12)
    made = mixed.of_strata(laid, y)
    parts = by_rows.sources([runs["build_id"].tolist()])
    weights = np.linalg.inv(sum(v * part for v, part in zip(made.fit.variances, parts, strict=True)))
    x = laid.columns
    beta = np.linalg.solve(x.T @ weights @ x, x.T @ weights @ y)
    rows = np.array(rows_of(brief, laid.terms))
    for row in rows:
        found = mixed.estimate(made, row)
        assert found is not None
        cov, df, _ = by_rows.kenward_roger(x, parts, made.fit.variances, row[None, :])
        assert found.value == pytest.approx(row @ beta, rel=1e-8)
        assert found.std_error == pytest.approx(float(np.sqrt(row @ cov @ row)), rel=1e-8)
        assert found.df == pytest.approx(df, rel=1e-7)
    assert mixed.covariance(made, rows) == pytest.approx(rows @ cov @ rows.T, rel=1e-8)
    # The interaction is contained in nothing: its test is that of its coefficients.
    span = laid.spans[("sprocket", "oil")]
    found = mixed.term_test(made, ("sprocket", "oil"))
    assert found is not None
    chosen = np.eye(9)[span]
    cov, df, factor = by_rows.kenward_roger(x, parts, made.fit.variances, chosen)
    f = factor * beta @ chosen.T @ np.linalg.solve(chosen @ cov @ chosen.T, chosen @ beta) / 4
    assert float(found.f) == pytest.approx(f, rel=1e-7)
    assert float(found.den_df) == pytest.approx(df, rel=1e-7)
    joint = mixed.joint_test(made, chosen)
    assert (float(joint.f), float(joint.den_df)) == (pytest.approx(f, rel=1e-7), pytest.approx(df, rel=1e-7))
    # Type I, II and III of the last term in the order are the same.
    for ss_type in (1, 3):
        again = mixed.term_test(made, ("sprocket", "oil"), ss_type)
        assert again is not None
        assert float(again.f) == pytest.approx(f, rel=1e-7)
    # Type I of the sprockets: in the model without any other term, at the same variances.
    found = mixed.term_test(made, ("sprocket",), 1)
    assert found is not None
    small = x[:, :3]
    chosen = np.linalg.solve(small.T @ weights @ small, small.T @ weights @ x)[1:3]
    cov, df, factor = by_rows.kenward_roger(x, parts, made.fit.variances, chosen)
    f = factor * beta @ chosen.T @ np.linalg.solve(chosen @ cov @ chosen.T, chosen @ beta) / 2
    assert (float(found.f), float(found.den_df)) == (pytest.approx(f, rel=1e-7), pytest.approx(df, rel=1e-7))
    # Type II: what the oils' columns get in the model without the interaction, at the same variances.
    found = mixed.term_test(made, ("oil",))
    assert found is not None
    small = x[:, :5]
    chosen = np.linalg.solve(small.T @ weights @ small, small.T @ weights @ x)[3:5]
    cov, df, factor = by_rows.kenward_roger(x, parts, made.fit.variances, chosen)
    f = factor * beta @ chosen.T @ np.linalg.solve(chosen @ cov @ chosen.T, chosen @ beta) / 2
    assert float(found.f) == pytest.approx(f, rel=1e-7)
    assert float(found.den_df) == pytest.approx(df, rel=1e-7)
    fixed = y - x @ beta
    between = made.fit.variances[0] * (parts[0] @ weights @ fixed)
    assert made.residuals == pytest.approx(fixed - between, rel=1e-7, abs=1e-10)


def test_false_alarms_with_lost_runs() -> None:
    """2,000 campaigns without effects, runs lost at random: never above 5.5 % (3.24 standard errors more)."""
    brief = briefs.whole_plots()
    rng = np.random.default_rng(7)
    alarms, campaigns = [], 500
    for _ in range(4):
        runs = runs_of(brief, 8, repeats=2)
        runs = runs.drop(index=rng.choice(32, size=6, replace=False)).reset_index(drop=True)
        laid = strata.of_runs(brief, runs)
        made = mixed.of_strata(laid, drawn(runs, 0.7, 5))
        codes, names = pd.factorize(runs["build_id"])
        y = 0.7 * rng.normal(size=(campaigns, len(names)))[:, codes] + rng.normal(size=(campaigns, len(runs)))
        fits = reml.fit_many(made.layout, y)
        rows = np.linalg.solve(made.into.T, np.array(rows_of(brief, laid.terms)[:2]).T).T
        known = kenward_roger.adjusted(made.layout, fits.variances)
        alarms.append(np.mean(kenward_roger.contrasts(known, fits.beta, rows).p_value < 0.05, axis=0))
        # The campaign that stands alone is one of them.
        alone = mixed.estimate(mixed.of_strata(laid, y[0]), rows_of(brief, laid.terms)[0])
        same = kenward_roger.contrasts(known, fits.beta, rows)
        assert alone is not None
        assert alone.std_error == pytest.approx(float(same.std_error[0, 0]), rel=1e-6)
        assert alone.df == pytest.approx(float(same.df[0, 0]), rel=1e-6)
    sprocket, oil = np.mean(alarms, axis=0)
    noise = 3.24 * np.sqrt(0.05 * 0.95 / (4 * campaigns))
    assert sprocket <= 0.055 + noise
    assert 0.05 - noise <= oil <= 0.055 + noise


def test_a_missing_combination_keeps_what_can_be_told() -> None:
    """One combination never run: its contrasts are None, the others have df; the interaction has one df less."""
    brief = three_by_three()
    runs = runs_of(brief, 9)
    runs = runs[~((runs["sprocket"] == "S2") & (runs["oil"] == "O2"))].reset_index(drop=True)
    laid = strata.of_runs(brief, runs)
    made = mixed.of_strata(laid, drawn(runs, 1.0, 3))
    assert (len(made.kept), made.into.shape) == (8, (8, 9))
    lost = model_terms.row(brief, laid.terms, {"sprocket": "S2", "oil": "O2"})
    one, two = (model_terms.row(brief, laid.terms, {"sprocket": "S2", "oil": oil}) for oil in ("O0", "O1"))
    assert mixed.estimate(made, lost - one) is None
    found = mixed.estimate(made, two - one)
    assert found is not None
    y, chosen = made.y, runs["sprocket"] == "S2"
    within = [y[chosen & (runs["oil"] == oil)].mean() for oil in ("O0", "O1")]
    assert found.value == pytest.approx(within[1] - within[0], rel=1e-9)
    test = mixed.term_test(made, ("sprocket", "oil"))
    assert test is not None
    assert test.num_df == 3


def test_a_build_scatter_of_nought_is_told() -> None:
    """Runs that scatter more than builds: the variance is 0, the note says so, the df stay near those of builds."""
    brief = briefs.whole_plots()
    runs = runs_of(brief, 8, repeats=2).drop(index=[3, 9]).reset_index(drop=True)
    laid = strata.of_runs(brief, runs)
    seeds = (mixed.of_strata(laid, drawn(runs, 0.0, seed)) for seed in range(20))
    made = next(one for one in seeds if one.fit.at_zero[0])
    assert made.notes[1] == (
        "the scatter between builds comes out at 0; it is kept in the model, so that what changes with the build is "
        "still judged by the df of the builds"
    )
    found = mixed.estimate(made, rows_of(brief, laid.terms)[0])
    assert found is not None
    assert found.df < 8.0


def test_builds_that_cannot_be_judged() -> None:
    """No unit, one run a build, builds that the terms tell apart, nothing left within them: each in words."""
    brief = briefs.whole_plots()
    with pytest.raises(ModelError) as told:
        blocked = briefs.randomised()
        runs = pd.DataFrame({"run_id": list("abcdef"), "build_id": "B", "finish": ["turned", "honed", "lapped"] * 2})
        mixed.of_strata(strata.of_runs(blocked, runs), np.arange(6.0))
    assert str(told.value) == (
        "No factor belongs to a unit of several runs (completely randomised): only runs are random. "
        "Take exact mean squares."
    )
    runs = runs_of(brief, 8)
    cases = [
        (
            runs.drop_duplicates("build_id"),
            "in each build not every combination of what changes there is run equally often, and "
            "no build holds two runs, so the scatter between builds cannot be told from that of the runs. Repeat runs "
            "in at least one build. Or put 'build' into new_each_run: the run is then the unit.",
        ),
        (
            runs_of(brief, 2, repeats=2).drop(index=[0]),
            "build B0 does not hold the same combinations as the other builds, and "
            "the terms tell the 2 builds apart completely, so nothing is left to judge what changes with the build. "
            "Add a build of a level that has one, or declare an interaction nil.",
        ),
        (
            runs.iloc[[0, 1, 2, 3, 4, 6]],
            "builds B2, B3 do not hold the same combinations as the other builds, and "
            "6 runs leave nothing to judge differences within builds by. Repeat runs, or declare an interaction nil.",
        ),
    ]
    for chosen, message in cases:
        laid = strata.of_runs(brief, chosen.reset_index(drop=True))
        with pytest.raises(ModelError) as told:
            mixed.of_strata(laid, np.arange(float(len(chosen))))
        assert str(told.value) == message
