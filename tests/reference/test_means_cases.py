"""Means, pairs, baselines, simple effects and polynomials on published data against R's recorded numbers."""

import numpy as np
import pytest

from tests.reference.loader import close, load
from tests.unit.model.made import brief_of, runs_of
from toolkit.model import families, levels, means, polynomials
from toolkit.model.fit import fit


def fitted(data, factors, response, **more):
    """A fit of a data frame, its levels as ``levels`` says."""
    return fit(brief_of(data, factors, response, **more), runs_of(data, factors, response), response)


def test_tukey_of_warp_breaks_in_the_additive_model():
    case = load("k10-tukey-warpbreaks")
    made = fitted(
        case.data, ["wool", "tension"], "breaks", nil=[("wool", "tension")], levels={"tension": ["L", "M", "H"]}
    )
    assert made.mean_squares["run"] == (pytest.approx(case.expected("mse"), rel=1e-12), case.expected("df_error"))
    # Equal numbers: the multivariate t is the studentised range.
    for adjust in ("multivariate_t", "studentised_range"):
        found = levels.pairs(made, "tension", adjust=adjust)
        for row, name in zip(found.to_dict("records"), ("M-L", "H-L", "H-M"), strict=True):
            high, low = name.split("-")
            assert row["contrast"] == f"tension {high} against tension {low}, mean over wool"
            for ours, key in (("estimate", "diff"), ("conf_low", "lwr"), ("conf_high", "upr"), ("p_value", "p adj")):
                assert close(row[ours], case.expected(f"tukey.{name}.{key}"), case), (adjust, name, key)
                printed = f"tukey.{name}.{key}"
                if printed in case.printed:
                    assert abs(row[ours] - case.published(printed)) <= case.published_abs(printed)
    critical = families.range_critical(3, 50, 0.05)
    assert close(critical * np.sqrt(2), case.expected("q_crit"), case)
    assert close(families.range_p([critical], 3, 50)[0], 0.05, case)


def test_tukey_kramer_of_chicken_feeds():
    case = load("k10-tukey-kramer-chickwts")
    found = levels.pairs(fitted(case.data, ["feed"], "weight", levels={"feed": sorted(set(case.data["feed"]))}), "feed",
                         adjust="studentised_range")
    assert len(found) == 15
    for row in found.to_dict("records"):
        name = row["contrast"].replace("feed ", "").replace(" against ", "-")
        for ours, key in (("estimate", "diff"), ("conf_low", "lwr"), ("conf_high", "upr")):
            assert close(row[ours], case.expected(f"tukey.{name}.{key}"), case), (name, key)
        assert close(row["p_value"], case.expected(f"tukey.{name}.p adj"), case, key="p_abs")
        assert (row["adjust"], row["measured_in"], row["planned"]) == ("studentised_range", "", False)
    # Exact for these numbers of runs: never wider than the studentised range, which is on the safe side.
    exact = levels.pairs(fitted(case.data, ["feed"], "weight", levels={"feed": sorted(set(case.data["feed"]))}), "feed")
    wide = (found["conf_high"] - found["conf_low"]).astype(float)
    assert ((exact["conf_high"] - exact["conf_low"]).astype(float) < wide).all()
    assert ((exact["conf_high"] - exact["conf_low"]).astype(float) > 0.98 * wide).all()


def test_dunnett_1955():
    case = load("k10-dunnett-1955")
    made = fitted(case.data, ["group"], "count")
    found = levels.against_baseline(made, "group")
    t_values = []
    for row, name in zip(found.to_dict("records"), ("A - control", "B - control"), strict=True):
        t = row["estimate"] / row["std_error"]
        t_values.append(t)
        for ours, key in ((row["estimate"], "estimate"), (row["std_error"], "se"), (t, "t")):
            assert close(ours, case.expected(f"two_sided.{key}.{name}"), case)
        assert close(row["p_value"], case.expected(f"two_sided.p_adjusted.{name}"), case, key="p_abs")
        # R's own p are good to six digits here.
        assert row["p_value"] == pytest.approx(case.expected(f"two_sided.p_adjusted.{name}"), rel=1e-6)
        critical = (row["conf_high"] - row["estimate"]) / row["std_error"]
        assert close(critical, case.expected("two_sided.critical_t"), case, key="critical_abs")
        printed = f"two_sided.p_adjusted.{name}"
        assert abs(row["p_value"] - case.published(printed)) <= case.published_abs(printed)
    # Control in 6 runs, A in 4, B in 5: correlation root of 4/10 times root of 5/11.
    correlation = np.array([[1.0, np.sqrt(0.4 * 5 / 11)], [np.sqrt(0.4 * 5 / 11), 1.0]])
    for t, p, name in zip(
        t_values, families.joint_p(t_values, correlation, 12, sides=1), ("A - control", "B - control"), strict=True
    ):
        assert p == pytest.approx(case.expected(f"greater.p_adjusted.{name}"), rel=1e-6)
        assert close(t, case.expected(f"greater.t.{name}"), case)
    one_sided = families.joint_critical(correlation, 12, 0.05, sides=1)
    assert close(-one_sided, case.expected("greater.critical_t"), case, key="critical_abs")


