"""The table of the analysis of variance beyond the published cases: lack of fit, centre points, builds, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.errors import ModelError
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons, effects, means
from toolkit.model.fit import fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)


def test_lack_of_fit_of_an_additive_model_is_the_interaction_against_the_repeats():
    full = table(fit(brief_of(DATA, ["pin", "oil"], Y), runs_of(DATA, ["pin", "oil"], Y), Y)).set_index("term")
    nil = brief_of(DATA, ["pin", "oil"], Y, nil=[("pin", "oil")])
    made = table(fit(nil, runs_of(DATA, ["pin", "oil"], Y), Y)).set_index("term")
    assert list(made.index) == ["pin", "oil", "error (run)", "lack of fit", "pure error"]
    for column in ("sum_sq", "f", "p_value"):
        assert made.loc["lack of fit", column] == pytest.approx(full.loc["pin × oil", column], rel=1e-10)
    assert (made.loc["pure error", "df"], made.loc["error (run)", "df"]) == (8, 9)
    assert made.loc["pure error", "sum_sq"] == pytest.approx(full.loc["error (run)", "sum_sq"], rel=1e-10)
    assert made.loc["lack of fit", "error_stratum"] == "pure error (run)"


def test_lack_of_fit_within_builds_as_units():
    draw = np.random.default_rng(8)
    lines = [(f"B{at}", f"P{at % 2}", oil, turn) for at in range(4) for oil in ("O0", "O1") for turn in (1, 2)]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil", "turn"]).assign(y=draw.normal(size=16))
    runs = runs_of(data, ["pin", "oil"], "y", build="build")
    full = table(fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]), runs, "y")).set_index("term")
    nil = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], nil=[("pin", "oil")])
    made = table(fit(nil, runs, "y")).set_index("term")
    assert list(made.index) == ["pin", "error (build)", "oil", "error (run)", "lack of fit", "pure error"]
    assert made.loc["lack of fit", "sum_sq"] == pytest.approx(full.loc["pin × oil", "sum_sq"], rel=1e-10)
    assert made.loc["pure error", "sum_sq"] == pytest.approx(full.loc["error (run)", "sum_sq"], rel=1e-10)


def test_centre_points_show_curvature():
    # Two replicates of a 2x2 and four centre points; INVENTED. Curvature by hand: centre mean less corner mean.
    corners = [(load, temp) for load in ("1", "3") for temp in ("90", "110")] * 2
    values = [10.1, 12.3, 14.2, 15.9, 10.6, 11.8, 13.9, 16.4, 14.0, 14.4, 13.7, 14.3]
    data = pd.DataFrame([*corners, *[("centre", "centre")] * 4], columns=["load_N", "temp_degC"]).assign(wear_um=values)
    levels = {"load_N": ["1", "3"], "temp_degC": ["90", "110"]}
    names = ["load_N", "temp_degC"]
    brief = brief_of(data, names, "wear_um", levels=levels, numeric=names)
    made = fit(brief, runs_of(data, names, "wear_um"), "wear_um")
    found = table(made).set_index("term")
    assert list(found.index) == ["load_N", "temp_degC", "load_N × temp_degC", "curvature", "error (run)"]
    corner, centre = np.array(values[:8]), np.array(values[8:])
    assert effects(made).set_index("term").loc["curvature", "estimate"] == pytest.approx(
        centre.mean() - corner.mean(), rel=1e-12)
    # Sum of squares of a contrast of means: difference squared over (1/n1 + 1/n2).
    assert found.loc["curvature", "sum_sq"] == pytest.approx(
        (centre.mean() - corner.mean()) ** 2 / (1 / 8 + 1 / 4), rel=1e-12)
    cells = corner.reshape(2, 4)
    pure = ((cells - cells.mean(axis=0)) ** 2).sum() + ((centre - centre.mean()) ** 2).sum()
    assert (found.loc["error (run)", "df"], found.loc["error (run)", "sum_sq"]) == (7, pytest.approx(pure, rel=1e-12))
    line = means(made).set_index("term").loc["curvature"]
    assert (line["estimate"], line["runs"]) == (pytest.approx(centre.mean(), rel=1e-12), 4)
    assert line["contrast"] == "load_N centre, temp_degC centre"


def test_builds_are_adjusted_for_in_every_type_and_never_tested():
    data = DATA.drop(index=[1, 6]).reset_index(drop=True)
    made = fit(brief_of(data, ["pin", "oil"], Y, block="build"), runs_of(data, ["pin", "oil"], Y, build="build"), Y)
    ones = np.ones((len(data), 1))
    builds = pd.get_dummies(data["build"]).to_numpy(dtype=float)
    cells = pd.get_dummies(data["pin"] + data["oil"]).to_numpy(dtype=float)

    def rest(*columns):
        used = np.hstack(columns)
        y = data[Y].to_numpy()
        return float(((y - used @ np.linalg.lstsq(used, y, rcond=None)[0]) ** 2).sum())

    alone, after = table(made, 1).iloc[0], table(made, 2).iloc[0]
    assert (alone["term"], alone["df"], alone["f"], alone["p_value"]) == ("build", 2, None, None)
    assert alone["sum_sq"] == pytest.approx(rest(ones) - rest(builds), rel=1e-9)
    assert after["sum_sq"] == pytest.approx(rest(cells) - rest(cells, builds), rel=1e-9)
    assert after["note"] == "blocks: taken out, not tested"


@pytest.mark.parametrize("wrong", [0, 4, "II"])
def test_another_type_is_refused(wrong):
    made = fit(brief_of(DATA, ["pin", "oil"], Y), runs_of(DATA, ["pin", "oil"], Y), Y)
    with pytest.raises(ModelError) as refused:
        table(made, wrong)
    assert str(refused.value) == f"ss_type = {wrong!r}: expected 1, 2 or 3."


def test_type_3_is_refused_when_a_factor_follows_the_builds():
    data = DATA.assign(build=["B1" if pin == "P0" else "B2" for pin in DATA["pin"]])
    made = fit(brief_of(data, ["pin", "oil"], Y, block="build"), runs_of(data, ["pin", "oil"], Y, build="build"), Y)
    with pytest.raises(ModelError) as refused:
        table(made, 3)
    assert str(refused.value) == (
        f"{Y}: a Type III table is refused (terms are confounded with each other or with builds), because what it "
        "tests would then depend on the coding. Take Type II, which asks only what these runs can tell, or contrasts "
        "that can be estimated (pin P0, oil O1 against pin P0, oil O0).")
    line = table(made).set_index("term").loc["pin"]
    assert (line["df"], line["sum_sq"], line["note"]) == (
        0, None, "not estimable: it changes together with builds")


def test_a_note_appears_when_the_type_2_line_and_the_contrast_fall_apart():
    draw = np.random.default_rng(20)
    found = []
    for _ in range(12):
        values = draw.normal(size=12) + (DATA["pin"] == "P1") * 1.4
        data = DATA.assign(**{Y: values}).drop(index=[3, 7]).reset_index(drop=True)
        made = fit(brief_of(data, ["pin", "oil"], Y, comparisons=[simple("coating", "pin", "P1", "P0")]),
                   runs_of(data, ["pin", "oil"], Y), Y)
        line, row = table(made).set_index("term").loc["pin"], comparisons(made).iloc[0]
        apart = (line["p_value"] < 0.05) != (row["p_value"] < 0.05)
        expected = (f"the Type II line of pin gives p = {line['p_value']:.3g} where this contrast of equally weighted "
                    f"means gives p = {row['p_value']:.3g}: the verdict rests on the contrast")
        assert row["note"] == (expected if apart else "")
        assert effects(made).iloc[0]["note"] == row["note"]
        found.append(apart)
    assert found == [True] + [False] * 10 + [True]


def test_p_values_are_those_of_scipy():
    made = fit(brief_of(DATA, ["pin", "oil"], Y, block="build"), runs_of(DATA, ["pin", "oil"], Y, build="build"), Y)
    for row in table(made).to_dict("records"):
        if row["f"] is not None:
            assert row["p_value"] == pytest.approx(stats.f.sf(row["f"], row["df"], row["error_df"]), rel=1e-10)
    for row in effects(made).to_dict("records"):
        t = row["estimate"] / row["std_error"]
        assert row["p_value"] == pytest.approx(2 * stats.t.sf(abs(t), row["df"]), rel=1e-10)
