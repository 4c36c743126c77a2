"""A published 2^3 in six blocks of four, whose three-way interaction is confounded with the blocks.

Source: the npk data, an exercise sheet of Imperial College printed in Venables & Ripley (2002); R 4.2.2 aov.
"""

import pytest

from tests.reference.loader import close, load
from tests.unit.model.made import brief_of, runs_of
from toolkit.brief.model import Comparison
from toolkit.design import questions
from toolkit.design.strata import of_runs
from toolkit.design.terms import name_of
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit
from toolkit.numeric.contrasts import estimable

CASE = load("k03-npk-confounded")
LEVELS = {name: ["0", "1"] for name in "NPK"}
BRIEF = brief_of(
    CASE.data,
    ["N", "P", "K"],
    "yield",
    block="block",
    better="larger",
    levels=LEVELS,
    comparisons=[
        Comparison("nitrogen", of={"N": "1"}, against={"N": "0"}),
        Comparison("all three", interaction=("N", "P", "K")),
    ],
)
RUNS = runs_of(CASE.data, ["N", "P", "K"], "yield", build="block")
OUR_NAME = {"block": "build", "Residuals": "error (run)"}


def test_the_layout_alone_tells_which_term_cannot_be_estimated():
    laid = of_runs(BRIEF, RUNS.drop(columns="yield"))
    asked = {name_of(term): questions.of_term(BRIEF, term, laid.terms)[0].row for term in laid.terms}
    told = [name.replace(" × ", ":") for name, row in asked.items() if not laid.estimable(row)]
    assert told == [CASE.text("not_estimable")]
    assert estimable(asked["N × P × K"][None, :], laid.columns)[0]  # by the blocks, not by a missing combination


def test_every_line_is_that_of_r_with_blocks_first():
    found = table(fit(BRIEF, RUNS, "yield"), ss_type=1).set_index("term")
    compared = 0
    for term, row in CASE.table("anova").iterrows():
        ours = found.loc[OUR_NAME.get(term, term.replace(":", " × "))]
        assert ours["df"] == row["df"]
        # Blocks are taken out, not tested: no F of theirs is given.
        for name, key in (("sum_sq", "ss"), ("mean_sq", "ms"), ("f", "F"), ("p_value", "p")):
            if row[key] == row[key] and not (term == "block" and key in ("F", "p")):
                assert close(ours[name], row[key], CASE), (term, name)
                compared += 1
    assert compared == 28
    lost = found.loc["N × P × K"]
    assert (lost["df"], lost["sum_sq"], lost["p_value"]) == (0, None, None)
    assert lost["note"] == "not estimable: it changes together with builds"


@pytest.mark.parametrize("ss_type", [1, 2])
def test_terms_within_blocks_do_not_depend_on_the_type(ss_type):
    found = table(fit(BRIEF, RUNS, "yield"), ss_type=ss_type).set_index("term")
    assert close(found.loc["N", "sum_sq"], CASE.expected("anova.N.ss"), CASE)
    assert close(found.loc["N × K", "f"], CASE.expected("anova.N:K.F"), CASE)


def test_the_nitrogen_effect_and_the_comparison_that_cannot_be_answered():
    nitrogen, three = comparisons(fit(BRIEF, RUNS, "yield")).to_dict("records")
    assert close(nitrogen["estimate"], CASE.expected("N_effect.estimate"), CASE)
    assert close(nitrogen["std_error"], CASE.expected("N_effect.se"), CASE)
    assert nitrogen["df"] == CASE.expected("N_effect.df")
    assert (three["estimate"], three["conf_low"], three["p_value"]) == (None, None, None)
    assert three["note"] == (
        "not estimable: the combinations compared were not run in the same builds, so the change cannot be told "
        "from that between builds. Run the combinations of both sides within the same build: one run of N 0, P 0, "
        "K 1 in build 1 would do."
    )


def test_confounding_is_found_before_anything_is_fitted():
    found = fit(BRIEF, RUNS, "yield").findings[["severity", "column", "rule", "found", "expected", "action"]]
    assert found.to_numpy().tolist() == [
        [
            "note",
            "yield",
            "confounded with builds",
            "all three: its combinations were not run in the same builds",
            "the combinations of both sides in every build",
            "Run the combinations of both sides within the same build: one run of N 0, P 0, K 1 in build 1 would do.",
        ]
    ]
