"""Optimal designs of a brief: laid out in builds and whole plots, restrictions kept, told in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.unit import briefs
from tests.unit.brief.test_optimal_plans import mixed
from toolkit.brief import optimal as optimal_brief
from toolkit.brief.model import Brief, Comparison, Pilot, PlanChoice
from toolkit.design import alias_words, base, chosen, optimal, optimal_plots, orders, questions
from toolkit.design import terms as model_terms
from toolkit.errors import DesignError


def test_the_search_and_the_analysis_have_the_same_model() -> None:
    """Columns of the strata span what the search took: same rank with both side by side, slopes and squares too."""
    for brief in (mixed(interactions=(("pin", "oil"),)), mixed(model="quadratic")):
        made = chosen.main(brief)
        assert made.runs == 24 and base.terms(brief) == made.strata.terms == optimal_brief.terms(brief)
        levels = [
            [factor.names.index(level) for factor, level in zip(brief.factors, line, strict=True)]
            for line in made.table[list(brief.factor_names)].itertuples(index=False)
        ]
        searched = optimal_brief.space(brief).rows(levels)
        own = made.strata.columns
        assert own.shape == searched.shape
        rank = np.linalg.matrix_rank(searched)
        assert rank == searched.shape[1] == np.linalg.matrix_rank(np.hstack([own, searched]))
        assert made.strata.stratum("run").error_df == 24 - searched.shape[1]


def test_a_mixture_without_an_array_is_as_good_as_the_array_where_there_is_one() -> None:
    """One factor of two and three of three levels in 18 runs: orthogonal, as the array of 18 runs is."""
    factors = (briefs.factor("oil", "O0", "O1", undo="fill"), *(briefs.factor(name, "0", "1", "2") for name in "abc"))
    asked = (Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),)
    brief = replace(
        mixed(runs=18), factors=factors, comparisons=asked, plan=PlanChoice(design="optimal", runs=18, replicates=1)
    )
    held = optimal.searched(brief)
    assert held.name == "optimal (D), main effects, 18 runs a set"
    assert held.found.d_efficiency == pytest.approx(100.0)
    assert optimal.sentence(brief) == (
        "A set of 18 runs was searched for among 54 combinations, the determinant of the information largest (D): "
        "D-efficiency 100.0 %, 100.0 % of a bound that no plan can beat. The price: main effects are told and nothing "
        "else; the rest is taken as nil, and what of it each effect takes in is listed. A full factorial takes 54 runs "
        "for each replicate."
    )
    row = questions.of_comparison(brief, asked[0], chosen.main(brief).strata.terms).row
    assert chosen.main(brief).strata.parts(row)[0].unit_variance == pytest.approx(4.0 / 18.0)


def test_sets_in_builds_with_repeats_and_restrictions() -> None:
    """Two builds of eight, twice; two runs of a set repeat another; what is forbidden is not there."""
    brief = mixed(
        runs=16, split_over=2, builds=4, replicates=0, block_by="build", repeat_points=2,
        forbidden=({"pin": "P2", "oil": "O1"},),
    )  # fmt: skip
    made = chosen.main(brief)
    assert made.name == "optimal (D), main effects, 16 runs a set, 4 builds of 8 runs"
    assert made.table["build_id"].value_counts().to_dict() == {"B1": 8, "B2": 8, "B3": 8, "B4": 8}
    runs = made.table
    assert not ((runs["pin"] == "P2") & (runs["oil"] == "O1")).any()
    for _, inside in runs.groupby("build_id"):
        assert inside[list(brief.factor_names)].duplicated().sum() >= 1
    assert (made.strata.stratum("run").term_df, made.strata.stratum("run").error_df) == (7, 32 - 4 - 7)
    assert "those that may not be run left out" in optimal.sentence(brief)
    assert "2 runs repeat another" in optimal.sentence(brief)
    with pytest.raises(DesignError) as told:
        chosen.main(brief, builds=3)
    assert str(told.value).endswith("so their number must be a multiple of 2; choose 2 or 4.")


def kept(**plan: object) -> Brief:
    """The coated part is kept over four runs of six, the others change from run to run."""
    return mixed(new=("fill",), plots={"part": 6}, **plan)


def test_whole_plots_of_kept_parts() -> None:
    """Six sets of parts of four runs; the part's levels are judged between them, on 6 - 3 df."""
    made = chosen.main(kept())
    assert made.name == "optimal (D), main effects, 24 runs a set in 6 sets of parts, 1 set"
    runs = made.table
    assert list(runs.columns[:3]) == ["build_id", "part_set_id", "replicate"]
    assert runs.groupby("part_set_id").size().tolist() == [4] * 6
    assert (runs.groupby("part_set_id")["pin"].nunique() == 1).all()
    assert (made.strata.stratum("part").error_df, made.strata.of_term(("pin",))) == (3, "part")
    assert made.strata.of_term(("oil",)) == "run"
    assert optimal_plots.used(kept()) and not optimal_plots.used(mixed())
    direct = optimal_plots.phase(kept(), "main", builds=0, replicates=1)
    assert direct.table.equals(runs)
    further = optimal_plots.phase(kept(), "extension", builds=0, replicates=1)
    assert set(further.table["build_id"]) == {"X1"} and further.name.startswith("extension, optimal (D)")
    twice = chosen.main(kept(), replicates=2).table
    assert twice["part_set_id"].nunique() == 12
    assert optimal.sentence(kept(variance_ratio=2.0)).count("at a variance ratio of 2 between units") == 1
    ordered = orders.randomise(made, seed=1).table
    assert (ordered.groupby("part_set_id")["planned_order"].agg(lambda at: at.max() - at.min()) == 3).all()
    # An assumed scatter between the sets tells within-set contrasts as well as without: pin in balance between sets.
    assert sorted(runs.drop_duplicates("part_set_id")["pin"].value_counts()) == [2, 2, 2]


