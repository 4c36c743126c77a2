"""How the order was drawn, what becomes of void runs, which sums of squares: whole sentences."""

import dataclasses

from tests.unit.report import example
from toolkit.report import method_words

BRIEF = example.brief()
FOUND = example.analysed(BRIEF)
PLAN = {
    "drawn": "the runs within each build at random",
    "seed": 20417,
    "lost": [{"run_id": "R05", "choice": "repeat", "instead": "R13", "amendment": 1}],
}
RULE = (
    "Void runs are left out and no value is put in their place: each takes one degree of freedom from the error of its "
    "stratum (none where nothing else was run of its combination or in its build), and standard errors are those of "
    "the runs left; combinations keep their equal weights."
)


def test_the_order_says_how_it_was_drawn():
    assert method_words.drawn({}) == []
    assert method_words.drawn({"main": PLAN, "extension": {"drawn": "all runs at random", "seed": 7}}) == [
        "Order of the main phase: restricted randomisation, the runs within each build at random; drawn from seed "
        "20417 and sealed.",
        "Order of the extension phase: complete randomisation, all runs at random; drawn from seed 7 and sealed.",
    ]


def test_void_runs_are_named_with_those_made_in_their_place():
    runs = FOUND.records.runs
    assert method_words.void(runs, BRIEF, {}) == f"{RULE} Here: R05."
    assert method_words.void(runs, BRIEF, {"main": PLAN}) == (
        f"{RULE} Here: R05 (R13 was planned in the place of R05, and counts as a run of its own)."
    )
    assert method_words.void(runs.assign(verdict="valid"), BRIEF, {}) == f"{RULE} Here no run is void."


def test_a_void_run_does_take_one_degree_of_freedom():
    whole = example.analysed(BRIEF, void="none").responses["wear_um"].fit
    assert whole.mean_squares["run"][1] - FOUND.responses["wear_um"].fit.mean_squares["run"][1] == 1


def test_sums_of_squares_are_told_where_there_are_any():
    found = FOUND.responses["wear_um"]
    assert method_words.squares(found).startswith("The analysis of variance tells Type II sums of squares: each term ")
    assert method_words.squares(dataclasses.replace(found, anova=found.anova.iloc[:0])) == ""