@pytest.mark.parametrize("adjust, key", [("none", "none"), ("holm", "holm")])
def test_pairs_of_insect_sprays_alone_and_by_holm(adjust, key):
    case = load("k10-bonferroni-holm-insectsprays")
    data = case.data.assign(count=np.sqrt(case.data["count"]))
    found = levels.pairs(fitted(data, ["spray"], "count"), "spray", adjust=adjust)
    assert len(found) == 15
    for row in found.to_dict("records"):
        name = row["contrast"].replace("spray ", "").replace(" against ", "-")
        assert close(row["p_value"], case.expected(f"{key}.{name}"), case), name
    if adjust == "none":
        raw = [case.expected(f"none.{name}") for name in case.names("none")]
        expected = [case.expected(f"holm.{name}") for name in case.names("holm")]
        assert families.holm(raw) == pytest.approx(expected, rel=1e-8)


def test_warp_breaks_one_tension_against_another_within_a_wool():
    case = load("k02-warpbreaks")
    made = fitted(case.data, ["wool", "tension"], "breaks", levels={"tension": ["L", "M", "H"]})
    within = levels.simple_effects(made, "tension", ["wool"])
    row = next(row for row in within.to_dict("records") if row["contrast"] == "tension M against tension L at wool A")
    free = means.contrast(
        made, [({"wool": "A", "tension": "M"}, 1), ({"wool": "A", "tension": "L"}, -1)], name="M less L in A"
    ).iloc[0]
    for line in (row, free):
        for ours, key in (("estimate", "estimate"), ("std_error", "se"), ("df", "df"), ("conf_low", "ci95.0"),
                          ("conf_high", "ci95.1")):
            assert close(line[ours], case.expected(f"wool_A_M_minus_L.{key}"), case)
    assert (free["contrast"], free["comparison"], free["term"]) == (
        "+1 × (wool A, tension M) -1 × (wool A, tension L)", "M less L in A", None)


def test_means_of_unequal_numbers_are_equally_weighted():
    case = load("k04-warpbreaks-unequal-n")
    made = fitted(case.data, ["wool", "tension"], "breaks")
    found = means.of(made, ["wool"]).set_index("contrast")
    for wool in ("A", "B"):
        assert close(found.loc[f"wool {wool}", "estimate"], case.expected(f"ls_means_wool.{wool}"), case)
        assert found.loc[f"wool {wool}", "runs"] == (case.data["wool"] == wool).sum()


def test_what_a_missing_combination_leaves():
    case = load("k04-2x2-missing-cell")
    made = fitted(case.data, ["overlay", "oil"], "wear")
    found = levels.simple_effects(made, "overlay", ["oil"])
    assert close(found["estimate"][0], case.expected("overlay_b_minus_a_at_oil_p"), case)
    assert close(found["std_error"][0], case.expected("se_each"), case)
    text = "not estimable: no run of overlay b, oil q. One run of overlay b, oil q would make it estimable."
    assert (found["estimate"][1], found["note"][1], found["at"][1]) == (None, text, {"oil": "q"})
    assert list(means.of(made, ["overlay"])["note"]) == ["mean", text]


def test_tooth_growth_within_doses_where_one_combination_is_missing():
    case = load("k04-toothgrowth-empty-cell")
    made = fitted(case.data, ["supp", "dose"], "len", levels={"supp": ["VC", "OJ"]})
    found = levels.simple_effects(made, "supp", ["dose"])
    for at, dose in enumerate(("0.5", "1")):
        assert close(found["estimate"][at], case.expected(f"supp_difference_at_dose.{dose}"), case)
    assert found["estimate"][2] is None
    mean = means.of(made, ["supp"]).set_index("contrast")
    assert case.text("marginal_mean_VC_equal_weight_estimable").casefold() == "false"
    assert (mean.loc["supp VC", "estimate"], mean.loc["supp OJ", "note"]) == (None, "mean")


