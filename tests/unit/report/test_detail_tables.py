"""Tables beyond the verdicts: levels, effects without repeats, chances, all responses, the model."""

import dataclasses

import pytest

from tests.unit.decide.test_in_detail import fitted
from tests.unit.decide.test_unrepeated import told
from tests.unit.model.test_unreplicated import cube
from tests.unit.report import example
from tests.unit.report.page import Page
from toolkit.brief.model import Response
from toolkit.decide import stated
from toolkit.decide.in_detail import in_detail
from toolkit.model import anova, comparisons
from toolkit.plot import answers, rounding
from toolkit.report import (
    detail_tables,
    model_table,
    together_tables,
    unrepeated_tables,
    view_details,
    weighed_tables,
)

BRIEF = example.brief()
ANALYSIS = example.analysed(BRIEF)
WEAR = ANALYSIS.responses["wear_um"]


@pytest.fixture(scope="module")
def levels():
    """A factor of three soots by three oils, as it is told level by level."""
    fit = fitted(bend=0.2)
    effects, lines = comparisons.effects(fit), anova.table(fit)
    found = dataclasses.replace(WEAR, fit=fit, effects=effects, in_detail=in_detail(fit, effects, lines))
    return found, detail_tables.tables(found, fit.brief)


def test_an_interaction_stands_above_what_each_factor_does_within_the_other():
    (table,) = detail_tables.tables(WEAR, BRIEF)
    assert table.caption == (
        "Wear, pin × oil: the ratio of ratios, and what each does within the other; each judged alone; the interaction "
        "was asked for in the brief"
    )
    assert [row[0] for row in table.rows] == [
        "change pin P1 against P0 at oil O1, against the same change at oil O0",
        "pin P1 against pin P0 at oil O0", "pin P1 against pin P0 at oil O1",
        "oil O1 against oil O0 at pin P0", "oil O1 against oil O0 at pin P1",
    ]  # fmt: skip
    crossed = WEAR.effects[WEAR.effects["term"] == "pin × oil"].iloc[0]
    low, high = (rounding.significant(crossed[name], 3) for name in ("conf_low", "conf_high"))
    assert table.rows[0][1:3] == (f"× {rounding.significant(crossed['estimate'], 3)}", f"× {low} to {high}")
    simple = WEAR.in_detail.simple_effects.iloc[0]
    assert table.rows[1][1].endswith(" %") and abs(
        float(table.rows[1][1].removesuffix(" %").replace("−", "-")) - simple["change_pct"]) <= 0.5  # fmt: skip
    assert table.rows[1][4] == str(int(simple["df"])) and table.notes == ()


def test_pairs_baseline_and_shape_say_how_they_are_judged_and_that_nobody_asked(levels):
    _, made = levels
    assert [table.caption for table in made[1:]] == [
        "Wear over soot (%): straight line, bend and beyond; each judged alone; not asked before the data: exploratory",
        *(f"Wear by {name}, {what}: intervals and p hold together within the factor (multivariate t); not asked before "
          f"the data: exploratory"
          for what in ("against the baseline", "every pair of levels") for name in ("soot_pct", "oil")),
    ]  # fmt: skip
    assert made[0].caption.endswith("not asked before the data: exploratory")
    assert [row[-1] for row in made[1].rows] == [
        "it rises from soot_pct 0 to 3 along the straight line",
        "it bends: the middle lies below the straight line through the ends",
    ]
    assert len(made[4].rows) == 3


def test_factors_of_three_levels_have_their_tests_below_the_table(levels):
    found, made = levels
    rows = found.in_detail.simple_tests
    first = rows.iloc[0]
    p = rounding.p_value(first["p_value"])
    told_p = f"p {p}" if p.startswith("<") else f"p = {p}"
    assert made[0].notes[0] == (
        f"any level of soot_pct at oil O0: F = {first['f']:.3g} on 2 and {int(first['error_df'])} df, {told_p}"
    )
    assert len(made[0].notes) == len(rows) == 6


def test_effects_without_repeats_come_largest_first_with_their_margins_below():
    found, _ = told(cube(a=1.0, bc=-0.8))
    table = unrepeated_tables.table(found, Response("y", scale="linear", per_run="value"))
    assert table.caption == "Effects on y judged by each other, as nothing was repeated: no interval, no verdict"
    assert table.head == ("term", "change", "size", "stands out", "cannot be told from")
    assert [row[0] for row in table.rows[:2]] == ["a", "b × c"] and len(table.rows) == 15
    assert table.rows[0][3:] == ("beyond the margin of all effects", "nothing else")
    by = found.effects.judged_by.iloc[0]
    size = rounding.significant
    assert table.notes[1] == (
        f"Between runs: margin of one effect {size(by['margin'])}, of all effects {size(by['simultaneous_margin'])} "
        f"(100,000 campaigns drawn, seed 1); pseudo standard error {size(by['pse'])}; Lenth's t margins "
        f"{size(by['lenth_margin'])} and {size(by['lenth_simultaneous_margin'])} (5 df)."
    )


