"""Levels against each other: adjustments, families within levels, joint tests, strata, and refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.errors import ModelError
from toolkit.model import families, levels
from toolkit.model.fit import fit

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)


def grid(seed=4, lost=()):
    """A 3 x 2 of four replicates, some rows lost; INVENTED."""
    draw = np.random.default_rng(seed)
    lines = [(a, b) for _ in range(4) for a in ("a0", "a1", "a2") for b in ("b0", "b1")]
    data = pd.DataFrame(lines, columns=["a", "b"]).assign(y=draw.normal(10.0, 1.0, size=24))
    data = data.drop(index=list(lost)).reset_index(drop=True)
    more = {"levels": {"a": ["a0", "a1", "a2"], "b": ["b0", "b1"]}}
    return data, fit(brief_of(data, ["a", "b"], "y", **more), runs_of(data, ["a", "b"], "y"), "y")


def test_within_each_level_a_family_of_its_own():
    data, made = grid()
    cells = data.groupby(["a", "b"])["y"].mean()
    error, df = made.mean_squares["run"]
    found = levels.simple_effects(made, "a", ["b"], every_pair=True, adjust="studentised_range")
    assert len(found) == 6
    critical = stats.studentized_range.ppf(0.95, 3, df) / np.sqrt(2)
    for row in found.to_dict("records"):
        b = row["at"]["b"]
        high, low = (part.split()[1] for part in row["contrast"].split(" at ")[0].split(" against "))
        assert row["estimate"] == pytest.approx(cells[high, b] - cells[low, b], rel=1e-12)
        assert row["conf_high"] - row["estimate"] == pytest.approx(critical * np.sqrt(error / 2), rel=1e-8)
        assert row["note"] == (f"interval and p value count the 3 comparisons of 'all pairs of a at b {b}' together "
                               f"(studentised range, critical value {critical:.3f})")
    plain = levels.simple_effects(made, "a", ["b"])
    assert list(plain["contrast"]) == ["a a1 against a a0 at b b0", "a a2 against a a0 at b b0",
                                       "a a1 against a a0 at b b1", "a a2 against a a0 at b b1"]
    assert list(plain["adjust"]) == ["none"] * 4 and list(plain["note"]) == [""] * 4
    other = levels.against_baseline(made, "a", at={"b": "b1"}, baseline="a2", adjust="holm")
    assert list(other["contrast"]) == ["a a0 against a a2 at b b1", "a a1 against a a2 at b b1"]
    alone = levels.against_baseline(made, "a", at={"b": "b1"}, baseline="a2", adjust="none")
    assert list(other["p_value"]) == families.holm(list(alone["p_value"]))


def test_the_joint_test_is_a_one_way_analysis_with_the_error_of_the_whole():
    data, made = grid(lost=(0, 7))
    error, df = made.mean_squares["run"]
    found = levels.simple_tests(made, "a", ["b"])
    for row in found.to_dict("records"):
        part = data[data["b"] == row["at"]["b"]]
        groups = part.groupby("a")["y"]
        between = (groups.size() * (groups.mean() - part["y"].mean()) ** 2).sum()
        assert row["sum_sq"] == pytest.approx(between, rel=1e-10)
        assert row["f"] == pytest.approx(between / 2 / error, rel=1e-10)
        assert row["p_value"] == pytest.approx(stats.f.sf(between / 2 / error, 2, df), rel=1e-10)
        assert (row["df"], row["error_df"], row["error_stratum"], row["note"]) == (2, df, "run", "")
    assert list(found["contrast"]) == ["any level of a at b b0", "any level of a at b b1"]


def test_the_joint_test_says_what_is_left_of_it():
    # No run of a2, b1, nor (second fit) of a1, b1.
    _, made = grid(lost=(5, 11, 17, 23))
    found = levels.simple_tests(made, "a", ["b"])
    assert (found["df"][1], found["note"][1]) == (1, "only 1 of 2 df can be estimated: combinations are missing")
    pair = levels.simple_effects(made, "a", ["b"]).iloc[2]
    assert found["f"][1] == pytest.approx((pair["estimate"] / pair["std_error"]) ** 2, rel=1e-10)
    _, made = grid(lost=(5, 11, 17, 23, 3, 9, 15, 21))
    found = levels.simple_tests(made, "a", ["b"])
    assert (found["df"][1], found["f"][1], found["sum_sq"][1]) == (0, None, None)
    assert found["note"][1] == (
        "not estimable: no run of a a1, b b1 or a a2, b b1. One run of a a1, b b1 would make it estimable.")


def whole_plots():
    """A coating of three levels changed with the build, two oils within; INVENTED."""
    draw = np.random.default_rng(9)
    lines = [(f"B{at}", f"P{at % 3}", oil) for at in range(9) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=draw.normal(size=18))
    return fit(brief_of(data, ["pin", "oil"], "y", build_level=["pin"]),
               runs_of(data, ["pin", "oil"], "y", build="build"), "y")


def test_each_stratum_judges_its_own_and_a_mixture_has_no_exact_f():
    made = whole_plots()
    assert set(levels.pairs(made, "pin")["error_stratum"]) == {"build"}
    assert set(levels.pairs(made, "oil")["error_stratum"]) == {"run"}
    within = levels.simple_effects(made, "oil", ["pin"])
    assert set(within["error_stratum"]) == {"run"} and set(within["df"]) == {6.0}
    mixed = levels.simple_effects(made, "pin", ["oil"], adjust="multivariate_t")
    assert set(mixed["error_stratum"]) == {"build and run"}
    (row, _) = levels.simple_tests(made, "pin", ["oil"]).to_dict("records")
    assert (row["df"], row["f"]) == (2, None)
    assert row["note"] == "mixes the build and run strata: no exact F; see the comparisons"
    anova = levels.simple_tests(made, "oil", ["pin"])
    assert list(anova["error_df"]) == [6, 6, 6]


def test_without_an_error_there_are_estimates_only():
    data = DATA.iloc[:4]
    made = fit(brief_of(data, ["pin", "oil"], Y), runs_of(data, ["pin", "oil"], Y), Y)
    (row,) = levels.pairs(made, "pin").to_dict("records")
    assert row["estimate"] == pytest.approx((0.079 + 0.066 - 0.101 - 0.094) / 2)
    assert (row["conf_low"], row["p_value"]) == (None, None)
    assert row["note"].startswith("no error estimate, so no interval and no test: repeat runs: each of the 4")
    (test, _) = levels.simple_tests(made, "pin", ["oil"]).to_dict("records")
    assert (test["f"], test["df"], test["note"]) == (None, 1, row["note"])


def test_every_fault_is_named():
    _, made = grid()
    for call, text in (
        (lambda: levels.pairs(made, "a", adjust="tukey"),
         "The levels cannot be compared.\n  adjust: 'tukey'; expected 'none', 'holm', 'multivariate_t' or "
         "'studentised_range'."),
        (lambda: levels.against_baseline(made, "a", baseline="a9", adjust="studentised_range"),
         "The levels cannot be compared.\n  adjust: 'studentised_range'; expected 'none', 'holm' or "
         "'multivariate_t'.\n  baseline of 'a': 'a9'; expected 'a0', 'a1' or 'a2'."),
        (lambda: levels.simple_effects(made, "a", []),
         "The levels cannot be compared.\n  within: no factor was given; expected one or more."),
        (lambda: levels.simple_tests(made, "a", ["a"]),
         "The means cannot be worked out.\n  factor 'a': it is named twice; expected each factor once."),
        (lambda: levels.pairs(made, "c"),
         "The means cannot be worked out.\n  factor 'c': there is no such factor; expected 'a' or 'b'."),
    ):
        with pytest.raises(ModelError) as refused:
            call()
        assert str(refused.value) == text
