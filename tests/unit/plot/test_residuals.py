"""Residual pictures: places of the marks, names of the runs furthest out, lines broken at builds."""

import math

import pandas as pd
import pytest
from scipy import stats

from tests.unit.plot import boxes, example
from toolkit.plot import residuals

BRIEF = example.brief()
FRAME = pd.DataFrame(
    {
        "run_id": [f"R{at:02d}" for at in range(1, 9)],
        "fitted": [math.log(value) for value in (0.11, 0.09, 0.10, 0.07, 0.115, 0.092, 0.098, 0.069)],
        "residual": [0.02, -0.05, 0.01, 0.11, -0.13, 0.03, -0.02, 0.04],
        "studentised": [None] * 8,
        "order": [2.0, 1.0, 3.0, 4.0, 5.0, 6.0, 8.0, 7.0],
        "build": ["B1"] * 4 + ["B2"] * 4,
        "combination": [""] * 8,
    },
    dtype=object,
)
SENTENCES = ["odd run: R05 has the largest residual", "trend with run order: +0.2 % a run"]


def marks(ax):
    """The runs drawn."""
    line = next(item for item in ax.lines if item.get_marker() == "o")
    return list(zip(line.get_xdata(), line.get_ydata(), strict=True))


def test_residuals_stand_over_their_fitted_values_in_per_cent():
    ax = residuals.by_fitted(FRAME, BRIEF, response="elongation_pct")
    assert marks(ax)[0] == pytest.approx((0.11, 2.0))
    assert marks(ax)[4] == pytest.approx((0.115, -13.0))
    assert ax.get_ylabel() == "residual (%, of ln)"
    assert ax.get_xscale() == "log"
    assert {text.get_text() for text in ax.texts} == {"R05", "R04"}


def test_residuals_follow_the_order_with_a_line_for_each_build():
    ax = residuals.by_order(FRAME, BRIEF, response="elongation_pct")
    assert [place for place, _ in marks(ax)] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [value for _, value in marks(ax)][:2] == pytest.approx([-5.0, 2.0])
    lines = [
        list(item.get_xdata()) for item in ax.lines if item.get_marker() in ("None", "") and item.get_linewidth() < 1
    ]
    assert lines == [[1, 2, 3, 4], [5, 6, 7, 8]]


def test_without_an_order_the_axis_says_so():
    ax = residuals.by_order(FRAME.assign(order=None), BRIEF, response="elongation_pct")
    assert ax.get_xlabel() == "row of the table (order not known)"


def test_quantiles_are_those_of_blom():
    # Blom 1958: (i - 3/8) / (n + 1/4); scipy's normal distribution for the quantiles.
    ax = residuals.by_quantile(FRAME, BRIEF, response="elongation_pct")
    expected = [float(stats.norm.ppf((place - 0.375) / 8.25)) for place in range(1, 9)]
    assert [place for place, _ in marks(ax)] == pytest.approx(expected)
    assert [value for _, value in marks(ax)] == sorted(100 * item for item in FRAME["residual"])
    assert ax.get_xlabel() == "normal quantile, n = 8 runs"


def test_on_the_linear_scale_residuals_keep_their_unit():
    brief = example.brief(scale="linear", name="torque_Nm")
    ax = residuals.by_fitted(FRAME, brief, response="torque_Nm")
    assert ax.get_ylabel() == "residual (N·m)"
    assert marks(ax)[0] == pytest.approx((math.log(0.11), 0.02))


def test_the_panel_has_three_pictures_and_nothing_collides():
    made = residuals.panel(FRAME, BRIEF, response="elongation_pct", sentences=SENTENCES)
    assert len(made) == 3
    assert boxes.title_of(made[0]) == "; ".join(SENTENCES)
    assert boxes.faults(made[0]) == []
    alt = residuals.alt_panel(FRAME, BRIEF, response="elongation_pct", sentences=SENTENCES)
    assert alt.endswith("trend with run order: +0.2 % a run. R01 +2.0, R02 −5.0, R03 +1.0, R04 +11, R05 −13, "
                        "R06 +3.0, R07 −2.0, R08 +4.0.")  # fmt: skip


