"""What is left where a term cannot be estimated: two runs, confounded factors, missing combinations, builds."""

import pandas as pd
import pytest

from tests.reference.loader import load
from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit.brief.model import Comparison
from toolkit.model import means, offered
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

L = {"pin": ["P0", "P1"], "oil": ["O0", "O1"]}
ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("needs", interaction=("pin", "oil"))]


def made(data, names=("pin", "oil"), response="y", **more):
    """The fit of a small data frame."""
    more = {"levels": L, "comparisons": ASKED} | more
    brief = brief_of(data, list(names), response, **more)
    return fit(brief, runs_of(data, list(names), response, build=more.get("block")), response)


def test_two_runs_in_all():
    found = made(pd.DataFrame({"pin": ["P0", "P1"], "oil": ["O0", "O0"], "y": [1.0, 2.0]}))
    (row,) = offered.offered(found).to_dict("records")
    assert (row["contrast"], row["estimate"], row["conf_low"], row["planned"]) == (
        "pin P1 against pin P0 at oil O0", pytest.approx(1.0), None, False)
    assert row["note"] == (
        "no error estimate, so no interval and no test: repeat runs: each of the 4 combinations that is run again "
        "gives 1 df of error; or declare an interaction nil in [plan] nil_interactions (such as pin × oil) if the "
        "trade knows that it is; or report the estimates alone")
    lines = table(found).set_index("term")
    assert lines.loc["oil", "note"] == "not estimable: every run has oil O0"
    assert lines.loc["pin × oil", "note"] == "not estimable: it changes together with pin"
    assert lines.loc["error (run)", "note"] == "no error estimate: no df left"
    assert [row for row in comparisons(found)["estimate"]] == [None] * 3
    assert list(means.of(found, ["pin", "oil"])["estimate"]) == [pytest.approx(1.0), None, pytest.approx(2.0), None]


def test_factors_that_always_changed_together():
    data = pd.DataFrame({"pin": ["P0", "P1"] * 3, "oil": ["O0", "O1"] * 3, "y": [1.0, 2.0, 1.1, 2.3, 0.9, 2.2]})
    found = made(data)
    (row,) = offered.offered(found).to_dict("records")
    assert row["contrast"] == "pin P1, oil O1 against pin P0, oil O0"
    assert row["estimate"] == pytest.approx(6.5 / 3 - 1.0)
    assert row["conf_low"] is not None and row["df"] == 4.0
    lines = table(found).set_index("term")
    assert lines.loc["pin", "note"] == "not estimable: it changes together with oil"
    assert lines.loc["oil", "note"] == "not estimable: it changes together with pin"
    assert lines.loc["pin × oil", "note"] == "not estimable: it is the same in every run"
    assert offered.confounded_with(found.strata, ("pin",)) == ("oil",)
    text = ("not estimable: no run of pin P0, oil O1 or pin P1, oil O0. One run of each of them would make it "
            "estimable.")
    assert list(comparisons(found)["note"]) == [text] * 3


def test_a_missing_combination():
    case = load("k04-2x2-missing-cell")
    found = made(case.data, ["overlay", "oil"], "wear", levels=None, comparisons=())
    rows = offered.offered(found).to_dict("records")
    assert [row["contrast"] for row in rows] == ["overlay b against overlay a at oil p", "oil q against oil p at "
                                                 "overlay a"]
    assert [row["term"] for row in rows] == ["overlay", "oil"]
    assert rows[0]["estimate"] == pytest.approx(case.expected("overlay_b_minus_a_at_oil_p"), rel=1e-8)
    assert table(found).set_index("term").loc["overlay × oil", "note"] == "not estimable: no run of overlay b, oil q"


def test_a_part_of_an_interaction_is_offered_and_nothing_twice():
    case = load("k04-toothgrowth-empty-cell")
    data = case.data.assign(dose=case.data["dose"].map("{:g}".format))
    names = {"supp": ["OJ", "VC"], "dose": ["0.5", "1", "2"]}
    found = made(data, list(names), "len", levels=names, comparisons=())
    rows = offered.offered(found).set_index("contrast")
    assert list(rows.index) == [
        "supp VC against supp OJ at dose 0.5", "supp VC against supp OJ at dose 1",
        "dose 1 against dose 0.5, mean over supp", "dose 2 against dose 0.5 at supp OJ",
        "dose 2 against dose 1 at supp OJ",
        "(supp VC against supp OJ) at dose 1 against the same at dose 0.5"]
    line = table(found).set_index("term").loc["supp × dose"]
    part = rows.iloc[5]
    assert (part["estimate"] / part["std_error"]) ** 2 == pytest.approx(line["f"], rel=1e-9)


def test_a_factor_that_followed_the_builds():
    data = pin_by_oil(INVENTED, response="y")
    data["build"] = ["B1" if pin == "P0" else "B2" for pin in data["pin"]]
    found = made(data, block="build")
    assert offered.confounded_with(found.strata, ("pin",)) == ("builds",)
    assert offered.confounded_with(found.strata, ("oil",)) == ()
    assert offered.why_nothing(found.strata, ("pin",)) == "not estimable: it changes together with builds"
    assert offered.offered(found)["contrast"][0] == "pin P0, oil O1 against pin P0, oil O0"


def test_nothing_is_offered_where_everything_can_be_estimated():
    found = made(pin_by_oil(INVENTED, response="y"))
    assert offered.offered(found).empty
    assert list(offered.offered(found).columns)[:3] == ["response", "comparison", "term"]