def test_chances_claims_and_further_runs_stand_in_one_row():
    table = weighed_tables.table(WEAR)
    assert table.caption == "Wear against the worthwhile change: chances, claims, further runs"
    weighed = WEAR.beside.weighed
    line = weighed.chances.iloc[0]
    row = table.rows[0]
    assert row[:2] == ("coating", "20 % less")
    shown = [float(cell.removesuffix(" %").removeprefix("over ").removeprefix("under ")) for cell in row[2:5]]
    wanted = [100 * line[name] for name in ("chance_worthwhile", "chance_gain", "chance_between")]
    assert shown == pytest.approx(wanted, abs=1.0)
    assert row[5].endswith("(within 20 % less to 25 % more)") and row[6].endswith("(25 % more)")
    assert table.rows[3][:4] == ("coating needs the new oil", "0.8 or 1.25", "–", "–") and table.rows[3][6] == "–"
    assert table.notes[1] == "Claims of equivalence and of being no worse rest on 90 % intervals."
    lines = weighed_tables.lines(WEAR)
    assert lines["coating"].startswith("Chance of truly at least 20 % less: ") and lines["coating"].endswith(".")


def test_every_answer_stands_in_one_table_primary_first_and_marked():
    table = together_tables.every_answer(ANALYSIS)
    assert [row[:3] for row in table.rows[::4]] == [
        ("wear (µm)", "primary: decides", "coating"),
        ("torque (N·m)", "secondary: exploratory", "coating"),
    ]
    assert [row[6] for row in table.rows] == [
        name for item in ANALYSIS.responses.values() for name in item.verdicts["verdict"]
    ]
    assert {row[5] for row in table.rows} == {"11"}
    alone = dataclasses.replace(ANALYSIS, responses={"wear_um": WEAR})
    assert together_tables.every_answer(alone) is None


def test_agreement_has_its_interval_and_its_caution():
    table = together_tables.agreement(ANALYSIS)
    row = ANALYSIS.agreement.iloc[0]
    told_r = [f"{row[name]:.2f}".replace("-", "−") for name in ("correlation", "conf_low", "conf_high")]
    assert table.rows[0][:5] == ("wear and torque", told_r[0], f"{told_r[1]} to {told_r[2]}", "11", str(row["df"]))
    assert table.rows[0][5] == str(row["sentence"]).rpartition("; ")[2]
    assert "nor does it make any comparison surer" in table.notes[0]


def test_the_model_is_told_term_by_term_with_what_was_planned():
    table = model_table.table(WEAR.model)
    assert [row[:3] for row in table.rows] == [
        ("build", "C(b, Sum)", "taken out, not judged"), ("pin", "C(x1, Sum)", "runs"), ("oil", "C(x2, Sum)", "runs"),
        ("pin × oil", "C(x1, Sum):C(x2, Sum)", "runs"),
    ]  # fmt: skip
    assert [row[4] for row in table.rows] == ["planned"] * 4
    late = stated.stated(WEAR.fit, ["build", "pin", "oil"])
    assert [row[4] for row in model_table.table(late).rows] == ["planned"] * 3 + ["added later"]
    assert table.notes[1] == "In it stand for: y: ln(wear); b: build, as block; x1: pin; x2: oil."


def test_the_notebook_shows_all_of_it_with_one_call_each():
    html = "".join(
        show(ANALYSIS)._repr_html_()
        for show in (view_details.before_deciding, view_details.weighed, view_details.together, view_details.in_detail,
                     view_details.without_repeats, view_details.model)
    )  # fmt: skip
    page = Page(html)
    assert page.unbalanced == []
    captions = page.text("caption")
    for caption in ("Wear against the worthwhile change", "Every answer of every response", "Wear, pin × oil",
                    "The model term by term"):  # fmt: skip
        assert caption in captions
    assert "These runs tell their scatter: effects are judged by it in the other tables." in page.text("p")


def test_rows_of_the_schema_print_as_the_answers_do(levels):
    found, made = levels
    rows = answers.of(found.in_detail.pairs, None, found.fit.brief)
    assert [row[1] for row in made[4].rows] == [row.change for row in rows[:3]]
