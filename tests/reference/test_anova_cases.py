"""The analysis on published data: NIST StRD and handbook, textbook factorials, blocks, unbalanced layouts."""

import numpy as np
import pandas as pd
import pytest

from tests.reference.loader import close, load, matching_digits
from tests.unit.model.made import brief_of, runs_of, simple
from toolkit.brief.model import Comparison
from toolkit.errors import ModelError
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons, effects, means
from toolkit.model.fit import fit

# Correct digits of F that reading the data as floating point leaves: NIST StRD, AtmWtAg, SiRstv, SmLs01 to
# 09.
STRD_F = {
    "atmwtag": 10.2,
    "sirstv": 13.1,
    "smls01": 15.0,
    "smls02": 15.0,
    "smls03": 14.2,
    "smls04": 10.4,
    "smls05": 10.2,
    "smls06": 10.2,
    "smls07": 4.4,
    "smls08": 4.2,
    "smls09": 4.2,
}


def fitted(data, factors, response, **more):
    """A fit of a data frame; ``block`` names the column of the builds."""
    runs = runs_of(data, factors, response, build=more.get("block"))
    return fit(brief_of(data, factors, response, **more), runs, response)


def lines(found, names):
    """The table of a fit with R's names for the lines, indexed by them."""
    made = found.copy()
    made["term"] = made["term"].map(lambda term: names.get(term, term.replace(" × ", ":")))
    return made.set_index("term")


def compare(found, expected, case):
    """Every df, SS, MS, F and p of an expected table against ours; how many numbers were compared."""
    compared = 0
    for term, row in expected.iterrows():
        if term == "(Intercept)":
            continue
        ours = found.loc[term]
        assert ours["df"] == row["df"]
        for name, key in (("sum_sq", "ss"), ("mean_sq", "ms"), ("f", "F"), ("p_value", "p")):
            if key in row and not np.isnan(row[key]):
                assert close(ours[name], row[key], case), (term, name, ours[name], row[key])
                compared += 1
    return compared


ERROR = {"error (run)": "Residuals"}


@pytest.mark.parametrize("name", STRD_F)
def test_strd_f_reaches_what_floating_point_leaves(name):
    case = load(f"k01-strd-{name}")
    made = table(fitted(case.data, ["group"], "y")).set_index("term")
    assert made.loc["group", "df"] == case.expected("df_between")
    assert made.loc["error (run)", "df"] == case.expected("df_within")
    assert matching_digits(made.loc["group", "f"], case.expected("F")) >= STRD_F[name] - 0.3
    for key, ours in (
        ("ss_between", made.loc["group", "sum_sq"]),
        ("ss_within", made.loc["error (run)", "sum_sq"]),
    ):
        assert matching_digits(ours, case.expected(key)) >= case.case["digits"][key] - 0.3


@pytest.mark.parametrize("shift, allowed", [(1e6, 1e-6), (1e9, 1e-4)])
@pytest.mark.parametrize(
    "name, factors, response, block",
    [
        ("k02-warpbreaks", ["wool", "tension"], "breaks", None),
        ("k04-moore-types", ["fcategory", "partner.status"], "conformity", None),
        ("k03-rcbd-penicillin", ["treatment"], "yield", "blend"),
    ],
)
def test_a_constant_added_to_the_response_changes_no_f_t_or_p(name, factors, response, block, shift, allowed):
    data = load(name).data
    plain = fitted(data, factors, response, block=block)
    moved = fitted(data.assign(**{response: data[response] + shift}), factors, response, block=block)
    for of in (lambda made: table(made), lambda made: table(made, 3), effects):
        ours, theirs = of(plain), of(moved)
        for column in set(ours.columns) & {"f", "p_value", "std_error", "estimate"}:
            for one, other in zip(ours[column], theirs[column], strict=True):
                assert (one is None) == (other is None)
                assert one is None or abs(one - other) <= allowed * abs(one)


def test_handbook_one_way():
    case = load("k01-nist-handbook-oneway")
    made = fitted(case.data, ["level"], "y")
    found = table(made).set_index("term").rename(index={"level": "factor", "error (run)": "error"})
    for term in ("factor", "error"):
        for ours, key in (("df", "df"), ("sum_sq", "ss"), ("mean_sq", "ms"), ("f", "F"), ("p_value", "p")):
            if f"{term}.{key}" in case.values:
                assert close(found.loc[term, ours], case.expected(f"{term}.{key}"), case)
    assert round(found.loc["factor", "f"], 2) == case.published("factor.F")
    levels = means(made).set_index("contrast")
    for level in ("1", "2", "3"):
        line = levels.loc[f"level {level}"]
        assert close(line["estimate"], case.expected(f"means.{level}"), case)
        assert close(line["conf_high"] - line["estimate"], case.expected("mean_ci95_halfwidth"), case)
        assert (line["term"], line["runs"], line["note"]) == ("level", 5, "mean")


