"""Which unit each run belongs to, and the layers that follow: skeleton tables of the textbooks.

Degrees of freedom and expected mean squares: randomised blocks, split plot and split-split-plot (Cochran and Cox,
Experimental Designs, chapters 4 and 7, from memory); mean squares of drawn campaigns.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.design import strata, units
from toolkit.design.units import COLUMNS
from toolkit.errors import DesignError
from toolkit.model.fit import of_strata


def test_units_follow_from_what_is_undone_and_what_is_new():
    brief = briefs.blocked(new_each_run=("fill",))
    assert [units.unit_of(brief, item) for item in brief.factors] == ["part", "run"]
    assert (units.kept(brief), units.of_brief(brief)) == (("part",), ("part", "run"))
    assert units.id_columns(brief) == ("build_id", "part_set_id")
    assert strata.layout_of(brief) == "whole plots in complete blocks"
    both = briefs.blocked(new_each_run=(), block_by=None)
    assert units.of_brief(both) == ("part", "fill", "run")
    assert units.id_columns(both) == ("build_id", "part_set_id", "fill_id")
    assert strata.layout_of(both) == "whole plots, completely randomised"
    assert units.of_brief(briefs.whole_plots()) == ("build", "run")
    assert units.of_brief(briefs.blocked()) == ("run",)


def test_labels_count_within_the_coarser_unit():
    brief = briefs.blocked(new_each_run=("fill",))
    runs = pd.DataFrame({"build_id": ["B1", "B1", "B2", "B1/1"], "part_set_id": ["1", "2", "1", "1"]})
    assert list(units.codes(brief, runs, "part")) == [0, 1, 2, 3]
    assert list(units.labels(brief, runs, "part")) == ["B1/1", "B1/2", "B2/1", "B1/1/1"]
    assert list(units.codes(brief, runs, "build")) == [0, 0, 1, 2]
    assert list(units.codes(brief, runs, "run")) == [0, 1, 2, 3]
    assert list(units.labels(brief, runs.iloc[:0], "part")) == []
    assert units.listed("part", ["B1/1", "B2/1"]) == "sets of parts B1/1, B2/1"
    assert units.listed("build", [f"B{at}" for at in range(6)]) == "builds B0, B1, B2, B3 and 2 more"
    assert list(units.means(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 1]))) == [2.0, 5.0]


def test_runs_that_do_not_name_their_units_or_change_within_them_are_refused():
    brief = briefs.blocked(new_each_run=("fill",))
    runs = pd.DataFrame(
        {"build_id": ["B1"] * 4, "pin": ["P0", "P0", "P1", "P1"], "oil": ["O0", "O1"] * 2}
    )
    with pytest.raises(DesignError) as told:
        units.check(brief, runs)
    assert str(told.value) == (
        "The runs do not say which unit they belong to.\n  part_set_id: not told for every run; expected the unit of "
        "each run, since it is kept over several runs and carries a factor."
    )
    with pytest.raises(DesignError) as told:
        units.check(brief, runs.assign(part_set_id=["1", "1", "1", "2"]))
    assert str(told.value) == (
        "set of parts 'B1/1': factor 'pin' changes within the set of parts (P0 and P1) though changing it means a new "
        "set of parts. Give the runs after the change a part_set_id of their own."
    )


def test_units_are_numbered_within_builds_by_their_levels_and_replicate():
    brief = briefs.blocked(new_each_run=())
    rows = [(build, pin, oil, turn) for build in ("B1", "B2") for turn in (1, 2) for pin in ("P0", "P1") for oil in
            ("O0", "O1")]  # fmt: skip
    runs = pd.DataFrame(rows, columns=["build_id", "pin", "oil", "replicate"])
    made = units.numbered(brief, runs)
    assert list(made.columns) == ["build_id", "part_set_id", "fill_id", "pin", "oil", "replicate"]
    assert list(made["part_set_id"]) == ["1", "1", "2", "2", "3", "3", "4", "4"] * 2
    assert list(made["fill_id"]) == ["1", "2", "3", "4", "5", "6", "7", "8"] * 2
    assert list(units.numbered(briefs.blocked(), runs).columns) == list(runs.columns)


def test_runs_are_laid_out_again_as_before():
    """The same brief and covariates; a run without the covariate's figure stands at its reference value."""
    brief = briefs.blocked()
    runs = drawn_layout(3, 2, 2, 1).assign(soot=[2.9, 3.1, 3.0, 3.2, 3.1, 2.8, 3.1, 2.9, 3.0, 3.3, 2.9, 3.2])
    laid = strata.of_runs(brief, runs, covariates={"soot": 3.0})
    assert laid.covariates == {"soot": 3.0}
    more = pd.concat([runs, runs.iloc[:1].assign(run_id="X", soot=None)], ignore_index=True)
    after = strata.again(laid, more)
    assert after.block_columns[:, -1].tolist() == pytest.approx([*(runs["soot"] - 3.0), 0.0])
    assert after.stratum("run").error_df == laid.stratum("run").error_df + 1