def test_tooth_growth_by_dose_is_a_line_with_a_bend():
    case = load("k02-toothgrowth")
    data = case.data.assign(dose=case.data["dose"].map("{:g}".format))
    made = fitted(data, ["supp", "dose"], "len", numeric=["dose"])
    linear, quadratic = polynomials.polynomials(made, "dose").to_dict("records")
    # The least-squares line through the 60 values, each dose in 20 of them: numpy's polyfit; R prints 9.7636 for the
    # slope and 2224.3 for the sum of squares (lm(len ~ dose), from memory).
    slope = np.polyfit(case.data["dose"], case.data["len"], 1)[0]
    assert linear["estimate"] == pytest.approx(slope * 1.5, rel=1e-12)
    assert round(slope, 4) == 9.7636
    assert round(linear["sum_sq"], 1) == 2224.3
    assert linear["sum_sq"] + quadratic["sum_sq"] == pytest.approx(case.expected("anova.dose.ss"), rel=1e-8)
    assert linear["contrast"] == "dose linear: from 0.5 to 2 along the straight line, mean over supp"
    assert quadratic["contrast"] == "dose quadratic: +0.667 × 0.5, -1 × 1, +0.333 × 2, mean over supp"
    assert quadratic["estimate"] == pytest.approx(
        case.data.groupby("dose")["len"].mean() @ [2 / 3, -1, 1 / 3], rel=1e-12)
    assert (linear["df"], linear["error_stratum"], linear["degree"]) == (54, "run", 1)


def oats():
    """Oats with the varieties' plots as builds and nitrogen within them; the blocks stay in the error between plots."""
    case = load("k07-oats-splitplot")
    data = case.data.assign(
        nitro=case.data["nitro"].map("{:g}".format), plot=case.data["block"] + " " + case.data["variety"]
    )
    names = ["variety", "nitro"]
    brief = brief_of(data, names, "yield", build_level=["variety"], numeric=["nitro"])
    return case, fit(brief, runs_of(data, names, "yield", build="plot"), "yield")


def test_nitrogen_on_oats_pair_by_pair_as_emmeans_gives_it():
    case, made = oats()
    found = levels.pairs(made, "nitro", adjust="none").to_dict("records")
    for row, (high, low) in zip(found, families.pairs_of(4), strict=True):
        names = ("0", "0.2", "0.4", "0.6")
        prefix = f"nitro_pairs.nf{names[low]} - nf{names[high]}"
        for ours, key in (("estimate", "estimate"), ("std_error", "SE"), ("df", "df"), ("p_value", "p.value"),
                          ("conf_low", "upper.CL"), ("conf_high", "lower.CL")):
            # R takes the lower level less the higher; its standard errors are those of REML, found by search.
            sign = -1.0 if ours in ("estimate", "conf_low", "conf_high") else 1.0
            expected = sign * case.expected(f"{prefix}.{key}")
            assert close(row[ours], expected, case, key="kr_rel"), (prefix, key)
            # Limits near 0 by their distance from the estimate: to six digits of a standard error.
            assert ours == "p_value" or row[ours] == pytest.approx(expected, rel=2e-6, abs=1e-5), (prefix, key)
        assert row["error_stratum"] == "run"


def test_nitrogen_on_oats_is_a_straight_line():
    case, made = oats()
    rows = polynomials.polynomials(made, "nitro").to_dict("records")
    # W. N. Venables and B. D. Ripley, Modern Applied Statistics with S, split-plot analysis of the oats: nitrogen
    # linear 19536, F 110.3; the rest 484 on 2 df (from memory; the three add to R's sum of squares of the case).
    assert [row["degree"] for row in rows] == [1, 2, 3]
    assert round(rows[0]["sum_sq"]) == 19536
    assert round((rows[0]["estimate"] / rows[0]["std_error"]) ** 2, 1) == 110.3
    assert round(rows[1]["sum_sq"] + rows[2]["sum_sq"]) == 484
    total = sum(row["sum_sq"] for row in rows)
    assert close(total, case.expected("strata.Within.nf.ss"), case)
    # By hand with Fisher and Yates' coefficients for four levels.
    means = case.data.groupby("nitro")["yield"].mean().to_numpy()
    for row, weights in zip(rows, ((-3, -1, 1, 3), (1, -1, -1, 1), (-1, 3, -3, 1)), strict=True):
        w = np.array(weights, dtype=float)
        assert row["sum_sq"] == pytest.approx((w @ means) ** 2 / (w @ w) * 18, rel=1e-10)
