"""Tables: display names, rounding by the standard error, dashes for what is not there, every cell escaped."""

import pandas as pd
import pytest

from tests.unit.plot import example as frames
from tests.unit.report import example
from tests.unit.report.page import Page
from toolkit.decide import pending
from toolkit.intake import records
from toolkit.plot import answers
from toolkit.report import tables

BRIEF = example.brief()
ANALYSIS = example.analysed(BRIEF)
WEAR, TORQUE = (ANALYSIS.responses[name] for name in ("wear_um", "torque_Nm"))


def compared(found):
    """The table of comparisons of one response."""
    rows = answers.of(found.comparisons, found.verdicts, BRIEF)
    return tables.comparisons(rows, found.comparisons, BRIEF.response(found.response))


def test_comparisons_have_names_units_and_a_verdict():
    brief = frames.brief(count=2)
    frame = frames.comparisons(brief)
    rows = answers.of(frame, frames.verdicts(brief), brief)
    table = tables.comparisons(rows, frame, brief.responses[0])
    assert table.caption == "Comparisons of elongation: ratios as changes in per cent"
    assert table.head == ("comparison", "what is compared", "change", "95 % interval", "p", "error df",
                          "judged between", "worthwhile", "verdict")  # fmt: skip
    assert table.rows[0] == ("coating", "pin P1 against pin P0, mean over oil", "−40 %", "−51 to −27 %", "0.012", "6",
                             "runs", "20 %", "worthwhile gain")  # fmt: skip


def test_differences_keep_the_unit_of_the_response():
    table = compared(TORQUE)
    assert table.caption == "Comparisons of torque: differences"
    assert all(row[2].endswith(" N·m") and row[7] == "0.5 N·m" for row in table.rows)


def test_the_numbers_are_those_of_the_analysis():
    for line, row in zip(WEAR.comparisons.to_dict("records"), compared(WEAR).rows, strict=True):
        shown = float(row[2].removesuffix(" %").replace("−", "-"))
        assert shown == pytest.approx(line["change_pct"], abs=0.51)
        low, high = (float(part.replace("−", "-")) for part in row[3].removesuffix(" %").split(" to "))
        assert (low, high) == pytest.approx((line["change_low_pct"], line["change_high_pct"]), abs=0.51)


def test_the_anova_has_a_row_a_term_and_dashes_where_there_is_nothing():
    table = tables.anova(WEAR.anova, BRIEF.response("wear_um"))
    assert table.caption == "Analysis of variance of ln wear, Type II"
    assert [row[0] for row in table.rows] == ["build", "pin", "oil", "pin × oil", "error (run)"]
    assert table.rows[0][4:6] == ("–", "–")
    assert table.rows[-1][1] == "5"
    assert tables.anova(TORQUE.anova, BRIEF.response("torque_Nm")).caption == (
        "Analysis of variance of torque (N·m), Type II"
    )


def test_means_are_rounded_by_their_error_on_the_natural_scale():
    brief = frames.brief()
    table = tables.means(frames.means(brief), brief, brief.responses[0])
    assert table.head == ("levels", "median (geometric mean) (%)", "95 % interval (%)", "error df", "runs")
    assert table.rows[4] == ("pin P0, oil O0", "0.115", "0.097 to 0.136", "6", "3")


def test_many_combinations_without_a_run_and_without_an_estimate_are_counted_and_not_listed():
    brief = frames.brief()
    found = frames.means(brief)
    idle = found.iloc[[-1]].assign(estimate=None, conf_low=None, conf_high=None, runs=0, note="not estimable: no run")
    few = pd.concat([found, *[idle] * tables.MOST_IDLE], ignore_index=True)
    assert len(tables.means(few, brief, brief.responses[0]).rows) == len(few)
    many = pd.concat([found, *[idle] * (tables.MOST_IDLE + 1)], ignore_index=True)
    told = tables.means(many, brief, brief.responses[0])
    assert told.rows == tables.means(found, brief, brief.responses[0]).rows
    assert told.notes[-1] == "9 combinations without a run and without an estimate are not listed."