def drawn_layout(builds: int, sets: int, fills: int, each: int) -> pd.DataFrame:
    """Builds of two sprockets, sets of two pins in each, fills of two oils in each set, two settings in each fill."""
    return pd.DataFrame(
        [
            {
                "run_id": f"R{b}{s}{f}{r}",
                "build_id": f"B{b}",
                "part_set_id": str(s),
                "fill_id": str(f),
                "sprocket": f"S{b % 2}",
                "pin": f"P{s % 2}",
                "oil": f"O{f % 2}",
                "load": f"L{r % 2}",
            }
            for b in range(builds)
            for s in range(sets)
            for f in range(fills)
            for r in range(each)
        ]
    )


def four_layers():
    """A factor changed with the build, one with a set of parts, one with the fill, one a setting."""
    return briefs.whole_plots(
        factors=(
            briefs.factor("sprocket", "S0", "S1", undo="build"),
            briefs.factor("pin", "P0", "P1", undo="part"),
            briefs.factor("oil", "O0", "O1", undo="fill"),
            briefs.factor("load", "L0", "L1", undo="setting"),
        ),
        new_each_run=(),
    )


def test_four_layers_have_the_skeleton_of_a_split_split_split_plot():
    """a = b = c = d = 2 with r = 3 builds a level: a(r-1), a(r-1)(b-1), ab(r-1)(c-1), abc(r-1)(d-1) for the errors."""
    brief = four_layers()
    laid = strata.of_runs(brief, drawn_layout(6, 2, 2, 2))
    assert laid.balanced and laid.units == ("build", "part", "fill", "run")
    assert [(s.name, s.units, s.term_df, s.error_df) for s in laid.strata[:4]] == [
        ("build", 6, 1, 4),
        ("part", 12, 2, 4),
        ("fill", 24, 4, 8),
        ("run", 48, 8, 16),
    ]
    assert laid.of_term(("sprocket", "pin")) == "part"
    assert laid.of_term(("pin", "load")) == "run"
    assert laid.expected("build") == {"build": 8.0, "part": 4.0, "fill": 2.0, "run": 1.0}
    assert laid.expected("fill") == {"fill": 2.0, "run": 1.0}


def test_mean_squares_of_drawn_campaigns_are_the_expected_ones():
    """2,000 campaigns: the average mean square of each layer within 4 standard errors of what is expected."""
    brief = four_layers()
    runs = drawn_layout(4, 2, 2, 2)
    laid = strata.of_runs(brief, runs)
    variances = {"build": 0.5, "part": 1.5, "fill": 0.7, "run": 1.0}
    draw = np.random.default_rng(11)
    y = np.zeros((2000, len(runs)))
    for unit, variance in variances.items():
        codes = laid.members[unit]
        y += np.sqrt(variance) * draw.normal(size=(2000, codes.max() + 1))[:, codes]
    for unit in laid.units:
        own = laid.stratum(unit)
        columns = np.hstack([laid.scaled(unit, laid.columns[:, laid.columns_of()[unit]])])
        values = laid.scaled(unit, y.T)
        rest = values - columns @ np.linalg.pinv(columns) @ values
        squares = (rest**2).sum(axis=0) / own.error_df
        expected = sum(times * variances[name] for name, times in laid.expected(unit).items())
        assert abs(squares.mean() - expected) < 4.0 * expected * np.sqrt(2.0 / own.error_df / 2000)
        made = of_strata(brief, brief.responses[0], laid, y[0]).mean_squares[unit]
        assert made == (pytest.approx(squares[0], rel=1e-9), own.error_df)


def test_the_columns_of_units_are_named_once():
    assert COLUMNS == {"build": "build_id", "part": "part_set_id", "fill": "fill_id"}


def test_units_are_numbered_within_builds_in_order_of_their_first_run():
    # By hand: b is met first in B1, and starts anew in B2.
    assert units.within_builds(["B1", "B1", "B2", "B1", "B2"], ["b", "a", "a", "b", "b"]) == ["1", "2", "1", "1", "2"]
