"""The model in words, as an equation and as a formula that patsy can read to the same columns."""

import dataclasses

import numpy as np
import pandas as pd
import patsy

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of
from toolkit.brief.model import CENTRE
from toolkit.decide import stated
from toolkit.model import fit as model_fit

FACTORS = ("pin", "oil")


def fitted(data, factors=FACTORS, *, build=None, response="elongation_pct", centres=0, **more):
    """A fit of these runs."""
    brief = brief_of(data, factors, response, scale="log", **more)
    brief = dataclasses.replace(brief, plan=dataclasses.replace(brief.plan, centre_points=centres))
    return model_fit.fit(brief, runs_of(data, factors, response, build=build), response)


def blocks(**more):
    """The INVENTED 2x2 with its builds as blocks."""
    return fitted(pin_by_oil(INVENTED), build="build", block=True, **more)


def rank(columns):
    """The rank of a matrix."""
    return int(np.linalg.matrix_rank(columns, tol=1e-9))


def same_space(fit, model, frame):
    """True when patsy's columns of the formula span those of the fit."""
    made = np.asarray(patsy.dmatrix(model.formula.partition("~")[2], frame))
    own = fit.strata.full_columns
    return rank(made) == rank(own) == rank(np.hstack([made, own]))


def test_blocks_in_words_equation_and_formula():
    fit = blocks()
    model = stated.stated(fit, ["build", "pin", "oil"])
    assert model.words == (
        "The ln of elongation of a run is a common level, plus what its build adds, plus what pin and oil add, plus "
        "what they add together beyond that (pin × oil), plus an error of the run itself. Errors are taken to be "
        "independent, normal and of one size in all runs."
    )
    assert model.equation == "ln(elongation) = mean + build + pin + oil + pin × oil + error (run)"
    assert model.formula == "y ~ C(b, Sum) + C(x1, Sum) + C(x2, Sum) + C(x1, Sum):C(x2, Sum)"
    assert model.names == {"y": "ln(elongation)", "b": "build, as block", "x1": "pin", "x2": "oil"}
    runs = fit.strata.runs
    frame = pd.DataFrame({"b": runs["build_id"], "x1": runs["pin"], "x2": runs["oil"]})
    assert same_space(fit, model, frame)
    assert model.terms[["term", "df", "planned"]].to_numpy().tolist() == [
        ["build", 2, True], ["pin", 1, True], ["oil", 1, True], ["pin × oil", 1, False],
    ]  # fmt: skip


def test_without_a_plan_no_term_counts_as_planned_or_as_late():
    assert list(stated.stated(blocks()).terms["planned"]) == [None] * 4
    assert [stated.planned_word(item) for item in (True, False, None)] == ["planned", "added later", "no sealed plan"]


def test_an_interaction_declared_nil_is_named_and_left_out():
    model = stated.stated(blocks(nil=[("pin", "oil")]))
    assert model.equation == "ln(elongation) = mean + build + pin + oil + error (run)"
    assert model.words.endswith(" Declared nil, and so not in it: pin × oil.")


def test_whole_plots_have_an_error_of_the_build():
    names = [f"{pin}-{at // 2}" for at, pin in enumerate(["P0", "P0", "P1", "P1"] * 3)]
    data = pin_by_oil(INVENTED).assign(build=names)
    model = stated.stated(fitted(data, build="build", build_level=("pin",)))
    assert model.equation == "ln(elongation) = mean + pin + error (build) + oil + pin × oil + error (run)"
    assert "plus an error of its build, plus an error of the run itself." in model.words
    assert "(one size for each kind of unit)" in model.words
    assert list(model.terms["stratum"]) == ["build", "run", "run"]


def test_centre_points_are_a_term_of_their_own():
    given = pin_by_oil(INVENTED)
    data = pd.DataFrame({"speed_rpm": given["pin"].map({"P0": "1500", "P1": "3000"}), "oil_pct":
                         given["oil"].map({"O0": "1", "O1": "3"}), "wear_um": given["elongation_pct"]})  # fmt: skip
    middle = pd.DataFrame({"speed_rpm": [CENTRE] * 3, "oil_pct": [CENTRE] * 3, "wear_um": [0.09, 0.085, 0.092]})
    data = pd.concat([data, middle], ignore_index=True)
    names = ("speed_rpm", "oil_pct")
    two = {"speed_rpm": ["1500", "3000"], "oil_pct": ["1", "3"]}
    fit = fitted(data, names, response="wear_um", levels=two, numeric=names, centres=3)
    model = stated.stated(fit, ["speed_rpm", "oil_pct", "speed_rpm × oil_pct"])
    assert model.formula == "y ~ x1 + x2 + x1:x2 + centre"
    codes = {"1500": 1.0, "3000": -1.0, "1": 1.0, "3": -1.0, CENTRE: 0.0}
    runs = fit.strata.runs
    frame = pd.DataFrame({"x1": runs["speed_rpm"].map(codes), "x2": runs["oil_pct"].map(codes)})
    assert same_space(fit, model, frame.assign(centre=(runs["oil_pct"] == CENTRE).astype(float)))
    assert model.terms[model.terms["term"] == "curvature"]["planned"].tolist() == [False]


def test_names_that_people_wrote_never_get_into_the_formula():
    fit = blocks()
    factors = tuple(dataclasses.replace(item, name=f"{item.name}) + __import__('os')") for item in fit.brief.factors)
    # The brief alone is renamed: the formula is put together from places, not from names.
    safe = {factor.name: f"x{at}" for at, factor in enumerate(factors, start=1)}
    assert stated._code(safe, tuple(safe), centre=False) == "C(x1, Sum):C(x2, Sum)"
    assert "import" not in stated.stated(fit).formula