def test_repeat_points_lie_in_the_unit_of_what_they_repeat() -> None:
    """Six sets of four runs with six repeats: one in each set, so that runs of one set tell the error."""
    brief = kept(repeat_points=6)
    table = chosen.main(brief).table
    alike = table.groupby(["part_set_id", *brief.factor_names]).size()
    assert ((alike - 1).groupby("part_set_id").sum() >= 1).all() and int((alike - 1).sum()) >= 6


def test_builds_as_units_and_fills_within_parts() -> None:
    """Builds that carry a factor: by multiples of those of a set. Fills lie within sets of parts."""
    pin = replace(mixed().factors[0], undo="build")
    brief = replace(mixed(runs=18, plots={"build": 6}, replicates=0, builds=6), factors=(pin, *mixed().factors[1:]))
    made = chosen.main(brief)
    assert (made.builds, made.strata.stratum("build").error_df) == (6, 3)
    assert (made.table.groupby("build_id")["pin"].nunique() == 1).all()
    with pytest.raises(DesignError) as told:
        chosen.main(brief, builds=8)
    assert str(told.value) == (
        "builds = 8: one set is spread over 6 builds, so their number must be a multiple of 6; choose 6 or 12."
    )
    nested = chosen.main(mixed(new=(), plots={"part": 4, "fill": 8})).table
    assert (nested.groupby(["part_set_id", "fill_id"])["oil"].nunique() == 1).all()
    assert nested.groupby("part_set_id")["fill_id"].nunique().tolist() == [2] * 4
    with pytest.raises(DesignError) as told:
        chosen.main(kept(replicates=0))
    assert str(told.value) == (
        "[plan] replicates = 0: the size of the main phase is not chosen yet. Run `wearbook size`, decide, and write "
        "your choice into campaign.toml."
    )


