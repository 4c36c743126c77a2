"""The picture of comparisons: what is drawn where, what is said, and that nothing lies on anything."""

import numpy as np
import pytest

from tests.unit.plot import boxes, example
from toolkit.plot import answers, effects, look


def drawn(names=example.SHORT, count=4, **changed):
    """The picture of an example brief with its frames."""
    brief = example.brief(names, count, **changed)
    frame, verdicts = example.comparisons(brief), example.verdicts(brief)
    return effects.comparisons(frame, verdicts, brief, runs=12), frame, verdicts, brief


@pytest.mark.parametrize("names", [example.SHORT, example.LONG], ids=["short", "long"])
@pytest.mark.parametrize("count", [1, 2, 4, 7])
@pytest.mark.parametrize("scale", ["log", "linear"])
def test_no_text_lies_on_another_or_is_cut(names, count, scale):
    name = "elongation_pct" if scale == "log" else "elongation_um"
    assert boxes.faults(drawn(names, count, scale=scale, name=name)[0]) == []


def test_estimates_and_intervals_stand_where_the_table_says():
    ax, frame, _, _ = drawn(count=4)
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    bars = [line for line in ax.lines if line.get_marker() in ("None", "") and len(set(line.get_ydata())) == 1]
    assert [float(line.get_xdata()[0]) for line in marks] == list(frame["estimate"])
    assert [tuple(line.get_xdata()) for line in bars] == list(zip(frame["conf_low"], frame["conf_high"], strict=True))
    assert [float(line.get_ydata()[0]) for line in marks] == list(ax.get_yticks())
    assert ax.get_xscale() == "log"


def test_the_band_reaches_from_the_worthwhile_gain_to_the_loss_of_the_same_size():
    ax, _, _, _ = drawn(count=4)
    for band in ax.collections:
        edges = band.get_paths()[0].vertices[:, 0]
        assert (edges.min(), edges.max()) == pytest.approx((0.8, 1.25))
        assert np.allclose(band.get_facecolor()[0][:3], [0xDD / 255] * 3)
    assert len(ax.collections) == 4


def test_rows_stand_in_the_order_of_the_brief_from_the_top():
    ax, _, _, brief = drawn(count=4)
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        "coating", "new oil", "both", "film (ratio of ratios)"
    ]  # fmt: skip
    bottom, top = ax.get_ylim()
    assert bottom > top == 0
    assert len(brief.comparisons) == 4


def test_verdict_words_and_numbers_stand_beside_each_row():
    ax, _, _, _ = drawn(count=2)
    assert [text.get_text() for text in ax.texts] == [
        "worthwhile gain\n−40 % (−51 to −27 %)",
        "not known yet\n−15 % (−33 to +9 %)",
    ]


def test_the_axis_says_quantity_better_interval_band_and_runs():
    assert drawn(count=2)[0].get_xlabel() == (
        "← better    change of elongation, log scale    worse →\n"
        "bars: 95 % interval; grey: too small to matter (−20 to +25 %); n = 12 runs"
    )
    ax = drawn(count=2, better="larger", scale="linear", name="torque_Nm")[0]
    assert ax.get_xlabel() == (
        "← worse    change of torque (N·m)    better →\n"
        "bars: 95 % interval; grey: too small to matter (−2 to +2 N·m); n = 12 runs"
    )


def test_the_title_states_the_finding():
    assert boxes.title_of(drawn(count=2)[0]) == "Elongation: coating – worthwhile gain; new oil – not known yet"
    assert boxes.title_of(drawn(count=7)[0]) == (
        "Elongation, 7 comparisons: 1 worthwhile gain; 1 gain, size not settled; 1 smaller than worthwhile; "
        "2 not known yet; 1 loss, size not settled; 1 worthwhile loss"
    )


def test_verdicts_that_are_all_alike_are_counted():
    _, frame, verdicts, brief = drawn(count=4)
    alike = verdicts.assign(verdict="not known yet")
    assert boxes.title_of(effects.comparisons(frame, alike, brief)) == "Elongation, 4 comparisons: 4 not known yet"


def test_the_alt_text_tells_the_same_numbers():
    _, frame, verdicts, brief = drawn(count=2)
    assert effects.alt_comparisons(frame, verdicts, brief, runs=12) == (
        "Changes of elongation, n = 12 runs, against the band of changes too small to matter. "
        "coating: −40 % (95 % interval −51 to −27 %), worthwhile gain. "
        "new oil: −15 % (95 % interval −33 to +9 %), not known yet."
    )


