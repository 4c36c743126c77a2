"""The picture of the strata says which scatter judges what, with the degrees of freedom of the strata."""

from __future__ import annotations

import dataclasses

from tests.unit.plot import boxes, example
from toolkit.brief.model import Factor, Level
from toolkit.design import factorial
from toolkit.plot import strata_tree
from toolkit.report import view_plan


def test_blocks_and_sub_samples_judge_nothing():
    laid = factorial.full(example.brief(), builds=3).strata
    ax = strata_tree.strata_tree(laid)
    # Three builds of four runs: 11 - 2 for builds - 3 for terms leaves 6.
    assert boxes.title_of(ax) == "Every term is judged: 6 degrees of freedom for error between runs"
    assert [text.get_text().replace("\n", " ") for text in ax.texts] == [
        "3 builds", "block: compared within, never an error",
        "12 runs", "judge pin, oil, pin × oil; 6 degrees of freedom for error",
        "120 stations", "sub-sample (segment): sharpens a run value, never a replicate",
        "240 readings", "sub-sample: sharpens a run value, never a replicate",
    ]  # fmt: skip
    assert [patch.get_linestyle() for patch in ax.patches] == ["--", "-", "--", "--"]


def test_the_fewest_degrees_of_freedom_are_the_finding():
    sprocket = Factor("sprocket", "build", (Level("S0"), Level("S1")))
    brief = example.brief()
    brief = dataclasses.replace(brief, factors=(sprocket, brief.factors[1]), block_by=None, comparisons=())
    laid = factorial.full(brief, builds=4).strata
    # Four builds, two of each sprocket: 4 - 2 degrees of freedom judge it.
    assert strata_tree.alt_strata_tree(laid).startswith(
        "Fewest where builds judge: 2 degrees of freedom for error between builds. 4 builds: judge sprocket; 2 degrees "
        "of freedom for error. 8 runs: judge oil, sprocket × oil; 2 degrees of freedom for error. 80 stations: "
    )


def test_a_notebook_shows_it_with_its_text_beside_the_table(monkeypatch):
    shown = []
    monkeypatch.setattr(view_plan, "show", lambda drawn, alt: shown.append(alt))
    laid = factorial.full(example.brief(), builds=3).strata
    assert "12" in repr(view_plan.strata(laid))
    assert shown == [strata_tree.alt_strata_tree(laid)]