def test_scatter_of_the_log_scale_is_told_in_per_cent():
    table = tables.components(WEAR.components, BRIEF.response("wear_um"))
    assert table.head[1] == "SD (%, of ln)"
    found = WEAR.components[WEAR.components["source"] == "run value"].iloc[0]
    assert float(table.rows[0][1]) == pytest.approx(100 * found["sd"], rel=0.005)
    assert table.rows[0][0] == "run values (what judges comparisons)"


def test_void_runs_stand_with_their_reason_and_who_judged():
    found = example.analysed(BRIEF, pending=("R12",))
    table = tables.not_used(found.records.runs, BRIEF)
    assert [(row[0], *row[3:]) for row in table.rows] == [
        ("R05", "invalid", "oil pressure lost, tripped", "test engineer")
    ]


def test_pending_runs_stand_with_what_they_wait_for():
    found = example.analysed(BRIEF, void="none", pending=("R12",), R11_torque_Nm=None)
    table = tables.pending(found.pending, BRIEF)
    levels = example.order(BRIEF).set_index("run_id").loc[["R11", "R12"], ["pin", "oil"]].to_numpy().tolist()
    assert table.rows == (
        ("R11", "B3", f"pin {levels[0][0]}, oil {levels[0][1]}", "valid", "torque to be entered", "torque"),
        ("R12", "B3", f"pin {levels[1][0]}, oil {levels[1][1]}", "pending", "the run", "wear, torque"),
    )
    assert pending.waits(found.pending) == "R11: torque to be entered; R12: the run"


def test_a_pending_run_has_its_treatment_from_the_plan_and_a_dash_without_one():
    runs = example.raw_runs(BRIEF, void="none", pending=("R12",))
    runs.loc[runs["run_id"] == "R12", ["pin", "build_id"]] = None
    taken = records.from_tables(BRIEF, runs=runs)
    planned = example.order(BRIEF)
    wanted = planned.set_index("run_id").loc["R12"]
    found = tables.pending(pending.pending(BRIEF, taken, planned), BRIEF)
    assert found.rows[0][:3] == ("R12", wanted["build_id"], f"pin {wanted['pin']}, oil {wanted['oil']}")
    assert tables.pending(pending.pending(BRIEF, taken), BRIEF).rows[0][:3] == ("R12", "–", "–")


def test_columns_can_be_left_out():
    table = tables.plain("c", ("a", "p", "b"), [("1", "2", "3")], ("p", "b"))
    assert (table.without("F", "p").head, table.without("F", "p").rows) == (("a", "b"), (("1", "3"),))
    assert tables.told(table, "") is table
    assert tables.told(table, "7 of 12 runs").head == ("a", "b")


def test_worst_cases_stand_beside_what_is_known_so_far():
    found = example.analysed(BRIEF, void="none", pending=("R11", "R12")).responses["wear_um"]
    rows = answers.of(found.comparisons, found.verdicts, BRIEF)
    table = tables.worst_cases(rows, found.worst_cases, BRIEF.response("wear_um"))
    assert table.caption == (
        "Where all 2 pending runs could take wear: each comparison fitted again with values 2 error SDs from what is "
        "expected, all against it or all for it"
    )
    assert table.head == ("comparison", "so far", "2 error SDs against it", "2 error SDs for it")
    for cells, row, line in zip(table.rows, rows, found.worst_cases.to_dict("records"), strict=True):
        assert cells[:2] == (row.name, f"{row.change} ({row.interval})")
        for cell, end in zip(cells[2:], ("against", "for"), strict=True):
            shown = float(cell.split(" %")[0].replace("−", "-"))
            assert shown == pytest.approx(100 * (line[f"{end}_estimate"] - 1), abs=0.51)
    sd = 100 * found.fit.mean_squares["run"][0] ** 0.5
    assert table.notes == (f"Error SD taken: {sd:.3g} %, as found so far.",)


