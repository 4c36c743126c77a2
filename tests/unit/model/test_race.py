"""Who may still be the best: intervals by hand with the laws of scipy, and campaigns drawn over and over."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from tests.unit import briefs
from toolkit.design.strata import Strata
from toolkit.model import race
from toolkit.model.fit import fit, of_strata

LEVELS = ("C0", "C1", "C2", "C3")


def coatings(**changes):
    factors = (briefs.factor("coating", *LEVELS),)
    return briefs.randomised(**{"factors": factors, "comparisons": (), **changes})


def fitted(values, brief=None):
    """A fit of ln values by level, one list a level."""
    lines = [(level, value) for level, own in zip(LEVELS, values, strict=True) for value in own]
    runs = pd.DataFrame(lines, columns=["coating", "ln"])
    runs = runs.assign(
        run_id=[f"R{at}" for at in range(len(runs))], build_id="B1", phase="main", verdict="valid", replicate=1
    )
    return fit(brief or coatings(), runs.assign(elongation_pct=np.exp(runs["ln"])), "elongation_pct")


def critical(df, loadings, alpha=0.05):
    """The one-sided critical value of several t that share one error, by scipy."""
    shape = np.outer(loadings, loadings)
    np.fill_diagonal(shape, 1.0)
    law = stats.multivariate_t(shape=shape, df=df, seed=1)

    def short(at):
        """How much less than asked is held within a limit."""
        return law.cdf(np.full(len(loadings), at), maxpts=30_000) - (1 - alpha)

    return optimize.brentq(short, 1.5, 4.0, xtol=1e-3)


VALUES = ([0.30, 0.10, 0.20], [0.05, -0.05, 0.06], [0.0, 0.10, -0.13], [-0.05, 0.15, 0.10])


def test_leads_and_their_intervals_by_hand():
    found = race.race(fitted(VALUES), "coating")
    means = np.array([np.mean(own) for own in VALUES])
    square = sum(np.var(own, ddof=1) for own in VALUES) / 4
    reach = critical(8, [math.sqrt(0.5)] * 3) * math.sqrt(square * 2 / 3)
    gain = -(means[:, None] - means[None, :])
    upper = np.array([min(gain[i, j] for j in range(4) if j != i) + reach for i in range(4)])
    inside = upper > 0
    for i, row in enumerate(found.to_dict("records")):
        rivals = [j for j in range(4) if j != i and inside[j]]
        low = min([gain[i, j] - reach for j in rivals] + [0.0])
        lead = min(gain[i, j] for j in range(4) if j != i)
        expected = [-100 * math.expm1(-one) for one in (lead, low, max(upper[i], 0.0))]
        assert [row["lead"], row["lead_low"], row["lead_high"]] == pytest.approx(expected, abs=0.05)
        assert (row["level"], row["still_in"], row["df"], row["note"]) == (LEVELS[i], bool(inside[i]), 8, "")
    # C0 is beaten by more than luck; the others are not told apart.
    assert list(found["still_in"]) == [False, True, True, True]
    assert found["lead_high"].iloc[0] == 0.0
    assert found["measured_in"].iloc[0] == "%"


def test_one_alone_is_left_where_it_leads_all():
    found = race.race(fitted([[0.5, 0.52, 0.48], [0.4, 0.42, 0.38], [0.0, 0.02, -0.02], [0.45, 0.47, 0.43]]), "coating")
    assert list(found["still_in"]) == [False, False, True, False]
    best = found.iloc[2]
    assert (best["lead_low"], best["lead"] > 30.0) == (0.0, True)


def test_larger_is_better_and_the_linear_scale():
    brief = coatings(responses=(replace(coatings().responses[0], better="larger", stations=None, scale="linear"),))
    made = fitted(VALUES, brief)
    found = race.race(made, "coating")
    means = [np.exp(own).mean() for own in VALUES]
    assert found["lead"].iloc[0] == pytest.approx(means[0] - max(means[1:]))
    assert found["measured_in"].iloc[0] == brief.responses[0].measured_in
    assert found["still_in"].iloc[0]


@pytest.mark.parametrize("counts", [(3, 3, 3, 3), (2, 5, 3, 4)])
def test_the_best_is_left_out_in_at_most_alpha_of_campaigns(counts, monkeypatch):
    # All equal is the hardest case: the third is the best by nothing at all.
    held, law = {}, race.families.joint_critical

    def once(found, *given, **named):
        """The critical value, which depends on the runs alone."""
        key = found.round(9).tobytes()
        if key not in held:
            held[key] = law(found, *given, **named)
        return held[key]

    parts_of, known = Strata.parts, {}

    def parts(self, row):
        """The error parts of a contrast, which follow from the design alone."""
        if row.tobytes() not in known:
            known[row.tobytes()] = parts_of(self, row)
        return known[row.tobytes()]

    monkeypatch.setattr(race.families, "joint_critical", once)
    monkeypatch.setattr(Strata, "parts", parts)
    draw, total, kept = np.random.default_rng(21), 80, 0
    brief = coatings(alpha=0.10)
    whole = fitted([np.zeros(count) for count in counts], brief)
    for _ in range(total):
        y = np.concatenate([draw.normal(0.0, 0.1, count) for count in counts])
        found = race.race(of_strata(brief, whole.response, whole.strata, y), "coating")
        kept += bool(found["still_in"].iloc[2])
    assert kept / total >= 0.90 - 3.24 * math.sqrt(0.09 / total)
    if len(set(counts)) == 1:
        assert kept / total <= 0.90 + 3.24 * math.sqrt(0.09 / total)


def test_the_winner_flatters_itself_by_what_winners_of_equal_levels_do():
    made = fitted(VALUES)
    square = sum(np.var(own, ddof=1) for own in VALUES) / 4
    means = np.random.default_rng(2).standard_normal((100_000, 4)) * math.sqrt(square / 3)
    assert race.flattered(made, "coating") == pytest.approx(-100 * math.expm1(means.min(axis=1).mean()), abs=0.06)


def test_a_level_that_was_not_run_keeps_its_row():
    values = [VALUES[0], VALUES[1], VALUES[2], []]
    found = race.race(fitted(values), "coating")
    assert list(found["still_in"][:3].notna()) == [True] * 3
    last = found.iloc[3]
    assert last["still_in"] is None and last["lead"] is None and last["note"]
    assert race.flattered(fitted(values), "coating") is None