def test_pilot_plant_effects_and_intervals():
    case = load("k02-bhh-pilot-2x2x2")
    names = ["T", "C", "K"]
    made = fitted(case.data, names, "yield", levels={name: ["-1", "1"] for name in names})
    assert close(made.mean_squares["run"][0], case.expected("pooled_variance"), case)
    assert made.mean_squares["run"][1] == case.expected("pooled_df")
    found = effects(made)
    for _, line in found.iterrows():
        key = line["term"].replace(" × ", "")
        # Yates' interaction effects are half the difference of differences for each factor beyond the first.
        halves = 2.0 ** (len(key) - 1)
        expected = case.expected(f"effects.{key}")
        assert line["estimate"] / halves == pytest.approx(expected, rel=1e-8, abs=1e-8)
        assert close(line["std_error"] / halves, case.expected("se_effect"), case)
        assert close(line["conf_low"] / halves, case.expected(f"ci95.{key}.0"), case)
        assert close(line["conf_high"] / halves, case.expected(f"ci95.{key}.1"), case)
    assert len(found) == 7


@pytest.mark.parametrize("prefix, power", [("time", 1), ("reciprocal", -1)])
def test_poisons(prefix, power):
    case = load("k02-bhh-poisons-3x4")
    data = case.data.assign(survival=(case.data["survival"] / 100.0) ** power)
    found = lines(table(fitted(data, ["poison", "antidote"], "survival")), ERROR)
    assert compare(found, case.table(prefix), case) == 14


def test_bottling():
    case = load("k02-bottling-3factor")
    made = fitted(case.data, ["carbonation", "pressure", "speed"], "deviation")
    assert compare(lines(table(made), ERROR), case.table("anova"), case) == 30
    assert close(made.mean_squares["run"][0] ** 0.5, case.expected("residual_sd"), case)


def test_toothgrowth():
    case = load("k02-toothgrowth")
    made = fitted(case.data, ["supp", "dose"], "len")
    assert compare(lines(table(made), ERROR), case.table("anova"), case) == 14
    found = means(made).set_index("contrast")
    for supp, dose, label in [
        (s, d, d.removesuffix(".0")) for s in ("OJ", "VC") for d in ("0.5", "1.0", "2.0")
    ]:
        line = found.loc[f"supp {supp}, dose {dose}"]
        assert close(line["estimate"], case.expected(f"cell_means.{supp}:{label}"), case)
        assert close(line["std_error"], case.expected("cell_mean_se"), case)


def test_warpbreaks_table_and_a_comparison_of_two_combinations():
    case = load("k02-warpbreaks")
    asked = Comparison(
        "M against L in A", of={"wool": "A", "tension": "M"}, against={"wool": "A", "tension": "L"}
    )
    made = fitted(case.data, ["wool", "tension"], "breaks", comparisons=[asked])
    assert compare(lines(table(made), ERROR), case.table("anova"), case) == 14
    ((_, line),) = comparisons(made).iterrows()
    for ours, key in (
        ("estimate", "estimate"),
        ("std_error", "se"),
        ("df", "df"),
        ("conf_low", "ci95.0"),
        ("conf_high", "ci95.1"),
    ):
        assert close(line[ours], case.expected(f"wool_A_M_minus_L.{key}"), case)
    assert line["contrast"] == "wool A, tension M against wool A, tension L"


def test_penicillin_in_blocks():
    case = load("k03-rcbd-penicillin")
    made = fitted(case.data, ["treatment"], "yield", block="blend")
    found = lines(table(made), {**ERROR, "build": "blend"})
    assert found.loc["treatment", "error_df"] == 12
    expected = case.table("anova")
    assert found.loc["blend", "f"] is None
    assert close(
        found.loc["blend", "mean_sq"] / found.loc["Residuals", "mean_sq"], expected.loc["blend", "F"], case
    )
    assert compare(found, expected.drop(columns=["F", "p"]), case) == 6
    assert close(found.loc["treatment", "f"], expected.loc["treatment", "F"], case)
    assert close(found.loc["treatment", "p_value"], expected.loc["treatment", "p"], case)
    ignoring = lines(table(fitted(case.data, ["treatment"], "yield")), ERROR)
    assert compare(ignoring, case.table("anova_ignoring_blocks"), case) == 6


