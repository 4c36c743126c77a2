"""The fewest runs that free named effects, against ranks and every choice of a small plan."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pandas as pd
import pytest

from tests.unit.design.test_extend import FRACTION, LETTERS, fraction, together
from toolkit.brief.model import Extension
from toolkit.design import alias_words, base, chosen, freeing, further_runs
from toolkit.design import terms as model_terms
from toolkit.errors import DesignError


def columns(lines, effects):
    """Columns of effects from levels by name."""
    levels = np.array([[1.0 if level == "high" else -1.0 for level in line] for line in lines])
    return np.column_stack([levels[:, [LETTERS.index(name) for name in one]].prod(axis=1) for one in effects])


@pytest.mark.parametrize("factors, runs, free", [(4, 8, "ab"), (6, 16, "ab"), (7, 16, "ab"), (5, 8, "d")])
def test_as_many_runs_as_the_chain_lacks_and_one_for_the_block(factors, runs, free):
    brief = fraction(factors, Extension(design="freeing runs", free=(tuple(free),)), plan=replace(FRACTION, runs=runs))
    held = base.of_brief(brief)
    chain = further_runs.named(brief)
    # The chain by products of columns: the effects whose column in the main phase is that of the one named.
    names = LETTERS[:factors]
    effects = [one for size in (1, 2) for one in combinations(names, size)]
    own = columns(held.lines, [tuple(free)])[:, 0]
    alike = [one for one in effects if abs(columns(held.lines, [one])[:, 0] @ own) == runs]
    assert set(chain) == set(alike)
    assert len(held.further) == len(chain)
    laid = together(brief)
    assert set(chain) <= set(laid.terms)
    full = laid.full_columns
    assert np.linalg.matrix_rank(full) == full.shape[1]
    # One run fewer cannot do: the rank of both phases grows by one a run, and the block takes one.
    model = np.column_stack([np.ones(runs), columns(held.lines, laid.terms)])
    assert full.shape[1] - 1 - np.linalg.matrix_rank(model) == len(held.further) - 1


def test_no_choice_of_as_many_runs_does_better():
    brief = fraction(4, Extension(design="freeing runs", free=(("a", "b"),)))
    held, laid = base.of_brief(brief), together(brief)
    chain, others = [("a", "b"), ("c", "d")], [one for one in combinations("abcd", 2) if one not in laid.terms]
    model = columns(held.lines, laid.terms)

    def loss(added):
        rows = np.column_stack([np.repeat([1.0, 0.0], [8, 2]), np.repeat([0.0, 1.0], [8, 2]),
                                np.vstack([model, columns(added, laid.terms)])])  # fmt: skip
        if np.linalg.matrix_rank(rows) < rows.shape[1]:
            return np.inf
        inverse = np.linalg.inv(rows.T @ rows)
        at = [2 + laid.terms.index(one) for one in chain]
        left = np.vstack([columns(held.lines, others), columns(added, others)])
        return np.diag(inverse)[at].sum() + ((inverse @ rows.T @ left)[at] ** 2).sum()

    every = list(product(*(["low", "high"],) * 4))
    best = min(loss(pair) for pair in combinations(every, 2))
    assert loss(held.further) == pytest.approx(best, rel=1e-4)


def test_what_the_freed_effects_still_take_in_is_told():
    brief = fraction(4, Extension(design="freeing runs", free=(("a", "b"),)))
    lines = {model_terms.name_of(line.term): line for line in alias_words.of_strata(together(brief))}
    assert ("c", "d") not in [other for other, _ in lines["a × b"].others]
    assert chosen.extension(brief).name == "runs that free a × b, 1 set"


def test_effects_that_are_told_apart_already_are_refused():
    brief = fraction(4, Extension(design="freeing runs", free=(("a", "b"),)))
    lines = tuple(product(*(["low", "high"],) * 4))
    model = [*((name,) for name in "abcd"), *combinations("abcd", 2)]
    with pytest.raises(DesignError) as told:
        freeing.runs(brief, lines, (0,) * 16, model, [("a", "b")])
    assert str(told.value) == (
        "[extension] free: the main phase tells these effects apart already. Leave them out."
    )


def test_a_large_plan_is_freed_within_its_mirror_images():
    brief = fraction(7, Extension(design="freeing runs", free=(("a",),)))
    assert len(base.of_brief(brief).further) == 4
    made = pd.DataFrame(base.of_brief(brief).further)
    assert not made.duplicated().any()
