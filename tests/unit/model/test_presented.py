"""Comparisons as ratio, per cent and change in the unit: the three agree, and each against its own definition."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.reference.loader import close, load
from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit import stamp
from toolkit.brief.model import Comparison, Family
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit
from toolkit.model.presented import presented

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}),
         Comparison("needs", interaction=("pin", "oil"))]


def made(scale="log", data=DATA, asked=ASKED, **more):
    """The fit of the invented 2x2 in three builds."""
    brief = brief_of(data, ["pin", "oil"], Y, block="build", scale=scale, comparisons=asked, **more)
    return fit(brief, runs_of(data, ["pin", "oil"], Y, build="build"), Y)


def test_medians_and_their_difference_on_the_log_scale():
    found = presented(made()).set_index("comparison")
    plain = comparisons(made()).set_index("comparison")
    ln = np.log(np.array(INVENTED)).reshape(3, 4)
    sides = {"coating": (ln[:, 2:].mean(), ln[:, :2].mean(), 6), "both": (ln[:, 3].mean(), ln[:, 0].mean(), 3)}
    draw = np.random.default_rng(6)
    rest = ln - ln.mean(axis=0) - ln.mean(axis=1, keepdims=True) + ln.mean()
    error = (rest**2).sum() / 6
    for name, (one, base, runs) in sides.items():
        row = found.loc[name]
        assert (row["value"], row["baseline"]) == (pytest.approx(math.exp(one)), pytest.approx(math.exp(base)))
        assert row["change"] == pytest.approx(math.exp(one) - math.exp(base), rel=1e-9)
        assert [row["ratio"], row["ratio_low"], row["change_high_pct"]] == [
            plain.loc[name, key] for key in ("estimate", "conf_low", "change_high_pct")]
        # The two sides share no run, so that their logs are independent given the scatter.
        scale = np.sqrt(draw.chisquare(6, 400_000) / 6)[:, None]
        x = np.array([one, base]) + draw.normal(size=(400_000, 2)) * math.sqrt(error / runs) / scale
        apart = np.exp(x[:, 0]) - np.exp(x[:, 1])
        for key, tail in (("change_low", 0.025), ("change_high", 0.975)):
            assert (apart < row[key]).mean() == pytest.approx(tail, abs=3.24 * np.sqrt(0.025 * 0.975 / 400_000))
        assert (row["measured_in"], row["note"], row["conf_level"]) == ("%", "", 0.95)


def test_ratio_and_per_cent_of_means_on_the_linear_scale():
    found, plain = presented(made("linear")), comparisons(made("linear"))
    for row, own in zip(found.to_dict("records")[:3], plain.to_dict("records"), strict=False):
        assert [row["change"], row["change_low"], row["change_high"]] == [
            own["estimate"], own["conf_low"], own["conf_high"]]
        assert row["ratio"] == pytest.approx(row["value"] / row["baseline"], rel=1e-12)
        assert row["change_low_pct"] == pytest.approx(100 * (row["ratio_low"] - 1), rel=1e-9)
        assert row["ratio_low"] < row["ratio"] < row["ratio_high"]
        assert (row["ratio_high"] < 1.0) is (row["change_high"] < 0.0)


def test_shoe_soles_as_a_ratio():
    case = load("k03-paired-shoe-wear")
    brief = brief_of(case.data, ["material"], "wear", block="boy",
                     comparisons=[simple("A less B", "material", "A", "B")])
    (row,) = presented(fit(brief, runs_of(case.data, ["material"], "wear", build="boy"), "wear")).to_dict("records")
    assert close(row["change"], case.expected("paired.mean_difference"), case)
    assert close(row["change_low"], case.expected("paired.ci95.0"), case)
    wear = case.data.pivot(index="boy", columns="material", values="wear")
    assert (row["value"], row["baseline"]) == (pytest.approx(wear["A"].mean()), pytest.approx(wear["B"].mean()))
    # By definition: A less ratio times B is just not told from 0 with the error of the pairs (boys as fixed blocks,
    # so that each mean has half of the error of the difference).
    error = case.expected("paired.mean_difference") / case.expected("paired.t")
    for ratio in (row["ratio_low"], row["ratio_high"]):
        t = abs(wear["A"].mean() - ratio * wear["B"].mean()) / (error * math.sqrt((1 + ratio**2) / 2))
        assert t == pytest.approx(stats.t.ppf(0.975, 9), rel=1e-9)


@pytest.mark.parametrize("adjust", ["none", "holm", "multivariate_t"])
def test_what_one_interval_excludes_the_others_exclude(adjust):
    draw = np.random.default_rng(17)
    asked = [simple("coating", "pin", "P1", "P0", family="f"), simple("new oil", "oil", "O1", "O0", family="f")]
    outside = 0
    for at in range(12):
        values = np.exp(draw.normal(0, 0.3, size=12) + 0.45 * (DATA["pin"] == "P0"))
        for scale in ("log", "linear"):
            found = presented(made(scale, DATA.assign(**{Y: values}), asked, families=[Family("f", adjust=adjust)]))
            for row in found.to_dict("records"):
                ratio = (row["ratio_low"] > 1.0, row["ratio_high"] < 1.0)
                assert ratio == (row["change_low"] > 0.0, row["change_high"] < 0.0), at
                outside += any(ratio)
    assert 2 < outside < 46


def test_an_interaction_is_told_one_way_only():
    for scale, filled, note in (("log", "ratio", "an interaction is told as a ratio of ratios only"),
                                ("linear", "change", "an interaction is told as a difference of differences only")):
        row = presented(made(scale)).iloc[3]
        other = "change" if filled == "ratio" else "ratio"
        assert row[filled] is not None and row[other] is None and row["value"] is None
        assert row["note"] == note


def test_what_cannot_be_told_is_none_with_its_reason():
    data = DATA[~((DATA["pin"] == "P1") & (DATA["oil"] == "O1"))].reset_index(drop=True)
    row = presented(made(data=data)).iloc[0]
    assert [row[name] for name in ("ratio", "change", "value", "change_pct")] == [None] * 4
    assert row["note"] == "not estimable: no run of pin P1, oil O1. One run of pin P1, oil O1 would make it estimable."
    alone = DATA.iloc[:4]
    for scale in ("log", "linear"):
        brief = brief_of(alone, ["pin", "oil"], Y, scale=scale, comparisons=ASKED[:1])
        row = presented(fit(brief, runs_of(alone, ["pin", "oil"], Y), Y)).iloc[0]
        assert row["ratio"] is not None and row["change"] is not None
        assert [row[name] for name in ("ratio_low", "change_low", "change_high")] == [None] * 3
    small = DATA.assign(**{Y: np.array(INVENTED) - 0.105})
    row = presented(made("linear", small)).iloc[0]
    assert (row["ratio"], row["note"]) == (None, "the baseline's own interval holds 0: no ratio and no per cent")
    assert row["change_low"] is not None
    assert "NaN" not in stamp.canonical(stamp.records(pd.concat([presented(made("linear", small)), presented(made())])))