def test_shoe_soles_in_pairs():
    case = load("k03-paired-shoe-wear")
    made = fitted(
        case.data, ["material"], "wear", block="boy", comparisons=[simple("A less B", "material", "A", "B")]
    )
    ((_, line),) = comparisons(made).iterrows()
    for ours, key in (
        (line["estimate"], "mean_difference"),
        (line["estimate"] / line["std_error"], "t"),
        (line["df"], "df"),
        (line["p_value"], "p"),
        (line["conf_low"], "ci95.0"),
        (line["conf_high"], "ci95.1"),
    ):
        assert close(ours, case.expected(f"paired.{key}"), case)
    found = lines(table(made), {**ERROR, "build": "factor(boy)"})
    assert compare(found, case.table("block_anova").drop(index="factor(boy)"), case) == 6
    unpaired = fitted(case.data, ["material"], "wear", comparisons=[simple("A less B", "material", "A", "B")])
    ((_, line),) = comparisons(unpaired).iterrows()
    assert close(line["p_value"], case.expected("unpaired.p"), case)


@pytest.mark.parametrize("ss_type", [1, 2, 3])
def test_warpbreaks_of_unequal_numbers(ss_type):
    case = load("k04-warpbreaks-unequal-n")
    made = fitted(case.data, ["wool", "tension"], "breaks")
    assert compare(lines(table(made, ss_type), ERROR), case.table(f"type{ss_type}"), case) == 14
    found = means(made).set_index("contrast")
    for wool in ("A", "B"):
        assert close(found.loc[f"wool {wool}", "estimate"], case.expected(f"ls_means_wool.{wool}"), case)


def test_moore_in_both_orders_and_three_types():
    case = load("k04-moore-types")
    one = fitted(case.data, ["fcategory", "partner.status"], "conformity")
    other = fitted(case.data, ["partner.status", "fcategory"], "conformity")
    assert compare(lines(table(one, 1), ERROR), case.table("type1_fcategory_first"), case) == 14
    assert compare(lines(table(other, 1), ERROR), case.table("type1_partner_first"), case) == 14
    assert compare(lines(table(one, 2), ERROR), case.table("type2"), case) == 14
    assert compare(lines(table(one, 3), ERROR), case.table("type3"), case) == 14


def test_a_2x2_with_a_missing_combination():
    case = load("k04-2x2-missing-cell")
    asked = [
        Comparison("overlay at p", of={"overlay": "b", "oil": "p"}, against={"overlay": "a", "oil": "p"}),
        Comparison("oil at a", of={"overlay": "a", "oil": "q"}, against={"overlay": "a", "oil": "p"}),
        simple("overlay", "overlay", "b", "a"),
        Comparison("needs", interaction=("overlay", "oil")),
    ]
    made = fitted(case.data, ["overlay", "oil"], "wear", comparisons=asked)
    found = comparisons(made).set_index("comparison")
    assert close(found.loc["overlay at p", "estimate"], case.expected("overlay_b_minus_a_at_oil_p"), case)
    assert close(found.loc["oil at a", "estimate"], case.expected("oil_q_minus_p_at_overlay_a"), case)
    for name in ("overlay at p", "oil at a"):
        assert close(found.loc[name, "std_error"], case.expected("se_each"), case)
        assert found.loc[name, "df"] == case.expected("residual_df")
    assert close(made.mean_squares["run"][0] ** 0.5, case.expected("residual_sd"), case)
    anova = table(made).set_index("term")
    assert anova.loc["overlay × oil", "df"] == case.expected("interaction_df_estimable")
    assert anova.loc["overlay × oil", "sum_sq"] is None
    text = "not estimable: no run of overlay b, oil q. One run of overlay b, oil q would make it estimable."
    for name in ("overlay", "needs"):
        row = found.loc[name]
        assert [row[key] for key in ("estimate", "std_error", "df", "conf_low", "conf_high", "p_value")] == [
            None
        ] * 6
        assert row["note"] == text
    with pytest.raises(ModelError) as refused:
        table(made, 3)
    assert str(refused.value) == (
        "wear: a Type III table is refused (no run of overlay b, oil q), because what it tests would then "
        "depend on the coding. Take Type II, which asks only what these runs can tell, or contrasts that can be "
        "estimated (overlay b against overlay a at oil p; oil q against oil p at overlay a)."
    )


