"""What must be known before deciding: run by run, with whole sentences, and silence where there is nothing."""

import numpy as np
import pytest

from tests.unit.report import example
from toolkit.cli import words
from toolkit.decide import before_deciding, verdict
from toolkit.decide.before_deciding import COLUMNS

BRIEF = example.brief()


@pytest.fixture(scope="module")
def quiet():
    """The INVENTED campaign without a void run; R07 was warm for a while."""
    return example.analysed(BRIEF, void="none")


def of_kind(analysis, kind, response="wear_um"):
    """The rows of one kind."""
    table = analysis.before_deciding
    return table[(table["kind"] == kind) & ((table["response"] == response) | table["response"].isna())]


def test_a_flagged_run_that_changes_a_verdict_is_named_with_both_verdicts(quiet):
    # R07 far out, and flagged for its temperature: with it the coating is worse known.
    low = float(example.raw_runs(BRIEF, void="none").set_index("run_id").loc["R07", "wear_um"])
    found = example.analysed(BRIEF, void="none", R07_wear_um=2.2 * low)
    item = found.responses["wear_um"]
    assert item.flagged == ("R07",)
    rows = of_kind(found, "flagged runs")
    judged = verdict.verdicts(item.sensitivity, BRIEF)["verdict"]
    by = dict(zip(zip(item.sensitivity["runs"], item.sensitivity["comparison"], strict=True), judged, strict=True))
    moved = [name.name for name in BRIEF.comparisons if by["as judged", name.name] != by["without flagged", name.name]]
    assert moved and list(rows["comparison"]) == moved
    assert list(rows["sentence"]) == [
        f"{name} (wear): '{by['as judged', name]}' becomes '{by['without flagged', name]}' without R07 (flagged)."
        for name in moved
    ]
    assert set(rows["run_ids"]) == {("R07",)}


def test_a_void_run_that_would_change_a_verdict_is_named():
    given = example.raw_runs(BRIEF, void="none").set_index("run_id")
    found = example.analysed(BRIEF, R05_wear_um=3.0 * float(given.loc["R05", "wear_um"]))
    rows = of_kind(found, "void runs")
    assert len(rows) >= 1
    for row in rows.to_dict("records"):
        assert row["sentence"].endswith("with R05 (void) taken in.") and row["run_ids"] == ("R05",)


def test_a_verdict_that_hangs_on_one_run_is_told_and_an_open_one_is_not(quiet):
    item = quiet.responses["wear_um"]
    told = of_kind(quiet, "one run")
    expected = []
    for name, part in item.beside.fragility.groupby("comparison", sort=False):
        row = part.iloc[0]
        if row["shift_in_sd"] is not None and abs(row["shift_in_sd"]) < 1.0 and row["verdict"] != "not known yet":
            expected.append(
                f"{name} (wear): '{row['verdict']}' hangs on run {row['run_id']}; {row['value_needed']:.3g} µm in "
                f"place of {row['value']:.3g} would make it '{row['verdict_then']}'."
            )
    assert list(told["sentence"]) == expected
    assert before_deciding._apart(0.1214, 0.121) == ("0.1214", "0.121")


def test_a_trend_is_told_with_the_comparisons_that_go_along_with_the_order():
    given = example.raw_runs(BRIEF, void="none")
    drift = {
        f"{row['run_id']}_wear_um": row["wear_um"] * float(np.exp(0.06 * row["planned_order"]))
        for row in given.to_dict("records")
    }
    found = example.analysed(BRIEF, void="none", **drift)
    (row,) = of_kind(found, "trend").to_dict("records")
    check = found.responses["wear_um"].checks.table.set_index("check").loc["trend", "sentence"]
    power = found.as_run.power
    power = power[power["response"] == "wear_um"].set_index("comparison")["with_run_order_as_run"]
    far = [(name, f"{value:+.2f}".replace("-", "−")) for name, value in power.items() if abs(value) >= 0.2]
    along = [f"{name} (correlation {value})" for name, value in far]
    ended = (
        f"going along with that order, and so moved by it: {'; '.join(along)}."
        if along
        else "no comparison goes along with that order (none by 0.2 or more), so it widens the intervals more than it "
        "moves the answers."
    )
    assert row["sentence"] == f"wear, {check}; {ended}"
    assert "a run (p = " in check
    lines = words.analysed(found).splitlines()
    assert lines[lines.index("Before deciding:") + 1 :][: len(found.before_deciding)] == [
        f"  {text}" for text in found.before_deciding["sentence"]
    ]


def test_a_run_that_breaks_a_rule_is_to_be_judged_again():
    found = example.analysed(BRIEF, void="none", R03_sump_temp_degC=107.0)
    (row,) = of_kind(found, "judge again").to_dict("records")
    assert row["response"] is None and row["run_ids"] == ("R03",)
    assert row["sentence"].startswith("R03 is in the answers and breaks a rule (") and "107" in row["sentence"]
    assert row["sentence"].endswith("judge it again.")


def test_an_interim_answer_claims_nothing_here_either():
    found = example.analysed(BRIEF, void="none", pending=("R10", "R11", "R12"), R03_sump_temp_degC=107.0)
    assert list(found.before_deciding["kind"]) == ["judge again"]
    assert list(found.before_deciding.columns) == list(COLUMNS)
    assert len(found.agreement) == 0


def crossed(size):
    """The INVENTED campaign with an interaction of pin and oil of this size in ln."""
    given = example.raw_runs(BRIEF, void="none")
    both = (given["pin"] == "P1") & (given["oil"] == "O1")
    changed = {
        f"{row['run_id']}_wear_um": row["wear_um"] * float(np.exp(size)) for row in given[both].to_dict("records")
    }
    return example.analysed(BRIEF, void="none", **changed)


def test_an_average_over_a_factor_that_matters_to_it_is_told_and_no_other():
    found = crossed(-0.8)
    p_value = found.responses["wear_um"].anova.set_index("term").loc["pin × oil", "p_value"]
    assert p_value < 0.05
    rows = of_kind(found, "average")
    assert list(rows["sentence"]) == [
        f"coating (wear) is an average over oil, and what pin does depends on oil (p = {p_value:.2g}): read it "
        f"level by level.",
        f"new oil (wear) is an average over pin, and what oil does depends on pin (p = {p_value:.2g}): read it "
        f"level by level.",
    ]
    # The interaction is asked for, and so looked at, but not shown.
    assert len(of_kind(crossed(0.0), "average")) == 0