def test_the_number_of_a_run_lies_on_no_mark_of_another_one():
    # The two lowest residuals are nearly alike: their marks stand beside each other in every picture.
    close = FRAME.assign(residual=[0.02, -0.132, 0.01, 0.11, -0.13, 0.03, -0.02, 0.04], order=[3, 4, 1, 2, 5, 6, 8, 7])
    made = residuals.panel(close, BRIEF, response="elongation_pct")
    made[0].figure.canvas.draw()
    for ax in made:
        rings = [ax.transData.transform(place) for place in marks(ax)]
        names = [text.get_window_extent() for text in ax.texts if text.get_text() in ("R02", "R05")]
        assert len(names) == 2
        assert [ring.tolist() for ring in rings for box in names if box.contains(*ring)] == []
        assert not names[0].overlaps(names[1])


ENVELOPE = pd.DataFrame(
    {
        "place": range(1, 9),
        "low": [-0.12, -0.1, -0.06, -0.04, -0.02, 0.0, 0.02, 0.05],
        "middle": [-0.09, -0.06, -0.03, -0.01, 0.01, 0.03, 0.06, 0.09],
        "high": [-0.05, -0.02, 0.0, 0.02, 0.04, 0.06, 0.1, 0.12],
    }
)


def test_the_band_of_drawn_campaigns_lies_behind_the_quantiles():
    ax = residuals.by_quantile(FRAME, BRIEF, response="elongation_pct", envelope=ENVELOPE)
    edges = {tuple(line.get_ydata()) for line in ax.lines if line.get_linestyle() == "--"}
    assert edges == {tuple(100 * ENVELOPE["low"]), tuple(100 * ENVELOPE["high"])}
    assert ax.get_xlabel() == (
        "normal quantile, n = 8 runs\nband: 95 % of campaigns drawn\nwithout anything odd, place by place"
    )
    made = residuals.panel(FRAME, BRIEF, response="elongation_pct", sentences=SENTENCES, envelope=ENVELOPE)
    assert boxes.faults(made[0]) == []


def test_the_text_names_the_runs_outside_the_band():
    given = {"response": "elongation_pct", "sentences": SENTENCES}
    # The smallest is R05 at -0.13, below -0.12; all others lie inside.
    assert residuals.alt_panel(FRAME, BRIEF, envelope=ENVELOPE, **given).endswith(
        "R08 +4.0. Outside the band of drawn campaigns: R05."
    )
    inside = ENVELOPE.assign(low=ENVELOPE["low"] - 0.02)
    assert residuals.alt_panel(FRAME, BRIEF, envelope=inside, **given).endswith("campaigns: no run.")
    assert "band" not in residuals.alt_panel(FRAME, BRIEF, envelope=ENVELOPE.iloc[:0], **given)


def test_builds_are_named_above_their_stretch_while_there_are_few():
    ax = residuals.by_order(FRAME, BRIEF, response="elongation_pct")
    assert {text.get_text() for text in ax.texts} == {"R04", "R05", "B1", "B2"}
    many = FRAME.assign(build=[f"B{at}" for at in range(8)])
    shown = {text.get_text() for text in residuals.by_order(many, BRIEF, response="elongation_pct").texts}
    assert shown == {"R04", "R05"}


def test_a_long_title_counts_the_checks_that_found_nothing():
    told = "SD today 10 %, changed 12 % (p = 0.4): no more than chance allows"
    quiet = [f"scatter by factor_{at}: {told}" for at in range(9)]
    seen = "trend with run order: +3 % a run (p = 0.001): look for drift of the rig, the oil or the gauge"
    assert residuals.heading(quiet[:3]) == "; ".join(quiet[:3])
    title = residuals.heading([*quiet[:4], seen, *quiet[4:]])
    assert title == f"{seen}; nothing seen by 9 further checks"
    assert residuals.heading(quiet) == "nothing seen by 9 checks"
    made = residuals.panel(FRAME, BRIEF, response="elongation_pct", sentences=quiet)
    assert boxes.title_of(made[0]) == "Elongation: nothing seen by 9 checks"
    assert residuals.heading([]) == ""