def test_toothgrowth_with_an_empty_combination():
    case = load("k04-toothgrowth-empty-cell")
    at_dose = [
        Comparison(f"at {dose}", of={"supp": "OJ", "dose": dose}, against={"supp": "VC", "dose": dose})
        for dose in ("0.5", "1.0", "2.0")
    ]
    made = fitted(
        case.data, ["supp", "dose"], "len", comparisons=[*at_dose, simple("supp", "supp", "OJ", "VC")]
    )
    found = table(made).set_index("term")
    assert found.loc["supp × dose", "df"] == case.expected("interaction_df_estimable")
    assert found.loc["supp × dose", "note"] == "only 1 of 2 df can be estimated: combinations are missing"
    assert close(found.loc["supp × dose", "sum_sq"], case.expected("interaction_extra_ss"), case)
    assert close(found.loc["supp × dose", "f"], case.expected("interaction_F"), case)
    assert close(found.loc["supp × dose", "p_value"], case.expected("interaction_p"), case)
    assert found.loc["error (run)", "df"] == case.expected("residual_df_full")
    assert close(found.loc["error (run)", "sum_sq"], case.expected("residual_ss_full"), case)
    answers = comparisons(made).set_index("comparison")
    assert close(answers.loc["at 0.5", "estimate"], case.expected("supp_difference_at_dose.0.5"), case)
    assert close(answers.loc["at 1.0", "estimate"], case.expected("supp_difference_at_dose.1"), case)
    assert answers.loc["at 2.0", "estimate"] is None
    assert case.text("supp_difference_at_dose.2") == ""
    assert answers.loc["supp", "estimate"] is None
    assert answers.loc["supp", "note"] == (
        "not estimable: no run of supp VC, dose 2.0. One run of supp VC, dose 2.0 would make it estimable."
    )
    levels = means(made).set_index("contrast")
    assert case.text("marginal_mean_VC_equal_weight_estimable").casefold() == "false"
    assert levels.loc["supp VC", "estimate"] is None
    additive = fitted(case.data, ["supp", "dose"], "len", nil=[("supp", "dose")])
    assert compare(lines(table(additive), ERROR), case.table("additive_type2"), case) == 10


def test_warpbreaks_with_an_empty_combination_as_r_tests_it():
    # R 4.2.2 anova and car 3.1-1 Anova type 2 on warpbreaks without B/H, to the digits recorded.
    data = load("k02-warpbreaks").data
    data = data[~((data["wool"] == "B") & (data["tension"] == "H"))]
    made = fitted(data, ["wool", "tension"], "breaks")
    first, second = table(made, 1).set_index("term"), table(made, 2).set_index("term")
    assert first.loc["wool × tension", "df"] == 1
    assert round(first.loc["wool × tension", "sum_sq"], 1) == 1002.8
    assert round(first.loc["wool × tension", "f"], 4) == 7.2226
    assert round(first.loc["wool × tension", "p_value"], 5) == 0.01044
    assert round(second.loc["tension", "sum_sq"], 1) == 1467.1
    assert round(second.loc["tension", "p_value"], 4) == 0.0092
    assert round(second.loc["wool", "sum_sq"], 1) == 300.4
    assert round(second.loc["wool", "p_value"], 3) == 0.149


# G. E. P. Box, Quality Quickies: split plot experiments, Quality Engineering 8 (1996) 515-520; also Box,
# Hunter and Hunter, 2nd ed., chapter 9. Six heats of a furnace, four coated bars in each. Data and table from
# memory; the sums of squares printed (26 519, 14 440, 4 289, 3 270, 1 121) follow from the data.
BARS = {
    ("1", "360"): (67, 73, 83, 89),
    ("2", "370"): (65, 91, 87, 86),
    ("3", "380"): (155, 127, 147, 212),
    ("4", "380"): (108, 100, 90, 153),
    ("5", "370"): (140, 142, 121, 150),
    ("6", "360"): (33, 8, 46, 54),
}


def test_corrosion_of_coated_bars_with_heats_as_whole_plots():
    data = pd.DataFrame(
        [
            (heat, temp, f"C{at + 1}", value)
            for (heat, temp), values in BARS.items()
            for at, value in enumerate(values)
        ],
        columns=["heat", "temp", "coat", "resistance"],
    )
    made = fit(
        brief_of(data, ["temp", "coat"], "resistance", build_level=["temp"]),
        runs_of(data, ["temp", "coat"], "resistance", build="heat"),
        "resistance",
    )
    found = table(made).set_index("term")
    assert list(found.index) == ["temp", "error (build)", "coat", "temp × coat", "error (run)"]
    assert [round(value) for value in found["sum_sq"]] == [26519, 14440, 4289, 3270, 1121]
    assert list(found["df"]) == [2, 3, 3, 6, 9]
    assert list(found["error_stratum"]) == ["build", "build", "run", "run", "run"]
    assert list(found["error_df"]) == [3, 3, 9, 9, 9]
    # Printed mean squares 13 260, 4 813, 1 430, 545, 124.5, so F = 2.75, 11.48 and 4.38.
    assert [round(value) for value in found["mean_sq"]] == [13260, 4813, 1430, 545, 125]
    assert [round(found.loc[term, "f"], 2) for term in ("temp", "coat", "temp × coat")] == [2.75, 11.48, 4.38]