def test_worst_cases_that_cannot_be_told_say_why():
    late = tuple(f"R{at:02d}" for at in range(5, 13))
    found = example.analysed(BRIEF, void="none", pending=late).responses["wear_um"]
    rows = answers.of(found.comparisons, found.verdicts, BRIEF)
    table = tables.worst_cases(rows, found.worst_cases, BRIEF.response("wear_um"))
    assert table.rows == ()
    told = (
        "coating; new oil; both together; coating needs the new oil: where the pending runs could take it is not told: "
        "the scatter between runs is not known yet (no degrees of freedom of error)."
    )
    assert table.notes == (told,)
    # A heading above nothing would only be in the way.
    assert table.__html__() == f'<p class="quiet">{told}</p>'


def test_answers_with_other_runs_carry_their_own_verdict():
    table = tables.sensitivity(WEAR.sensitivity, BRIEF, BRIEF.response("wear_um"))
    assert {row[1] for row in table.rows} == {"as judged", "without flagged", "with void runs that have a value"}
    assert [row[0] for row in table.rows[:3]] == ["coating"] * 3
    as_judged = {row[0]: row[5] for row in table.rows if row[1] == "as judged"}
    assert as_judged == dict(zip(WEAR.verdicts["comparison"], WEAR.verdicts["verdict"], strict=True))
    # A column of notes stands only where one of them says something.
    assert table.head[-1] == "verdict"


def test_many_findings_are_cut_with_a_count():
    one = ANALYSIS.records.findings.head(1)
    many = pd.concat([one.assign(found=f"{at} h") for at in range(103)], ignore_index=True)
    table = tables.findings(many)
    assert len(table.rows) == 101
    assert table.rows[-1][0] == "and 3 more"
    assert "see derived/findings.csv" in table.rows[-1]


def test_a_table_is_html_with_scopes_a_caption_and_escaped_cells():
    table = tables.plain("a <b> & c", ("what", "x < 1"), [("<script>", "1"), ("2", "3")], ("x < 1",))
    assert str(table.__html__()) == (
        '<table class="slim"><caption>a &lt;b&gt; &amp; c</caption><thead><tr>'
        '<th scope="col">what</th><th scope="col" class="n">x &lt; 1</th></tr></thead><tbody>'
        '<tr><th scope="row">&lt;script&gt;</th><td class="n">1</td></tr>'
        '<tr><th scope="row">2</th><td class="n">3</td></tr></tbody></table>'
    )


def test_only_a_long_table_may_be_broken_over_pages():
    rows = [("a", "b")] * (tables.LONG + 1)
    assert Page(str(tables.plain("c", ("d", "e"), rows).__html__())).all("table") == [{"class": "long slim"}]
    assert Page(str(tables.plain("c", ("d", "e"), rows[1:]).__html__())).all("table") == [{"class": "slim"}]
    # Three columns of 27 letters each would be drawn apart by a page, those of 28 are not.
    for letters, kind in ((26, "slim"), (27, "fits")):
        row = tuple("x" * letters for _ in range(3))
        assert Page(str(tables.plain("c", "def", [row]).__html__())).all("table") == [{"class": kind}]


