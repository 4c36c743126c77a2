"""The picture of two responses: what is drawn where, what is left out, and that its words are those of the table."""

import dataclasses

import pandas as pd
import pytest

from tests.unit.plot import boxes, example
from toolkit.brief.model import Response
from toolkit.plot import together

PAIRS = [("P0", "O0"), ("P0", "O1"), ("P1", "O0"), ("P1", "O1")] * 2
RUNS = pd.DataFrame(
    {
        "run_id": [f"R{at:02d}" for at in range(1, 9)],
        "build_id": ["B1"] * 4 + ["B2"] * 4,
        "pin": [pin for pin, _ in PAIRS],
        "oil": [oil for _, oil in PAIRS],
        "elongation_pct": [0.14, 0.12, 0.10, 0.07, 0.12, 0.11, 0.09, 0.08],
        "fe_ppm": [44.0, 36.0, 38.0, 30.0, 37.0, 35.0, 33.0, 34.0],
    }
)
ROW = {
    "response": "elongation_pct",
    "other": "fe_ppm",
    "correlation": 0.8,
    "conf_low": -0.016,
    "conf_high": 0.98,
    "conf_level": 0.95,
    "runs": 8,
    "df": 3,
    "sentence": "elongation_pct and Fe_ppm: within treatments r = 0.80 (95 % interval -0.02 to 0.98, 8 runs); whether "
    "they go together run by run is not known from these runs",
}
FINDING = (
    "Elongation and Fe within treatments: r = 0.80 (95 % interval −0.02 to 0.98, n = 8 runs); whether they go together "
    "run by run is not known from these runs"
)


def brief(**other):
    """The example with iron as a second response."""
    made = example.brief()
    iron = Response("fe_ppm", role="secondary", **{"scale": "log", "worthwhile_change_pct": 25.0} | other)
    return dataclasses.replace(made, responses=(*made.responses, iron))


def rest(values, runs=RUNS):
    """Residuals of these runs."""
    return pd.DataFrame({"run_id": runs["run_id"], "residual": values}, dtype=object)


ONE = rest([0.02, -0.05, 0.01, 0.02, -0.13, 0.05, 0.04, 0.04])
OTHER = rest([0.05, 0.01, 0.0, -0.06, -0.05, -0.01, 0.02, 0.04])


def marks(ax):
    """What is drawn with a marker, a point a run."""
    lines = [item for item in ax.lines if item.get_linestyle() == "None"]
    return {(float(x), float(y)) for line in lines for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)}


def test_the_runs_stand_as_measured_and_as_what_is_left_of_them():
    left, right = together.together(ROW, RUNS, ONE, OTHER, brief())
    assert marks(left) == set(zip(RUNS["elongation_pct"], RUNS["fe_ppm"], strict=True))
    # Residuals of ln are shown in per cent.
    assert marks(right) == {(100.0 * x, 100.0 * y) for x, y in zip(ONE["residual"], OTHER["residual"], strict=True)}
    assert (left.get_xlabel(), left.get_ylabel()) == ("elongation (%), log scale", "Fe (mg/kg), log scale")
    assert right.get_xlabel() == "residual of elongation (%, of ln)"
    assert right.get_ylabel() == "residual of Fe (%, of ln)"
    assert {text.get_text() for text in right.texts} == {"R05", "R04"}
    assert boxes.title_of(left) == FINDING
    assert len({(line.get_marker(), line.get_markeredgecolor()) for line in left.lines}) == 4
    assert boxes.faults(left) == []


def test_a_run_without_one_of_them_is_left_out():
    fewer = RUNS.assign(fe_ppm=[None, 36.0, 38.0, 30.0, 37.0, 35.0, 33.0, 34.0])
    left, right = together.together(ROW, fewer, ONE, OTHER.iloc[2:], brief(scale="linear", worthwhile_change_pct=None))
    assert marks(left) == set(zip(RUNS["elongation_pct"][2:], RUNS["fe_ppm"][2:], strict=True))
    assert (left.get_xscale(), left.get_yscale()) == ("log", "linear")
    assert right.get_ylabel() == "residual of Fe (mg/kg)"
    assert (1.0, 0.0) in marks(right) and (4.0, 0.04) in marks(right)


def test_the_text_tells_every_run_and_the_finding():
    text = together.alt_together(ROW, RUNS, ONE, OTHER, brief())
    assert text.startswith(f"{FINDING}. Runs with elongation and Fe: R01 (pin P0, oil O0) 0.140 % and 44.0 mg/kg; R02")
    assert text.endswith("R08 (pin P1, oil O1) 0.0800 % and 34.0 mg/kg.")


def test_without_a_correlation_the_title_says_why():
    none = ROW | dict.fromkeys(("correlation", "conf_low", "conf_high"))
    told = "whether they go together run by run is not told with 3 degrees of freedom"
    none["sentence"] = f"elongation_pct and Fe_ppm: {told}"
    left, _ = together.together(none, RUNS, ONE, OTHER, brief())
    assert boxes.title_of(left) == f"Elongation and Fe: {told}"


@pytest.mark.parametrize("names", [("P0", "P1"), ("ground steel of another supplier", "nitride-coated, batch of May")])
def test_long_names_of_levels_lie_apart(names):
    asked = brief()
    pin = dataclasses.replace(asked.factors[0], levels=tuple(example.Level(name) for name in names))
    runs = RUNS.assign(pin=[dict(zip(("P0", "P1"), names, strict=True))[name] for name in RUNS["pin"]])
    asked = dataclasses.replace(asked, factors=(pin, asked.factors[1]))
    assert boxes.faults(together.together(ROW, runs, ONE, OTHER, asked)[0]) == []


def test_marks_tell_the_first_and_the_last_factor_of_many():
    asked = brief()
    extra = tuple(
        dataclasses.replace(asked.factors[0], name=f"factor_{at}", levels=(example.Level("low"), example.Level("high")))
        for at in range(5)
    )
    asked = dataclasses.replace(asked, factors=(asked.factors[0], *extra, asked.factors[1]))
    runs = RUNS.assign(**{item.name: ["low", "high"] * 4 for item in extra})
    left, right = together.together(ROW, runs, ONE, OTHER, asked)
    (key,) = left.figure.legends
    assert [text.get_text() for text in key.get_texts()] == [f"pin {pin}, oil {oil}" for pin, oil in PAIRS[:4]]
    assert len(marks(right)) == 8
    assert boxes.faults(left) == []
