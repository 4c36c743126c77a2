"""Pictures of a plan before it is run, and the tables beside them: what they say is what the figures are."""

from __future__ import annotations

import pandas as pd
import pytest
from matplotlib.patches import Rectangle

from tests.unit.design.test_base import numbers, two_level
from tests.unit.plot import boxes
from toolkit.design import chosen
from toolkit.design.properties import properties
from toolkit.plot import design


@pytest.fixture(scope="module")
def composite():
    """A face-centred plan of three numbers."""
    plan = {"design": "central composite", "axial": "face-centred", "centre_points": 3, "replicates": 1}
    return properties(chosen.main(numbers(3, (10, 20, 30), **plan)).strata)


def test_the_title_says_how_sure_predictions_are(composite):
    ax = design.prediction(composite.prediction, composite.space)
    half, last = composite.prediction["variance"].iloc[50], composite.prediction["variance"].iloc[100]
    assert boxes.title_of(ax) == (
        f"In half of the space a prediction is as sure as the mean of {1 / half:.1f} runs or surer; at worst it is "
        f"better than a single run ({last:.2f} of its variance)"
    )
    assert ax.lines[0].get_ydata().tolist() == composite.prediction["variance"].tolist()
    assert boxes.faults(ax) == []
    alt = design.alt_prediction(composite.prediction, composite.space)
    assert f"{half:.2f} or less in 50 %" in alt and f"{last:.2f} or less in 100 % of the space." in alt


def test_predictions_that_are_all_alike_say_so():
    table = pd.DataFrame({"share": [0.0, 0.5, 1.0], "variance": [0.25, 0.25, 0.25]})
    ax = design.prediction(table, "over the combinations of the levels")
    assert boxes.title_of(ax) == "Everywhere a prediction is as sure as the mean of 4.0 runs"


def test_the_triangle_frames_what_cannot_be_told_apart():
    plan = chosen.main(two_level(4, design="two-level fraction", runs=8, replicates=1, interactions_up_to=2))
    found = properties(plan.strata).correlations
    ax = design.correlations(found)
    frames = [patch for patch in ax.patches if isinstance(patch, Rectangle) and not patch.get_fill()]
    # Of the six interactions of four factors at resolution IV three pairs are one.
    assert len(frames) == 3
    assert [text.get_text() for text in ax.texts].count("1.00") == 3
    assert boxes.title_of(ax) == "3 of 45 pairs of terms cannot be told apart"
    assert boxes.faults(ax) == []
    assert design.alt_correlations(found).endswith("42 pairs have none.")


def test_a_plan_in_which_all_stands_apart_says_so(composite):
    table = composite.correlations.assign(correlation=0.0)
    assert design.triangle_title(table) == "Every term stands apart from every other"
    assert design.triangle_title(composite.correlations) == "3 of 15 pairs go along in part"
