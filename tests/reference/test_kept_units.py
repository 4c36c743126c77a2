"""Whole plots in blocks through the brief: Yates' oats with varieties as parts kept over the runs of nitrogen.

R 4.2.2: aov with Error(block / variety), emmeans; on the unbalanced rows lme4 with pbkrtest, where blocks are
random.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.reference.loader import Case, load
from tests.unit.numeric import mixed_by_rows as by_rows
from toolkit.brief.model import Brief, Comparison, Factor, Level, PlanChoice, Response
from toolkit.model import levels
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

VARIETIES = ("Golden Rain", "Marvellous", "Victory")
NITROGEN = ("0", "0.2", "0.4", "0.6")


def brief(nil: tuple[tuple[str, ...], ...] = ()) -> Brief:
    """Blocks are builds, a variety is a part that is kept, nitrogen a setting."""
    asked = [
        Comparison(f"{one} - {other}", of={"variety": one}, against={"variety": other})
        for at, one in enumerate(VARIETIES)
        for other in VARIETIES[at + 1 :]
    ]
    asked += [
        Comparison(f"nf{one} - nf{other}", of={"nitro": one}, against={"nitro": other})
        for at, one in enumerate(NITROGEN)
        for other in NITROGEN[at + 1 :]
    ]
    return Brief(
        id="oats",
        question="?",
        seed=1,
        factors=(
            Factor("variety", "part", tuple(Level(name) for name in VARIETIES)),
            Factor("nitro", "setting", tuple(Level(name) for name in NITROGEN)),
        ),
        responses=(Response("yield_qlb", scale="linear", better="larger", per_run="value"),),
        comparisons=tuple(asked),
        block_by="build",
        plan=PlanChoice(nil_interactions=nil),
    )


def runs_of(case: Case) -> pd.DataFrame:
    """One row a sub-plot."""
    data = case.data
    return pd.DataFrame(
        {
            "run_id": [f"R{at + 1:02d}" for at in range(len(data))],
            "build_id": data["block"].astype(str),
            "part_set_id": data["variety"].astype(str),
            "variety": data["variety"].astype(str),
            "nitro": [f"{float(value):g}" for value in data["nitro"]],
            "yield_qlb": data["yield"].astype(float),
        }
    )


def test_balanced_oats_are_the_strata_of_r() -> None:
    """Every mean square, F and p of aov, and the pairs of emmeans, to six digits."""
    case = load("k07-oats-splitplot")
    made = fit(brief(), runs_of(case), "yield_qlb")
    assert made.mixed is None
    assert made.strata.layout == "whole plots in complete blocks"
    lines = table(made).set_index("term")
    keys = {
        "variety": "strata.block:variety.variety",
        "error (part)": "strata.block:variety.Residuals",
        "nitro": "strata.Within.nf",
        "variety × nitro": "strata.Within.variety:nf",
        "error (run)": "strata.Within.Residuals",
    }
    for term, key in keys.items():
        assert lines.loc[term, "df"] == case.expected(f"{key}.df")
        assert lines.loc[term, "sum_sq"] == pytest.approx(case.expected(f"{key}.ss"), rel=1e-9)
        assert lines.loc[term, "mean_sq"] == pytest.approx(case.expected(f"{key}.ms"), rel=1e-9)
        if "error" not in term:
            assert lines.loc[term, "f"] == pytest.approx(case.expected(f"{key}.F"), rel=1e-9)
            assert lines.loc[term, "p_value"] == pytest.approx(case.expected(f"{key}.p"), rel=1e-9)
    assert lines.loc["build", "sum_sq"] == pytest.approx(case.expected("strata.block.Residuals.ss"), rel=1e-9)
    for line in comparisons(made).to_dict("records"):
        kind = "variety" if line["error_stratum"] == "part" else "nitro"
        for column, name in (("estimate", "estimate"), ("std_error", "SE"), ("df", "df"), ("p_value", "p.value"),
                             ("conf_low", "lower.CL"), ("conf_high", "upper.CL")):  # fmt: skip
            key = f"{kind}_pairs.{line['comparison']}.{name}"
            # emmeans rests on lme4's variances, which have six digits.
            rel, near = (1e-4, 0.0) if name == "p.value" else (2e-6, 1e-5 if "CL" in name else 0.0)
            assert line[column] == pytest.approx(case.expected(key), rel=rel, abs=near)


def test_unbalanced_oats_with_random_blocks_are_those_of_pbkrtest() -> None:
    """Nine sub-plots lost: F, df and pairs by Kenward and Roger with inter-block information recovered."""
    case = load("k07-oats-unbalanced")
    made = fit(brief((("variety", "nitro"),)), runs_of(case), "yield_qlb", recover_blocks=True)
    assert made.mixed is not None
    assert made.mixed.units == ("build", "part", "run")
    expected = [case.expected(f"reml.{name}") for name in ("block", "variety:block", "Residual")]
    assert list(made.mixed.fit.variances) == pytest.approx(expected, rel=case.tolerance["rel"])
    assert "builds are taken as random: differences between builds add to the answers (inter-block recovery)" in (
        made.notes
    )
    lines = table(made).set_index("term")
    for term, key in (("variety", "variety"), ("nitro", "nf")):
        assert lines.loc[term, "f"] == pytest.approx(case.expected(f"kenward_roger.{key}.F"), rel=case.tolerance["rel"])
        df = case.expected(f"kenward_roger.{key}.denDF")
        assert lines.loc[term, "error_df"] == pytest.approx(df, rel=case.tolerance["df_rel"])
        p = case.expected(f"kenward_roger.{key}.p")
        assert lines.loc[term, "p_value"] == pytest.approx(p, rel=10 * case.tolerance["rel"])
        assert lines.loc[term, "sum_sq"] is None
    for line in comparisons(made).to_dict("records"):
        kind = "variety" if line["error_stratum"] == "part" else "nitro"
        for column, name in (("estimate", "estimate"), ("std_error", "SE"), ("df", "df"), ("conf_low", "lower.CL")):
            key = f"{kind}_pairs_kr.{line['comparison']}.{name}"
            rel = case.tolerance["df_rel" if column == "df" else "rel"]
            assert line[column] == pytest.approx(case.expected(key), rel=rel, abs=1e-6)
    # The joint test of all levels is the line of the analysis of variance.
    tested = levels.simple_tests(made, "variety", ["nitro"])
    assert tested["note"].tolist() == ["F and error df by Kenward and Roger"] * 4


def test_unbalanced_oats_with_fixed_blocks_against_formulas_on_all_rows() -> None:
    """The house rule, blocks fixed: highest restricted likelihood, errors and df by Kenward and Roger on all rows."""
    case = load("k07-oats-unbalanced")
    runs = runs_of(case)
    made = fit(brief((("variety", "nitro"),)), runs, "yield_qlb")
    assert made.mixed is not None
    assert made.mixed.units == ("part", "run")
    y = runs["yield_qlb"].to_numpy()
    parts = by_rows.sources([(runs["build_id"] + "/" + runs["variety"]).tolist()])
    marks = [pd.get_dummies(runs[name], dtype=float).to_numpy() for name in ("build_id", "variety", "nitro")]
    x = np.hstack([marks[0], marks[1][:, 1:], marks[2][:, 1:]])
    variances = made.mixed.fit.variances
    assert by_rows.is_best(y, x, parts, variances)
    beta = by_rows.coefficients(y, x, parts, variances)
    found = comparisons(made).set_index("comparison")
    for name, at in (("Golden Rain - Marvellous", 6), ("Golden Rain - Victory", 7), ("nf0 - nf0.6", 10)):
        row = np.zeros((1, x.shape[1]))
        row[0, at] = -1.0
        cov, df, _ = by_rows.kenward_roger(x, parts, variances, row)
        assert found.loc[name, "estimate"] == pytest.approx(-beta[at], rel=1e-7)
        assert found.loc[name, "std_error"] == pytest.approx(float(np.sqrt(cov[at, at])), rel=1e-7)
        assert found.loc[name, "df"] == pytest.approx(df, rel=1e-6)
