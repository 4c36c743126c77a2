"""Latin squares and incomplete blocks on published data, through the fit of a brief with these designs."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pandas as pd
import pytest

from tests.reference.loader import close, load
from tests.unit.briefs import factor, randomised
from toolkit.brief.designs import BALANCED, LATIN
from toolkit.brief.model import Brief, Comparison, PlanChoice, Response
from toolkit.design import incomplete_blocks
from toolkit.model.anova import table
from toolkit.model.comparisons import comparisons, means
from toolkit.model.fit import fit


def brief_of(plan: PlanChoice, levels: list[str], response: str, **more: object) -> Brief:
    """One factor over builds, with every pair of its levels compared."""
    pairs = [(one, two) for at, one in enumerate(levels) for two in levels[at + 1 :]]
    asked = tuple(Comparison(f"{two} - {one}", of={"what": two}, against={"what": one}) for one, two in pairs)
    changes = {
        "factors": (factor("what", *levels),),
        "responses": (Response(response, scale="linear", worthwhile_change=1.0),),
        **{"comparisons": asked, "block_by": "build", "plan": plan},
    }
    return replace(randomised(), **changes, **more)


def test_emissions_by_driver_car_and_additive():
    """Drivers as builds, cars as places in them: Box, Hunter and Hunter's 4 x 4 square."""
    case = load("k03-latin-emissions")
    data = case.data
    runs = pd.DataFrame(
        {
            "run_id": [f"R{at + 1:02d}" for at in range(len(data))],
            "build_id": "B" + data["driver"].astype(str),
            "planned_order": (data["driver"] - 1) * 4 + data["car"],
            "what": data["additive"].astype(str),
            "reduction_pct": data["reduction"].astype(float),
        }
    )
    made = fit(brief_of(PlanChoice(design=LATIN), list("1234"), "reduction_pct"), runs, "reduction_pct")
    lines = table(made).set_index("term")
    expected = case.table("anova")
    names = {"build": "driver", "place in build": "car", "what": "additive", "error (run)": "Residuals"}
    for ours, theirs in names.items():
        assert lines.loc[ours, "df"] == expected.loc[theirs, "df"]
        assert close(lines.loc[ours, "sum_sq"], expected.loc[theirs, "ss"], case)
        assert close(lines.loc[ours, "mean_sq"], expected.loc[theirs, "ms"], case)
    assert close(lines.loc["what", "f"], expected.loc["additive", "F"], case)
    assert close(lines.loc["what", "p_value"], expected.loc["additive", "p"], case)
    assert [lines.loc[name, "sum_sq"] for name in ("build", "place in build", "what")] == pytest.approx([216, 24, 40])
    for row in means(made).to_dict("records"):
        assert close(row["estimate"], case.expected(f"additive_means.{row['contrast'].split()[-1]}"), case)
    for row in comparisons(made).to_dict("records"):
        assert close(row["std_error"], case.expected("se_difference"), case)
        assert row["df"] == 6


# D. C. Montgomery, Design and Analysis of Experiments: time of reaction by catalyst in batches that do for three runs
# each; figures and table from memory.
CATALYST = {
    ("1", 1): 73, ("1", 2): 74, ("1", 4): 71,
    ("2", 2): 75, ("2", 3): 67, ("2", 4): 72,
    ("3", 1): 73, ("3", 2): 75, ("3", 3): 68,
    ("4", 1): 75, ("4", 3): 72, ("4", 4): 75,
}  # fmt: skip


def catalysts() -> pd.DataFrame:
    """The twelve runs."""
    return pd.DataFrame(
        [
            {"run_id": f"R{at:02d}", "build_id": f"B{batch}", "what": catalyst, "time_h": float(value)}
            for at, ((catalyst, batch), value) in enumerate(CATALYST.items(), start=1)
        ]
    )


def test_catalysts_in_batches_of_three():
    """Sums of squares and F as the textbook prints them, differences and efficiency as its formulas give them."""
    brief = brief_of(PlanChoice(design=BALANCED, runs_in_build=3), list("1234"), "time_h")
    made = fit(brief, catalysts(), "time_h")
    lines = table(made, 1).set_index("term")
    assert lines.loc["build", ["df", "sum_sq"]].tolist() == [3, pytest.approx(55.0)]
    assert lines.loc["what", ["df", "sum_sq"]].tolist() == [3, pytest.approx(22.75)]
    assert lines.loc["error (run)", ["df", "sum_sq"]].tolist() == [5, pytest.approx(3.25)]
    assert lines.loc["what", "f"] == pytest.approx(11.67, abs=0.005)
    # Q = T - batch totals / k; effects k Q / (meetings v): -9/8, -7/8, -4/8, 20/8.
    effects = {"1": -9 / 8, "2": -7 / 8, "3": -4 / 8, "4": 20 / 8}
    for row in comparisons(made).to_dict("records"):
        two, one = row["comparison"].split(" - ")
        assert row["estimate"] == pytest.approx(effects[two] - effects[one])
        # Variance 2 k s2 / (meetings v), s2 = 0.65.
        assert row["std_error"] == pytest.approx((2 * 3 * 0.65 / (2 * 4)) ** 0.5)
        assert row["df"] == 5
    assert incomplete_blocks.efficiencies(brief) == {"every two": Fraction(8, 9)}