def test_the_runs_of_a_pilot_that_counts_are_held_fixed() -> None:
    """Beside a pilot that made one combination often, the main phase makes it less."""
    pilot = Pilot(({"pin": "P0", "oil": "O0", "load_Nm": "80", "speed_rpm": "1000"},), replicates=6, use="block")
    alone = optimal.searched(mixed(runs=9))
    beside = optimal.searched(replace(mixed(runs=9), pilot=pilot))
    assert beside.found.levels[:6].tolist() == [[0, 0, 0, 0]] * 6
    assert len(beside.lines) == len(alone.lines) == 9 and set(beside.builds) == {0}
    scatter_only = replace(mixed(runs=9), pilot=replace(pilot, use="scatter"))
    assert optimal.searched(scatter_only).lines == alone.lines
    assert optimal.key(scatter_only) == optimal.key(mixed(runs=9))
    assert optimal.key(scatter_only) != optimal.key(replace(scatter_only, pilot=pilot))


def test_aliases_of_slopes_and_named_factors_have_the_sign_of_effects() -> None:
    """Shares by the columns' own regression: effects are high less low, whatever the coding."""
    brief = replace(
        mixed(model="quadratic", runs=9),
        factors=(briefs.factor("pin", "P0", "P1"), *mixed().factors[1:3]),
        plan=PlanChoice(
            design="optimal", runs=10, replicates=1, model="quadratic",
            nil_interactions=(("pin", "oil"), ("pin", "load_Nm"), ("oil", "load_Nm")),
        ),
    )  # fmt: skip
    made = chosen.main(brief)
    runs = made.table
    pin, oil = (2.0 * (runs[name] == high) - 1.0 for name, high in (("pin", "P1"), ("oil", "O1")))
    load = (runs["load_Nm"].astype(float) - 100.0) / 20.0
    model = np.column_stack([np.ones(10), pin, oil, load, load**2])
    left = np.column_stack([pin * oil, pin * load, oil * load])
    shares = np.linalg.lstsq(model, left, rcond=None)[0]
    lines = {line.term: dict(line.others) for line in alias_words.of_strata(made.strata)}
    pairs = [("pin", "oil"), ("pin", "load_Nm"), ("oil", "load_Nm")]
    for at, name in ((1, "pin"), (2, "oil")):
        for place, pair in enumerate(pairs):
            assert lines[(name,)].get(pair, 0.0) == pytest.approx(shares[at, place], abs=1e-9)
    assert any(abs(value) > 0.01 for value in shares[1:3].ravel())


def test_what_plan_json_holds() -> None:
    """Criterion, model, terms, sizes, efficiencies and the sentence; nothing for other designs."""
    brief = mixed()
    held = optimal.in_plan(brief)["optimal"]
    found = optimal.searched(brief).found
    assert held == {
        "criterion": "D",
        "model": "main effects",
        "terms": ["pin", "oil", "load_Nm", "speed_rpm"],
        "runs": 24,
        "combinations": 54,
        "repeat_points": 0,
        "efficiency_pct": found.efficiency,
        "d_efficiency_pct": found.d_efficiency,
        "sentence": optimal.sentence(brief),
    }
    assert optimal.in_plan(briefs.blocked()) == {} and optimal.sentence(briefs.blocked()) == ""
    assert not optimal.used(briefs.blocked()) and optimal.used(brief)


def test_comparisons_average_over_slopes_at_the_mean_of_the_levels() -> None:
    """A factor that is not named is averaged with equal weights over its levels, uneven as they are."""
    brief = mixed(model="quadratic")
    terms = base.terms(brief)
    each = [
        model_terms.row(brief, terms, {"pin": "P1", "oil": oil, "load_Nm": load, "speed_rpm": speed})
        for oil in ("O0", "O1")
        for load in ("80", "100", "120")
        for speed in ("1000", "2000", "4000")
    ]
    assert np.allclose(np.mean(each, axis=0), model_terms.row(brief, terms, {"pin": "P1"}))
    assert base.sloped(brief) == {"load_Nm", "speed_rpm"}
