"""Lack of fit, pure error, curvature, and the types of sums of squares side by side, on published data."""

import pandas as pd
import pytest

from tests.reference.loader import close, load
from tests.unit.model.made import brief_of, runs_of
from toolkit.model.anova import both_types, table
from toolkit.model.comparisons import effects
from toolkit.model.fit import fit

# D. C. Montgomery, Design and Analysis of Experiments, yield of a process at 30/40 minutes and 150/160 degrees with
# five centre points. Data and table from memory; the sums of squares follow from the data by hand.
YIELD = {
    ("30", "150"): (39.3,),
    ("30", "160"): (40.0,),
    ("40", "150"): (40.9,),
    ("40", "160"): (41.5,),
    ("centre", "centre"): (40.3, 40.5, 40.7, 40.2, 40.6),
}
NAMES = ["time_min", "temp_degC"]


def process(**more):
    """The fit of the process with its centre points."""
    lines = [(*levels, value) for levels, values in YIELD.items() for value in values]
    data = pd.DataFrame(lines, columns=[*NAMES, "yield_pct"])
    levels = {"time_min": ["30", "40"], "temp_degC": ["150", "160"]}
    brief = brief_of(data, NAMES, "yield_pct", levels=levels, numeric=NAMES, **more)
    return fit(brief, runs_of(data, NAMES, "yield_pct"), "yield_pct")


def test_centre_points_judge_the_terms_and_the_curvature():
    found = table(process()).set_index("term")
    names = [*NAMES, "time_min × temp_degC", "curvature", "error (run)"]
    assert list(found.index) == names
    assert [round(found.loc[name, "sum_sq"], 4) for name in names] == [2.4025, 0.4225, 0.0025, 0.0027, 0.1720]
    assert [round(found.loc[name, "f"], 2) for name in names[:4]] == [55.87, 9.83, 0.06, 0.06]
    assert [round(found.loc[name, "p_value"], 4) for name in names[:4]] == [0.0017, 0.0350, 0.8213, 0.8137]
    assert (found.loc["error (run)", "df"], round(found.loc["error (run)", "mean_sq"], 4)) == (4, 0.0430)
    line = effects(process()).set_index("term").loc["curvature"]
    assert line["estimate"] == pytest.approx(40.46 - 40.425, rel=1e-9)


def test_an_interaction_declared_nil_is_lack_of_fit_against_the_centre_points():
    found = table(process(nil=[tuple(NAMES)])).set_index("term")
    assert list(found.index) == [*NAMES, "curvature", "error (run)", "lack of fit", "pure error"]
    assert (found.loc["error (run)", "df"], round(found.loc["error (run)", "sum_sq"], 4)) == (5, 0.1745)
    assert (found.loc["lack of fit", "df"], round(found.loc["lack of fit", "sum_sq"], 4)) == (1, 0.0025)
    assert (found.loc["pure error", "df"], round(found.loc["pure error", "sum_sq"], 4)) == (4, 0.1720)
    assert round(found.loc["lack of fit", "f"], 2) == 0.06
    assert found.loc["lack of fit", "error_stratum"] == "pure error (run)"


def test_the_interaction_of_warp_breaks_declared_nil_is_its_lack_of_fit():
    case = load("k02-warpbreaks")
    brief = brief_of(case.data, ["wool", "tension"], "breaks", nil=[("wool", "tension")])
    found = table(fit(brief, runs_of(case.data, ["wool", "tension"], "breaks"), "breaks")).set_index("term")
    columns = {"ss": "sum_sq", "df": "df", "ms": "mean_sq", "F": "f", "p": "p_value"}
    for ours, line in (("lack of fit", "wool:tension"), ("pure error", "Residuals")):
        for key in list(columns)[: 5 if ours == "lack of fit" else 3]:
            assert close(found.loc[ours, columns[key]], case.expected(f"anova.{line}.{key}"), case), (ours, key)


def test_both_types_of_moore_side_by_side():
    case = load("k04-moore-types")
    names = ["fcategory", "partner.status"]
    found = both_types(fit(brief_of(case.data, names, "conformity"), runs_of(case.data, names, "conformity"),
                           "conformity"))
    for row in found.to_dict("records"):
        term = row["term"].replace(" × ", ":")
        for at, prefix in ((1, "type1_fcategory_first"), (2, "type2")):
            for ours, key in (("df", "df"), ("sum_sq", "ss"), ("f", "F"), ("p_value", "p")):
                assert close(row[f"{ours}_{at}"], case.expected(f"{prefix}.{term}.{key}"), case)
    # The second and the last term stand alike in both; the order decides on the first.
    assert list(found["differ"]) == [True, False, False]
    assert list(found["error_df"]) == [39, 39, 39]


def test_both_types_agree_where_runs_are_balanced():
    case = load("k02-warpbreaks")
    brief = brief_of(case.data, ["wool", "tension"], "breaks")
    found = both_types(fit(brief, runs_of(case.data, ["wool", "tension"], "breaks"), "breaks"))
    assert list(found["differ"]) == [False] * 3
    assert list(found["term"]) == ["wool", "tension", "wool × tension"]
