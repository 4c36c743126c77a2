"""Pictures of means, of interactions and of the two sides of a comparison."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.brief.model import Comparison, Factor, Level
from toolkit.plot import look, means, sides

BRIEF = example.brief(("coating", "both together", "new oil", "coating needs the new oil"))
RUNS = example.runs(BRIEF)
VALID = RUNS[(RUNS["verdict"] == "valid") & (RUNS["phase"] == "main")]
GIVEN = (example.comparisons(BRIEF), example.means(BRIEF))


def filled(ax):
    """Place, value, colour and marker of each filled mark."""
    return [
        (round(float(line.get_xdata()[0]), 3), float(line.get_ydata()[0]), line.get_color(), line.get_marker())
        for line in ax.lines
        if len(line.get_xdata()) == 1 and line.get_markerfacecolor() != "none"
    ]


def hollow(ax):
    """Values of the hollow marks from left to right."""
    drawn = [line for line in ax.lines if line.get_markerfacecolor() == "none" and len(line.get_xdata())]
    pairs = [pair for line in drawn for pair in zip(line.get_xdata(), line.get_ydata(), strict=True)]
    return [float(value) for _, value in sorted(pairs)]


def test_every_run_and_every_mean_is_drawn_where_the_tables_say():
    ax = means.means(GIVEN[1], VALID, BRIEF, response="elongation_pct")
    assert filled(ax) == [
        (0.15, 0.115, look.PALETTE[0], "o"),
        (1.15, 0.098, look.PALETTE[0], "s"),
        (2.15, 0.090, look.PALETTE[1], "^"),
        (3.15, 0.069, look.PALETTE[1], "D"),
    ]
    assert sorted(hollow(ax)) == sorted(VALID["elongation_pct"])
    assert [label.get_text() for label in ax.get_xticklabels()] == [
        "pin P0\noil O0\nn = 2", "pin P0\noil O1\nn = 3", "pin P1\noil O0\nn = 2", "pin P1\noil O1\nn = 3"
    ]  # fmt: skip
    assert ax.get_ylabel() == "elongation (%), log scale"
    assert ax.get_xlabel() == "hollow: one mark a run; filled: median (geometric mean) with 95 % interval"
    assert boxes.title_of(ax) == "Smallest median of elongation: pin P1, oil O1, 0.069 % (0.058 to 0.082)"
    assert boxes.faults(ax) == []


def test_void_and_pending_runs_are_not_among_the_values():
    alt = means.alt_means(GIVEN[1], VALID, BRIEF, response="elongation_pct")
    assert alt == (
        "Median (geometric mean) of elongation of each combination with 95 % interval, and every run beside it. "
        "pin P0, oil O0: 0.115 % (0.097 to 0.136), n = 2 runs. pin P0, oil O1: 0.098 % (0.083 to 0.116), n = 3 runs. "
        "pin P1, oil O0: 0.090 % (0.076 to 0.107), n = 2 runs. pin P1, oil O1: 0.069 % (0.058 to 0.082), n = 3 runs."
    )


def test_an_interaction_shows_one_series_a_level_and_its_own_interval_on_top():
    ax = means.interaction(*GIVEN, example.verdicts(BRIEF), BRIEF, comparison="coating needs the new oil")
    assert [(value, marker) for _, value, _, marker in filled(ax)] == [
        (0.115, "o"), (0.090, "o"), (0.098, "s"), (0.069, "s")
    ]  # fmt: skip
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["oil O0", "oil O1"]
    assert [label.get_text() for label in ax.get_xticklabels()] == ["pin P0", "pin P1"]
    assert boxes.title_of(ax) == (
        "coating needs the new oil: the ratio pin P1 against P0 at oil O1 is 1.01 times that at oil O0 "
        "(95 % interval 0.89 to 1.14) – smaller than worthwhile"
    )
    assert boxes.faults(ax) == []


def test_an_interaction_of_two_of_three_factors_is_shown_at_each_level_of_the_third():
    soot = Factor("soot", "fill", (Level("low"), Level("mid"), Level("high")))
    brief = dataclasses.replace(BRIEF, factors=(*BRIEF.factors, soot))
    rows = []
    for at, combo in enumerate(brief.combinations):
        levels = dict(zip(brief.factor_names, combo, strict=True))
        row = {"response": "elongation_pct", "estimate": 0.1 + 0.01 * at, "std_error": 0.05, "conf_low": 0.09,
               "conf_high": 0.3, "conf_level": 0.95, "levels": levels}  # fmt: skip
        rows.append(row)
    del rows[0]
    ax = means.interaction(
        GIVEN[0], pd.DataFrame(rows), None, brief, comparison="coating needs the new oil"
    )  # fmt: skip
    assert len(filled(ax)) == 11
    assert [label.get_text() for label in ax.get_xticklabels()][:2] == ["pin P0\nsoot low", "pin P1\nsoot low"]
    lines = [line for line in ax.lines if len(line.get_xdata()) == 2 and len(set(line.get_xdata())) == 2]
    assert len(lines) == 5, "one for each level of oil and soot; a mean is missing at one"
    assert boxes.faults(ax) == []


def test_both_sides_of_a_comparison_show_their_runs_and_their_means():
    ax = sides.sides(*GIVEN, VALID, example.verdicts(BRIEF), BRIEF, comparison="coating")
    assert [(place, value) for place, value, _, _ in filled(ax)] == [(0.15, 0.106), (1.15, 0.079)]
    assert sorted(hollow(ax)) == sorted(VALID["elongation_pct"])
    assert [label.get_text() for label in ax.get_xticklabels()] == ["pin P0\nn = 5 runs", "pin P1\nn = 5 runs"]
    assert boxes.title_of(ax) == "coating: −40 % (95 % interval −51 to −27 %), worthwhile gain"
    assert boxes.faults(ax) == []


def test_sides_without_a_mean_in_the_tables_show_only_their_runs():
    levels = {"pin": "P1", "oil": "O1"}
    asked = Comparison("coating", of=levels, against={**levels, "pin": "P0"})
    brief = dataclasses.replace(BRIEF, comparisons=(asked,))
    table = GIVEN[1][GIVEN[1]["levels"].map(len) == 1]
    ax = sides.sides(GIVEN[0].head(1), table, VALID, None, brief, comparison="coating")
    assert filled(ax) == []
    assert len(hollow(ax)) == 6
    assert sides.alt_sides(GIVEN[0].head(1), table, VALID, None, brief, comparison="coating") == (
        "Runs of elongation on both sides. coating: −40 % (95 % interval −51 to −27 %). "
        "pin P0, oil O1: no mean, n = 3 runs; pin P1, oil O1: no mean, n = 3 runs."
    )


@pytest.mark.parametrize("levels", [("P0", "P1"), tuple(f"supplier {at}, hard chromium nitride" for at in range(6))])
def test_long_level_names_and_many_combinations_do_not_collide(levels):
    pin = Factor("pin", "part", tuple(Level(name) for name in levels))
    brief = dataclasses.replace(BRIEF, factors=(pin, BRIEF.factors[1]))
    draw = np.random.default_rng(1)
    rows, runs = [], []
    for combo in brief.combinations:
        chosen = dict(zip(brief.factor_names, combo, strict=True))
        rows.append({"response": "elongation_pct", "estimate": 0.1, "std_error": 0.1, "conf_low": 0.08,
                     "conf_high": 0.13, "conf_level": 0.95, "levels": chosen})  # fmt: skip
        runs += [{**chosen, "elongation_pct": float(draw.lognormal(-2.3, 0.2))} for _ in range(4)]
    ax = means.means(pd.DataFrame(rows), pd.DataFrame(runs), brief, response="elongation_pct")
    assert boxes.faults(ax) == []
    assert len(filled(ax)) == 2 * len(levels)


def test_large_values_have_plain_numbers_at_their_ticks():
    runs = VALID.assign(elongation_pct=VALID["elongation_pct"] * 1e5)
    table = GIVEN[1].assign(**{key: GIVEN[1][key] * 1e5 for key in ("estimate", "conf_low", "conf_high")})
    ax = means.means(table, runs, BRIEF, response="elongation_pct")
    assert [label.get_text() for label in ax.get_yticklabels()] == ["6,000", "8,000", "10,000"]


def test_an_interim_picture_of_means_names_no_best_combination():
    given = (GIVEN[1], VALID, BRIEF)
    asked = {"response": "elongation_pct", "interim": "7 of 12 runs"}
    ax = means.means(*given, **asked)
    assert ax.figure.get_suptitle() == "INTERIM, 7 of 12 runs: elongation so far"
    assert means.alt_means(*given, **asked) == (
        f"Interim, 7 of 12 runs. {means.alt_means(*given, response='elongation_pct')}"
    )