def test_a_picture_in_which_nothing_is_estimable_says_so_on_top():
    brief = example.brief(count=2)
    frame = example.comparisons(brief).astype(object)
    frame.loc[:, ["estimate", "conf_low", "conf_high", "std_error", "df", "p_value", "conf_level"]] = None
    verdicts = example.verdicts(brief).assign(verdict="not estimable")
    ax = effects.comparisons(frame, verdicts, brief, runs=12)
    assert boxes.title_of(ax) == "None of 2 comparisons of elongation can be estimated"
    ax = effects.comparisons(frame[:1], verdicts[:1], brief, runs=12)
    assert boxes.title_of(ax) == "No comparison of elongation can be estimated"


def test_what_is_not_estimable_keeps_its_row_without_a_mark():
    brief = example.brief(count=2)
    frame = example.comparisons(brief).astype(object)
    frame.loc[1, ["estimate", "conf_low", "conf_high", "std_error", "df", "p_value", "conf_level"]] = None
    verdicts = example.verdicts(brief).replace("not known yet", "not estimable")
    ax = effects.comparisons(frame, verdicts, brief, runs=12)
    assert [text.get_text().split("\n")[0] for text in ax.texts] == ["worthwhile gain", "not estimable"]
    assert len([line for line in ax.lines if line.get_marker() == "o"]) == 1
    assert boxes.faults(ax) == []
    assert "new oil: not estimable" in effects.alt_comparisons(frame, verdicts, brief)


def test_an_estimate_without_an_interval_has_a_mark_and_no_bar():
    brief = example.brief(count=1)
    frame = example.comparisons(brief).astype(object)
    frame.loc[0, ["conf_low", "conf_high", "std_error", "df", "p_value", "conf_level"]] = None
    ax = effects.comparisons(frame, example.verdicts(brief), brief)
    assert ax.texts[0].get_text() == "worthwhile gain\n−40 % (no interval)"
    assert [line.get_marker() for line in ax.lines if len(line.get_xdata()) == 2] == ["None"]


def test_a_huge_interval_still_has_readable_ticks():
    brief = example.brief(count=1)
    frame = example.comparisons(brief)
    frame[["conf_low", "conf_high", "std_error"]] = [[1e-7, 5e6, 1.3]]
    ax = effects.comparisons(frame, example.verdicts(brief), brief, runs=3)
    assert boxes.faults(ax) == []
    assert 3 <= len(ax.get_xticks()) <= 9


def test_it_draws_on_the_axes_it_is_given():
    ax = look.grid(12.0, 4.0, 2)[1]
    brief = example.brief(count=2)
    assert effects.comparisons(example.comparisons(brief), example.verdicts(brief), brief, ax=ax) is ax
    assert ax.get_title(loc="left").startswith("Elongation: coating")


def test_an_interim_picture_says_so_and_settles_nothing():
    brief = example.brief(count=4)
    frame = example.comparisons(brief)
    verdicts = example.verdicts(brief).assign(verdict="interim, no claim", interim="7 of 12 runs")
    ax = effects.comparisons(frame, verdicts, brief, runs=7)
    title = ax.figure.get_suptitle().replace("\n", " ")
    assert title == "INTERIM, 7 of 12 runs: changes of elongation so far, no claims"
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    assert {str(line.get_markerfacecolor()) for line in marks} == {"white"}
    assert {line.get_color() for line in marks} == {look.INK}
    said = [text.get_text() for text in ax.texts]
    assert len(said) == 4 and all(text.startswith("interim, no claim\n") for text in said)
    alt = effects.alt_comparisons(frame, verdicts, brief, runs=7)
    assert alt.startswith("Interim, 7 of 12 runs: changes of elongation, n = 7 runs, against the band")
    assert boxes.faults(ax) == []


def test_an_interaction_without_an_interval_says_so():
    brief = example.brief(count=4)
    frame = example.comparisons(brief).assign(conf_low=None, conf_high=None, std_error=None)
    row = answers.of(frame, example.verdicts(brief), brief)[3]
    told = effects.interaction_words(row, brief.comparisons[3], brief)
    assert told.endswith("times that at oil O0 (no interval) – smaller than worthwhile")
