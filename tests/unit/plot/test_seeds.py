"""The picture of many campaigns with the same truth; INVENTED changes."""

import pandas as pd
import pytest

from toolkit.brief.model import Brief, Comparison, Factor, Level, Response
from toolkit.plot import seeds
from toolkit.report.show import figure_png

BRIEF = Brief(
    id="invented",
    question="?",
    seed=1,
    factors=(Factor("oil", "fill", (Level("O0"), Level("O1"))),),
    responses=(Response("wear_um", worthwhile_change_pct=20.0),),
    comparisons=(Comparison("new oil", of={"oil": "O1"}, against={"oil": "O0"}),),
    new_each_run=("fill",),
)
LUCK = pd.DataFrame(
    [
        {
            "comparison": "new oil",
            "campaigns": 1234,
            "true_pct": -30.0,
            "low_5_pct": -45.0,
            "low_25_pct": -25.0,
            "high_75_pct": 25.0,
            "high_95_pct": 45.0,
            "seed": 11,
            "this_pct": -40.0,
        }
    ]
)


def test_lines_diamond_ring_and_band_stand_where_the_numbers_say():
    ax = seeds.spread(LUCK, BRIEF)
    zero, thin, thick, diamond, ring = (line.get_xdata() for line in ax.lines)
    assert list(zero) == [1.0, 1.0]
    assert list(thin) == pytest.approx([0.55, 1.45])
    assert list(thick) == pytest.approx([0.75, 1.25])
    assert list(diamond) == pytest.approx([0.70])
    assert list(ring) == pytest.approx([0.60])
    band = ax.collections[0].get_paths()[0].vertices[:, 0]
    assert (band.min(), band.max()) == pytest.approx((0.8, 1.25))
    assert " ".join(ax.figure.get_suptitle().replace("\u00a0", " ").split()) == (
        "The same truth 1,234 times: chance alone puts 90 % of the answers on 'new oil' anywhere from −45 % to +45 %"
    )
    assert [label.get_text() for label in ax.get_yticklabels()] == ["new oil"]
    assert figure_png(ax.figure)[:4] == b"\x89PNG"


def test_the_text_alternative_tells_the_same_numbers():
    assert seeds.alt_spread(LUCK, BRIEF) == (
        "Changes of wear found in 1,234 campaigns with the same truth. new oil: 90 % of the campaigns find −45 % to "
        "+45 %, true −30 %, with seed 11 −40 %."
    )
