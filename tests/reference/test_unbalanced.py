"""Unbalanced factorials and empty combinations, straight from the columns of the model, against R 4.2.2.

Types I, II and III are those of anova and car::Anova with sum-to-zero coding; case.toml of each case names
the source. Here only toolkit.numeric is under test, no brief and no design.
"""

import math

import numpy as np
import pytest

from tests.reference.loader import close, load
from tests.reference.tables import base_of, columns_of, joined, table_faults
from toolkit.numeric import contrasts

FULL = ["supp", "dose", "supp:dose"]


def combination(*sizes_and_levels: tuple[int, int]) -> np.ndarray:
    """The model row of one combination of two factors, each given as (number of levels, level from 0)."""
    coded = [contrasts.sum_coded(size)[[level]] for size, level in sizes_and_levels]
    return np.hstack([[[1.0]], *coded, contrasts.term_columns(coded)])[0]


@pytest.mark.parametrize(
    ("prefix", "terms", "kind"),
    [
        ("type1_fcategory_first", ["fcategory", "partner.status", "fcategory:partner.status"], 1),
        ("type1_partner_first", ["partner.status", "fcategory", "partner.status:fcategory"], 1),
        ("type2", ["fcategory", "partner.status", "fcategory:partner.status"], 2),
        ("type3", ["fcategory", "partner.status", "fcategory:partner.status"], 3),
    ],
)
def test_the_three_types_of_an_unbalanced_factorial(prefix: str, terms: list[str], kind: int) -> None:
    """Fox & Weisberg, help example of car::Anova (prints from memory, recomputed by R)."""
    case = load("k04-moore-types")
    y = case.data["conformity"].to_numpy(float)
    assert not table_faults(case, prefix, terms, y, kind=kind)
    columns = columns_of(case, terms)
    printed = [term for term in terms if f"{prefix}.{term}.ss" in case.printed]
    assert len(printed) == {1: 0, 2: 3, 3: 2}[kind]
    for term in printed:
        found, _ = contrasts.projection_ss(y, joined(columns, base_of(term, terms, kind)), columns[term])
        key = f"{prefix}.{term}.ss"
        assert abs(found - case.published(key)) <= case.published_abs(key), key


@pytest.mark.parametrize("kind", [1, 2, 3])
def test_the_three_types_with_unequal_repeats(kind: int) -> None:
    """R and car on Tippett (1950) p. 106 without thirteen of the looms."""
    case = load("k04-warpbreaks-unequal-n")
    y = case.data["breaks"].to_numpy(float)
    assert not table_faults(case, f"type{kind}", ["wool", "tension", "wool:tension"], y, kind=kind)


def test_raw_and_equally_weighted_means() -> None:
    """R: with unequal repeats the mean of all looms of a wool is not the mean of its combinations."""
    case = load("k04-warpbreaks-unequal-n")
    repeats = case.data.groupby(["wool", "tension"]).size()
    assert {f"{wool}:{tension}": n for (wool, tension), n in repeats.items()} == {
        name: case.expected(f"n.{name}") for name in case.names("n")
    }
    raw = case.data.groupby("wool")["breaks"].mean()
    columns = columns_of(case, ["wool", "tension", "wool:tension"])
    fit = contrasts.least_squares(joined(columns, ["wool", "tension", "wool:tension"]), case.data["breaks"])
    for level, wool in enumerate("AB"):
        row = np.mean([combination((2, level), (3, tension)) for tension in range(3)], axis=0)
        assert close(float(row @ fit.beta), case.expected(f"ls_means_wool.{wool}"), case)
        assert close(raw[wool], case.expected(f"raw_means_wool.{wool}"), case)


def test_what_an_empty_combination_leaves() -> None:
    """R and car on Crampton (1947) without VC at dose 2: one of two interaction df is left."""
    case = load("k04-toothgrowth-empty-cell")
    y = case.data["len"].to_numpy(float)
    assert not table_faults(case, "additive_type2", FULL[:2], y, kind=2)
    columns = columns_of(case, FULL)
    full, additive = joined(columns, FULL), joined(columns, FULL[:2])
    assert case.data.groupby(["supp", "dose"]).ngroups == case.expected("n_filled")
    assert full.shape[1] == case.expected("model_columns") == case.expected("n_cells")
    assert contrasts.rank(full) == case.expected("rank_full")
    assert full.shape[1] - contrasts.rank(full) == case.expected("n_inestimable_coefficients")
    assert columns["supp:dose"].shape[1] == case.expected("interaction_df_if_complete")
    ss, df = contrasts.projection_ss(y, additive, columns["supp:dose"])
    fit = contrasts.least_squares(full, y)
    assert df == case.expected("interaction_df_estimable")
    assert close(ss, case.expected("interaction_extra_ss"), case)
    assert close(ss / df / (fit.residual_ss / fit.df), case.expected("interaction_F"), case)
    assert fit.df == case.expected("residual_df_full")
    assert close(fit.residual_ss, case.expected("residual_ss_full"), case)


def test_which_comparisons_an_empty_combination_takes_away() -> None:
    """R: the supplements can be compared at doses 0.5 and 1; at dose 2, or over all doses, they cannot."""
    case = load("k04-toothgrowth-empty-cell")
    full = joined(columns_of(case, FULL), FULL)
    fit = contrasts.least_squares(full, case.data["len"])
    for level, dose in enumerate(("0.5", "1", "2")):
        row = combination((2, 0), (3, level)) - combination((2, 1), (3, level))
        cell = case.text(f"supp_difference_at_dose.{dose}")
        assert bool(contrasts.estimable(row[None, :], full)[0]) is (cell != ""), dose
        if cell:
            assert close(float(row @ fit.beta), float(cell), case), dose
    vc = np.mean([combination((2, 1), (3, level)) for level in range(3)], axis=0)
    assert case.text("marginal_mean_VC_equal_weight_estimable") == "false"
    assert not contrasts.estimable(vc[None, :], full)[0]


def test_a_two_by_two_with_a_missing_combination() -> None:
    """R on INVENTED wear: the interaction is fully lost, two simple effects are left."""
    case = load("k04-2x2-missing-cell")
    terms = ["overlay", "oil", "overlay:oil"]
    y, columns = case.data["wear"].to_numpy(float), columns_of(case, terms)
    full = joined(columns, terms)
    assert contrasts.rank(full) == case.expected("rank_full")
    ss, df = contrasts.projection_ss(y, joined(columns, terms[:2]), columns["overlay:oil"])
    assert (ss, df) == (0.0, case.expected("interaction_df_estimable"))
    fit = contrasts.least_squares(full, y)
    assert fit.df == case.expected("residual_df")
    assert close(math.sqrt(fit.residual_ss / fit.df), case.expected("residual_sd"), case)
    a_p, a_q = combination((2, 0), (2, 0)), combination((2, 0), (2, 1))
    b_p, b_q = combination((2, 1), (2, 0)), combination((2, 1), (2, 1))
    for key, row in {
        "overlay_b_minus_a_at_oil_p": b_p - a_p,
        "oil_q_minus_p_at_overlay_a": a_q - a_p,
    }.items():
        assert contrasts.estimable(row[None, :], full)[0], key
        assert close(float(row @ fit.beta), case.expected(key), case), key
        std_error = math.sqrt(fit.residual_ss / fit.df * row @ fit.unscaled_cov @ row)
        assert close(std_error, case.expected("se_each"), case), key
    for row in (b_q - a_q, b_q - b_p, (b_p + b_q) / 2 - (a_p + a_q) / 2, b_q - b_p - a_q + a_p):
        assert not contrasts.estimable(row[None, :], full)[0]
