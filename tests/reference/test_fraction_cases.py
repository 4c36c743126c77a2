"""Two-level fractions and screening plans against published catalogues and listings."""

from itertools import combinations, product

import numpy as np

from tests.reference.loader import load
from toolkit.numeric import aliases, fractions, screening


def words_of(levels):
    """Effects that are the same in every run."""
    return aliases.chains(levels)[1].effects


def pattern_of(levels):
    """How many words have three letters and more."""
    sizes = [len(word) for word in words_of(levels)]
    return [sizes.count(size) for size in range(3, levels.shape[1] + 1)]


def test_least_aberration_in_16_runs():
    case = load("k05-minimum-aberration-16-runs")
    for row in case.names("catalogue"):
        key = f"catalogue.{row}"
        factors = int(case.expected(f"{key}.factors"))
        listed = case.frames[f"d16_{factors}"].to_numpy(dtype=float)
        expected = [int(case.expected(f"{key}.word_length_pattern_from_3.{at}")) for at in range(len(
            case.names(f"{key}.word_length_pattern_from_3")))]
        found = fractions.minimum_aberration(factors, 16)
        # The catalogue's table stops at words of seven letters.
        assert list(found.word_lengths)[: len(expected)] == expected
        assert pattern_of(listed) == list(found.word_lengths)
        assert found.resolution == case.expected(f"{key}.resolution")
        assert len(found.clear_pairs) == case.expected(f"{key}.clear_two_factor_interactions")


def test_resolutions_of_the_listed_fractions():
    case = load("k05-fraction-resolution-table")
    for row in case.names("designs"):
        key = f"designs.{row}"
        factors, runs = int(case.expected(f"{key}.factors")), int(case.expected(f"{key}.runs"))
        listed = case.frames[case.text(f"{key}.file").removesuffix(".csv")].to_numpy(dtype=float)
        words = words_of(listed)
        assert len(words) == case.expected(f"{key}.n_defining_words")
        assert len(words[0]) == case.expected(f"{key}.resolution_in_file")
        expected = [case.expected(f"{key}.word_length_pattern_from_3.{at}") for at in range(factors - 2)]
        assert pattern_of(listed) == expected
        found = fractions.minimum_aberration(factors, runs)
        # Least aberration is never worse than what is listed, and here of the same resolution.
        assert list(found.word_lengths) <= expected
        assert found.resolution == case.expected(f"{key}.resolution_in_file")
        assert fractions.smallest(factors, found.resolution) == runs


def test_alias_strings():
    case = load("k05-alias-strings")
    for name, listed in case.frames.items():
        found, _ = aliases.chains(listed.to_numpy(dtype=float))
        told = [
            ["".join(str(at + 1) for at in effect) for effect in chain.effects if len(effect) <= 2] for chain in found
        ]
        # Chains are told where two main effects or two-factor interactions share a contrast.
        made = sorted(group for group in told if len(group) > 1)
        expected = [
            [case.text(f"{name}.{row}.{at}") for at in case.names(f"{name}.{row}")] for row in case.names(name)
        ]
        assert made == sorted(expected)


def test_fold_over_of_seven_factors():
    case = load("k05-foldover-resolution")
    listed = case.data.to_numpy(dtype=float)
    both = np.vstack([listed, -listed]) if len(listed) == 8 else listed
    assert len(both) == case.expected("runs")
    assert len(words_of(both)[0]) == case.expected("resolution")
    assert pattern_of(both) == [case.expected(f"word_length_pattern_from_3.{at}") for at in range(5)]


def test_plackett_burman_in_12_runs():
    case = load("k05-plackett-burman-12")
    listed = case.data.to_numpy(dtype=float)
    made = screening.plackett_burman(11, 12)
    for levels in (listed, made):
        assert levels.sum(axis=0).tolist() == [case.expected(f"column_sums.{at}") for at in range(11)]
        assert np.abs(levels.T @ levels - 12 * np.eye(11)).max() == case.expected("max_abs_offdiagonal")
        pairs = list(combinations(range(11), 2))
        products = np.column_stack([levels[:, one] * levels[:, other] for one, other in pairs])
        found = aliases.shares(np.column_stack([np.ones(12), levels]), products)[1:]
        for factor in range(11):
            own = [abs(found[factor, at]) for at, pair in enumerate(pairs) if factor not in pair]
            assert len(own) == case.expected("interactions_per_main_effect")
            assert np.abs(np.array(own) - case.expected("alias_abs_values.0")).max() < 1e-12
            assert not [found[factor, at] for at, pair in enumerate(pairs) if factor in pair and found[factor, at]]
        corners = set(product((-1.0, 1.0), repeat=3))
        full = all(set(map(tuple, levels[:, three])) >= corners for three in combinations(range(11), 3))
        assert str(full).lower() == case.text("every_3_factor_projection_contains_full_2x3")
