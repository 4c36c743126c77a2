"""Phases side by side: each build of each phase a block of its own, and which phases count."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import Extension
from toolkit.design import factorial, phases, strata
from toolkit.errors import DesignError


def runs(*rows):
    """A table of phase and build for runs of the same combinations over and over."""
    made = pd.DataFrame([{"phase": phase, "build_id": build} for phase, build in rows])
    levels = [("P0", "O0"), ("P1", "O0"), ("P0", "O1"), ("P1", "O1")]
    made["pin"] = [levels[at % 4][0] for at in range(len(made))]
    made["oil"] = [levels[at % 4][1] for at in range(len(made))]
    return made


def test_one_phase_alone_stays_as_it_is():
    table = runs(*[("main", "B1")] * 4)
    brief, made = phases.side_by_side(briefs.blocked(), table)
    assert brief == briefs.blocked()
    pd.testing.assert_frame_equal(made, table)


def test_builds_of_different_phases_are_different_blocks_and_the_main_phase_keeps_its_labels():
    table = runs(("pilot", "B1"), ("pilot", "PB2"), ("main", "B1"), ("main", "B2"), ("extension", "B1"))
    brief, made = phases.side_by_side(briefs.blocked(), table)
    assert brief == briefs.blocked()
    assert list(made["build_id"]) == ["B1 (pilot)", "PB2", "B1", "B2", "B1 (extension)"]


def test_phases_beside_a_randomised_main_phase_are_blocks():
    table = runs(("pilot", "B1"), ("main", "B1"), ("main", "later"), ("extension", "X1"), ("extension", "X2"))
    brief, made = phases.side_by_side(briefs.blocked(block_by=None), table)
    assert brief.block_by == "build"
    assert list(made["build_id"]) == ["B1", "main phase", "main phase", "extension", "extension"]


def test_degrees_of_freedom_of_all_that_counts_by_hand():
    # 3 builds of 4, and two further builds of 4: 20 runs less 5 builds less 3 effects. A pilot that only lends its
    # scatter is left out; one that counts is two combinations in one more build: 24 - 6 - 3.
    lent = briefs.blocked(extension=Extension(builds=2))
    parts = [
        factorial.pilot(lent).table.assign(phase="pilot"),
        factorial.full(lent).table.assign(phase="main"),
        factorial.full(lent, builds=2).table.assign(phase="extension"),
    ]
    table = pd.concat(parts, ignore_index=True)
    assert phases.strata_together(lent, table).stratum("run").error_df == 20 - 5 - 3
    counts = replace(lent, pilot=replace(lent.pilot, use="block"))
    laid = phases.strata_together(counts, table)
    assert laid.stratum("run").error_df == 24 - 6 - 3
    assert list(dict.fromkeys(laid.runs["build_id"])) == ["PB1", "B1", "B2", "B3", "B1 (extension)", "B2 (extension)"]
    without = phases.strata_together(briefs.blocked(), table)
    assert without.layout == strata.BLOCKS
    assert without.stratum("run").error_df == 12 - 3 - 3


def test_whole_plots_of_two_phases_and_no_run_at_all_are_refused():
    table = runs(("main", "B1"), ("extension", "X1"))
    with pytest.raises(DesignError) as told:
        phases.side_by_side(briefs.whole_plots(), table)
    assert str(told.value) == (
        "main and the extension phase side by side: not covered where builds are the units of a factor, because a "
        "build of one phase would count as one more unit of the other. Analyse each phase by itself: [pilot] use = "
        '"scatter", and no [extension].'
    )
    with pytest.raises(DesignError) as told:
        phases.strata_together(briefs.blocked(), table[table["phase"] == "extension"])
    assert str(told.value) == (
        "there is no run of the main phase among these. Give its runs too; their phase stands in the column 'phase'."
    )
