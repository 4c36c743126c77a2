"""Extensions against published fold-overs and axial distances: runs, alias chains, words and effects."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from tests.reference.loader import close, load
from tests.unit import briefs
from tests.unit.model.made import brief_of
from toolkit.brief import axial_points
from toolkit.brief.model import Extension, PlanChoice
from toolkit.design import alias_words, base, chosen, further_runs, joined_words, phases
from toolkit.design import terms as model_terms
from toolkit.model import unreplicated
from toolkit.model.fit import fit

NAMES = [f"x{at}" for at in range(1, 8)]


def extended(data, extension):
    """The brief of the 2^(7-4) with an extension."""
    brief = brief_of(data, NAMES, "y", levels={name: ["-1", "1"] for name in NAMES})
    plan = PlanChoice("two-level fraction", runs=8, replicates=1)
    return replace(brief, plan=plan, extension=extension)


def together(brief):
    """The strata of both phases as planned."""
    parts = [chosen.main(brief).table.assign(phase="main"), chosen.extension(brief).table.assign(phase="extension")]
    return phases.strata_together(brief, pd.concat(parts, ignore_index=True))


def rows_of(design):
    """The runs of a design as a set of signs."""
    return {tuple(int(level) for level in row) for row in design.table[NAMES].to_numpy()}


def chain_by_products(levels, blocks, name):
    """What a main effect shares its column with, product by product; the blocks taken out by comparing within them."""
    column = levels[:, NAMES.index(name)]
    told = [name]
    for one, other in combinations(range(7), 2):
        product = levels[:, one] * levels[:, other]
        signs = {tuple(product[blocks == block] * column[blocks == block]) for block in (1, 2)}
        flat = {sign for each in signs for sign in each}
        if len(flat) == 1:
            told.append(f"{'+' if flat == {1.0} else '−'} {NAMES[one]} × {NAMES[other]}")
    return " ".join(told)


def test_the_bicycle_followed_by_its_gear_the_other_way_round():
    case = load("k05-bike-2-7-4-foldover")
    first, second = (case.data[case.data["fraction"] == at] for at in (1, 2))
    brief = extended(first.assign(y=first["y"].astype(float)), Extension(design="fold-over", swap=("x4",)))
    made = chosen.extension(brief)
    assert made.name == "fold-over by x4, 1 set"
    assert rows_of(made) == {tuple(row) for row in second[NAMES].astype(int).to_numpy()}
    laid = together(brief)
    levels, blocks = case.data[NAMES].to_numpy(dtype=float), case.data["fraction"].to_numpy()
    chains = {model_terms.name_of(line.term): line for line in alias_words.of_strata(laid)}
    for name in NAMES:
        assert chains[name].chain == chain_by_products(levels, blocks, name)
    # "x4 and all its two-factor interactions" stand clear, and nothing else but what joins none of them.
    assert case.text("combined_isolates") == "x4 and all its two-factor interactions"
    clear = {name for name, line in chains.items() if line.clear}
    assert clear == {"x4", *(" × ".join(pair) for pair in combinations(NAMES, 2) if "x4" in pair)}
    gain = joined_words.gain(chosen.main(brief).strata, laid)
    assert set(gain.clear) == clear
    assert gain.sentences[0] == "Judged together: 8 runs and 8 further in 2 blocks."


def test_the_bicycle_in_both_fractions_together():
    case = load("k05-bike-2-7-4-foldover")
    runs = case.data.assign(phase=np.where(case.data["fraction"] == 1, "main", "extension"), verdict="valid")
    runs["run_id"] = [f"R{at}" for at in range(len(runs))]
    runs["build_id"] = "B1"
    runs[NAMES] = runs[NAMES].astype(int).astype(str)
    brief = extended(case.data[case.data["fraction"] == 1], Extension(design="fold-over", swap=("x4",)))
    made = fit(brief, runs.assign(y=runs["y"].astype(float)), "y")
    found = unreplicated.effects(made, seed=4).table.set_index("term")["effect"]
    # The half-sum is x4 free of interactions of two; half-differences carry its interactions.
    assert found["x4"] == pytest.approx(case.expected("half_sum.x4"), rel=1e-8)
    first = case.data[case.data["fraction"] == 1]
    for name in NAMES:
        if name == "x4":
            continue
        pair = name, "x4"
        alias = next(one for one in NAMES if (first[one] == first[name] * first["x4"]).all())
        term = " × ".join(sorted(pair))
        assert found[term] == pytest.approx(case.expected(f"half_difference.{alias}"), rel=1e-8)


def test_a_full_fold_over_has_resolution_four():
    case = load("k05-foldover-resolution")
    listed = case.data.astype(int)
    brief = extended(listed.head(8).assign(y=0.0), Extension(design="fold-over"))
    assert rows_of(chosen.main(brief)) | rows_of(chosen.extension(brief)) == {tuple(row) for row in listed.to_numpy()}
    words = further_runs.words(brief)
    assert len(words[0]) == case.expected("resolution")
    counted = [sum(len(word) == size for word in words) for size in range(3, 8)]
    assert counted == [case.expected(f"word_length_pattern_from_3.{at}") for at in range(5)]
    laid = together(brief)
    lines = {model_terms.name_of(line.term): line for line in alias_words.of_strata(laid)}
    assert all(lines[name].clear for name in NAMES)
    # 21 interactions of two on seven chains of three (complete enumeration of the products).
    chains = [line for name, line in lines.items() if " × " in name]
    assert [len(line.others) for line in chains] == [2] * 7
    assert laid.stratum("run").error_df == 0
    assert len(base.of_brief(brief).terms) == 14


@pytest.mark.parametrize("row", range(3))
def test_axial_points_lie_where_the_tables_put_them(row):
    case = load("k06-ccd-axial-distance")
    asked = [one for one in case.records("table") if one["F"] == 2 ** int(one["k"])][row]
    factors = tuple(briefs.numeric(f"x{at}_N", 10.0, 20.0) for at in range(int(asked["k"])))
    brief = briefs.randomised(
        factors=factors,
        comparisons=(),
        plan=PlanChoice(replicates=1, centre_points=3),
        extension=Extension(design="axial points", axial="rotatable", centre_points=3),
    )
    assert close(axial_points.distance(brief), asked["rotatable_alpha"], case)
    made = chosen.extension(brief)
    assert made.runs == asked["axial_runs"] + 3
    blocked = case.records("orthogonal_blocking")
    for line in (one for one in blocked if one["k"] == asked["k"] and one["F"] == asked["F"]):
        plan = replace(brief.plan, centre_points=int(line["centre_cube"]))
        given = replace(brief.extension, axial="orthogonal blocking", centre_points=int(line["centre_star"]))
        assert close(axial_points.distance(replace(brief, plan=plan, extension=given)), line["alpha"], case)