def test_a_table_that_no_page_holds_has_its_words_broken():
    head = tuple(f"name_of_20_letters_{at}" for at in range(6))
    rows = [("as it is",) * 6]
    assert Page(str(tables.plain("c", head[:5], [rows[0][:5]]).__html__())).all("table") == [{"class": "fits"}]
    # Broken after underscores, six names fit; with letters alone they would not.
    assert Page(str(tables.plain("c", head, rows).__html__())).all("table") == [{"class": "tight k1 k2 k3 k4 k5 k6"}]
    assert "<th scope=\"col\">name_<wbr>of_<wbr>20_<wbr>letters_<wbr>5</th>" in str(
        tables.plain("c", head, rows).__html__()
    )
    letters = tuple("abcdef"[at] * 30 for at in range(6))
    assert Page(str(tables.plain("c", letters, rows).__html__())).all("table") == [{"class": "tight k1 k2 k3 k4"}]
    # Words are broken by the browser at blanks and dashes; numbers stay whole.
    told = [("a word and one more " * 9, "x") * 3]
    assert Page(str(tables.plain("c", "abcdef", told).__html__())).all("table") == [{"class": "fits"}]
    made = Page(str(tables.plain("c", "abcdef", told, "abcdef").__html__()))
    assert made.all("table") == [{"class": "tight k2 k4 k6 o2 o4 o6"}]


def test_short_columns_of_such_a_table_keep_their_words_whole():
    head = ("run", "planned order", *(f"factor_of_20_letter_{at}" for at in range(7)), "hours")
    rows = [("R01", "1", *["wie-heute-0"] * 7, "100")]
    page = str(tables.plain("c", head, rows, ("planned order", "hours")).__html__())
    # In the class of the table: those of its cells do not depend on what people write. Codes of levels are whole.
    every = [*(f"k{at}" for at in range(1, 11)), *(f"o{at}" for at in range(1, 11))]
    assert f'<table class="tight {" ".join(every)}">' in page
    assert '<th scope="col">run</th><th scope="col" class="n">planned order</th>' in page
    assert '<th scope="row">R01</th><td class="n">1</td><td>wie-heute-0</td>' in page
    assert 'class="slim"' in str(tables.plain("c", head[:3], [rows[0][:3]]).__html__())


@pytest.mark.parametrize(("value", "shown"), [(None, "–"), (6.0, "6"), (9.87, "9.9"), (float("nan"), "–")])
def test_degrees_of_freedom(value, shown):
    assert tables.df(value) == shown


@pytest.mark.parametrize(("value", "shown"), [("run", "runs"), ("build and run", "builds and runs"), (None, "–")])
def test_units_of_a_stratum(value, shown):
    assert tables.units(value) == shown


def test_a_note_of_every_estimate_names_no_rows_where_they_are_many():
    lines = [{"contrast": f"row {at}", "estimate": 1.0, "note": "by likelihood"} for at in range(6)]
    lines += [{"contrast": f"none {at}", "estimate": None, "note": "no run"} for at in range(6)]
    frame = pd.DataFrame(lines, dtype=object)
    assert tables.notes_of(frame, "contrast") == (
        "every estimate: by likelihood", "everything without an estimate: no run"
    )  # fmt: skip
    # Few are named, and so are those that are not all.
    named = "; ".join(f"row {at}" for at in range(5))
    assert tables.notes_of(frame[:5], "contrast") == (f"{named}: by likelihood",)
    assert tables.notes_of(pd.concat([frame[:6], frame[:1].assign(note="")]), "contrast")[0].startswith(named)


def test_notes_stand_below_the_table_without_what_a_column_says_already():
    frame = pd.DataFrame({
        "comparison": ["coating", "oil", "needs", "both"],
        "note": ["a ratio of ratios", None, "mixes the build and run strata; a ratio of ratios",
                 "not estimable: no run of pin P1, oil O1; pin P0, oil O1."],
    })  # fmt: skip
    assert tables.notes_of(frame, "comparison") == (
        "needs: mixes the build and run strata",
        "both: not estimable: no run of pin P1, oil O1; pin P0, oil O1.",
    )
    page = Page(str(tables.Table("c", ("d",), (), notes=("a <b>",)).__html__()))
    assert page.all("p") == [{"class": "quiet"}] and page.text("p") == "a <b>"


