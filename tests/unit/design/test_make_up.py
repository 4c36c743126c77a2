"""Make-up runs for combinations that are missing, against ranks by numpy alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from tests.unit import briefs
from toolkit.brief.model import Extension
from toolkit.design import factorial, make_up, phases, strata

PLAIN = {"pilot": None}


def without(brief, table, *lines):
    """The strata of a main phase without the runs of these combinations."""
    names = list(brief.factor_names)
    lost = table[names].astype(str).agg(" ".join, axis=1).isin(lines)
    return strata.of_runs(brief, table[~lost].reset_index(drop=True))


def after(brief, laid, added):
    """The strata once the make-up runs are in, as a phase of their own."""
    both = [laid.runs.assign(phase="main"), pd.DataFrame(added).assign(phase="extension", build_id="X1")]
    asked = replace(brief, extension=Extension(design="make-up runs", combinations=tuple(added)))
    return phases.strata_together(asked, pd.concat(both, ignore_index=True))


def test_a_missing_combination_is_made_up_beside_one_that_was_run():
    brief = briefs.blocked(**PLAIN)
    laid = without(brief, factorial.full(brief).table, "P1 O1")
    assert not laid.estimable(np.eye(4)[laid.spans[("pin", "oil")].start])
    lines = make_up.lines(laid)
    assert len(lines) == 2
    assert lines[1] == {"pin": "P1", "oil": "O1"}
    full = after(brief, laid, lines).full_columns
    assert np.linalg.matrix_rank(full) == full.shape[1]
    # The missing one alone would tell nothing: its block takes the only run there is.
    alone = after(brief, laid, lines[1:]).full_columns
    assert np.linalg.matrix_rank(alone) == alone.shape[1] - 1


def test_two_missing_ones_where_runs_are_randomised():
    brief = briefs.blocked(**PLAIN, block_by=None)
    table = factorial.full(brief, replicates=2).table
    laid = without(brief, table, "P1 O1", "P0 O1")
    lines = make_up.lines(laid)
    assert [tuple(one.values()) for one in lines[1:]] == [("P0", "O1"), ("P1", "O1")]
    assert tuple(lines[0].values()) in {("P0", "O0"), ("P1", "O0")}
    full = after(brief, laid, lines).full_columns
    assert np.linalg.matrix_rank(full) == full.shape[1]


def test_nothing_is_made_up_where_nothing_lacks():
    brief = briefs.blocked(**PLAIN)
    assert make_up.lines(factorial.full(brief).strata) == ()
    kept = briefs.blocked(**PLAIN, new_each_run=("fill",))
    assert make_up.lines(factorial.full(kept).strata) == ()
