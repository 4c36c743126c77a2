"""Level by level: which interactions are shown, what is told within them, and shapes in words."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from tests.unit.model.made import brief_of, runs_of
from toolkit.brief.model import Comparison
from toolkit.decide.in_detail import in_detail, in_words
from toolkit.model import anova, comparisons, levels, polynomials
from toolkit.model import fit as model_fit

FACTORS = ("soot_pct", "oil")


def fitted(*, bend=0.1, crossed=0.5, asked=(), seed=4):
    """INVENTED wear at three soots and three oils, twice each; the third oil helps at high soot when ``crossed``."""
    data = pd.DataFrame(list(product(("1", "2"), ("0", "1.5", "3"), ("O0", "O1", "O2"))), columns=["again", *FACTORS])
    soot = data["soot_pct"].astype(float)
    draw = np.random.default_rng(seed)
    ln = 0.3 * soot + bend * (soot - 1.5) ** 2 - 0.2 * (data["oil"] == "O1")
    ln = ln - crossed * ((data["oil"] == "O2") & (soot > 1.0)) + draw.normal(0.0, 0.05, len(data))
    data["wear_um"] = 40.0 * np.exp(ln)
    brief = brief_of(data, FACTORS, "wear_um", scale="log", numeric=("soot_pct",), comparisons=asked, worthwhile=20.0,
                     levels={"soot_pct": ["0", "1.5", "3"]})  # fmt: skip
    return model_fit.fit(brief, runs_of(data, FACTORS, "wear_um"), "wear_um")


def told(fit):
    """What is told of a fit."""
    return in_detail(fit, comparisons.effects(fit), anova.table(fit))


def test_every_table_is_that_of_the_model_and_nothing_counts_as_planned():
    fit = fitted()
    found = told(fit)
    frames = [levels.pairs(fit, name) for name in FACTORS]
    pd.testing.assert_frame_equal(found.pairs, pd.concat(frames, ignore_index=True))
    assert len(found.pairs) == 6 and len(found.against_baseline) == 4
    assert len(found.simple_effects) == 12 and len(found.simple_tests) == 6
    pd.testing.assert_frame_equal(found.shape, polynomials.polynomials(fit, "soot_pct"))
    for table in (found.pairs, found.against_baseline, found.simple_effects, found.shape):
        assert not table["planned"].any()
    assert found.to_json()["interactions_shown"] == ["soot_pct × oil"]


def test_an_interaction_is_shown_when_it_is_asked_for_or_found_and_not_otherwise():
    assert told(fitted()).shown == (("soot_pct", "oil"),)
    quiet = fitted(crossed=0.0)
    assert float(anova.table(quiet).set_index("term").loc["soot_pct × oil", "p_value"]) > 0.05
    assert told(quiet).shown == ()
    asked = fitted(crossed=0.0, asked=(Comparison("depends", interaction=FACTORS),))
    assert told(asked).shown == (("soot_pct", "oil"),)


@pytest.mark.parametrize("bend, word", [(0.2, "below"), (-0.2, "above")])
def test_a_bend_is_told_by_where_the_middle_lies(bend, word):
    fit = fitted(bend=bend, crossed=0.0)
    factor = fit.brief.factor("soot_pct")
    lines = [in_words(row, factor, log=True) for row in told(fit).shape.to_dict("records")]
    # 0.3 a per cent of soot over 3 per cent: the line rises whatever the bend.
    assert lines == [
        "it rises from soot_pct 0 to 3 along the straight line",
        f"it bends: the middle lies {word} the straight line through the ends",
    ]


def test_what_is_not_shown_is_not_called_absent():
    fit = fitted(bend=0.0, crossed=0.0, seed=5)
    factor = fit.brief.factor("soot_pct")
    row = told(fit).shape.iloc[1].to_dict()
    assert row["conf_low"] < 1.0 < row["conf_high"]
    assert in_words(row, factor, log=True) == "a bend is neither shown nor excluded"
    alone = {**row, "conf_low": None, "conf_high": None}
    assert in_words(alone, factor, log=True) == "no error estimate, so nothing is shown"
    missing = {**alone, "estimate": None, "note": "not estimable: no run of soot_pct 3."}
    assert in_words(missing, factor, log=True) == "not estimable: no run of soot_pct 3."
    flat = {**row, "degree": 1}
    assert in_words(flat, factor, log=True) == "neither a rise nor a fall from soot_pct 0 to 3 is shown"
    wave = {**row, "degree": 3, "conf_low": 1.1, "conf_high": 1.2}
    assert in_words(wave, factor, log=True) == "a wave beyond the bend is shown"