def test_a_missing_combination_is_told_below_means_and_comparisons():
    told = {"verdict": "invalid", "reason": "lost", "role": "test engineer"}
    cells = {f"{run}_{column}": text for run in missing_runs() for column, text in told.items()}
    found = example.analysed(BRIEF, **cells).responses["wear_um"]
    table = compared(found)
    rows = {row[0]: row for row in table.rows}
    assert rows["coating needs the new oil"][2:4] == ("not estimable", "–")
    assert rows["coating needs the new oil"][8] == "not estimable"
    told = "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    assert table.notes == (f"coating; new oil; both together; coating needs the new oil: {told}",)
    means = tables.means(found.means, BRIEF, BRIEF.response("wear_um"))
    assert {row[0]: row[1:3] for row in means.rows}["pin P1, oil O1"] == ("–", "–")
    assert means.notes == (f"pin P1; oil O1; pin P1, oil O1: {told}",)


def missing_runs():
    """The runs of one combination."""
    planned = example.order(BRIEF)
    return list(planned.loc[(planned["pin"] == "P1") & (planned["oil"] == "O1"), "run_id"])


def test_adjusted_intervals_are_marked_in_the_caption():
    frame = pd.DataFrame(
        {"family": ["f", "f", "g", None], "adjust": ["multivariate_t", "multivariate_t", "holm", "none"]}
    )
    assert tables.adjusted(frame) == (
        "; family 'f': intervals that hold together (multivariate t); family 'g': Holm and Bonferroni"
    )
    assert tables.adjusted(WEAR.comparisons) == ""


def test_findings_say_first_what_is_to_be_done_and_name_files_as_they_came():
    columns = ["severity", "run_id", "part_id", "column", "rule", "found", "expected", "action"]
    copy = "raw/received/cd4f32339bee-lab-2b.csv"
    rows = [
        ("note", None, None, "fe_ppm", "replaced", f"TK5855: 103.5 -> 88.8 ({copy} line 17)", "as it was",
         f"none: {copy} counts"),
        ("note", None, "HT897", "part_id", "spare used", "the spare part HT897", "part CB896", "check the run sheet"),
        ("exclude", "R10", None, "sump_temp_degC", "limits", "107 °C", "94 to 106 °C", "judge the run again"),
    ]  # fmt: skip
    table = tables.findings(pd.DataFrame(rows, columns=columns))
    assert table.caption == "What was noticed about the records: 2 to look at, 1 for the record"
    assert table.head == ("run or part", "what to do", "kind", "column", "found", "expected", "rule")
    assert table.rows == (
        ("R10", "judge the run again", "judge again", "sump_temp_degC", "107 °C", "94 to 106 °C", "limits"),
        ("HT897", "check the run sheet", "note", "part_id", "the spare part HT897", "part CB896", "spare used"),
        ("–", "none: lab-2b.csv counts", "note", "fe_ppm", "TK5855: 103.5 -> 88.8 (lab-2b.csv line 17)", "as it was",
         "replaced"),
    )  # fmt: skip


def test_a_negative_component_is_shown_as_such():
    frame = WEAR.components.head(1).assign(source="build", sd=0.0, conf_low=0.0, conf_high=0.08, variance=-0.0025)
    table = tables.components(frame, BRIEF.response("wear_um"))
    # In per cent of ln: 100 squared times the variance.
    assert table.rows[0][1:3] == ("0 (variance −25.0)", "0 to 8.00")


def test_terms_are_told_apart_by_whether_the_sealed_plan_has_them():
    table = tables.anova(WEAR.anova, BRIEF.response("wear_um"))
    assert table.head[-1] == "in the plan" and [row[-1] for row in table.rows] == ["planned"] * 4 + ["–"]
    later = WEAR.anova.assign(planned=[True, True, True, False, None])
    assert tables.anova(later, BRIEF.response("wear_um")).rows[3][-1] == "added later"
    rows = answers.of(WEAR.effects, None, BRIEF)
    effects = tables.effects(rows, WEAR.effects.assign(term_planned=None), BRIEF.response("wear_um"))
    assert [row[-1] for row in effects.rows] == ["–"] * 3
