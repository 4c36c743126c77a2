"""What verdicts of fractions and of values below a limit say that they rest on; INVENTED values, chains by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from tests.unit.design.test_base import two_level
from toolkit.brief.model import Covariate, Response
from toolkit.decide import as_far_as, verdict
from toolkit.decide.answered import answered
from toolkit.decide.before_deciding import before_deciding
from toolkit.decide.next_runs import next_runs
from toolkit.design import alias_words, chosen, strata
from toolkit.model import below_limit, comparisons
from toolkit.model.fit import fit

Y = "wear_um"
FINDINGS = ["severity", "run_id", "part_id", "column", "rule", "found", "expected", "action"]


def brief_of(count=5, **plan):
    """Factors at two levels, wear on its own scale, worthwhile from 1 µm."""
    asked = Response(Y, per_run="value", scale="as measured", worthwhile_change=1.0)
    return replace(two_level(count, **plan), responses=(asked,))


def runs_of(brief, effects, sd=0.2, seed=4):
    """Runs of the plan with these effects, high less low, of single factors or products."""
    table = chosen.main(brief).table.reset_index(drop=True)
    signs = {name: np.where(table[name] == "1", 1.0, -1.0) for name in brief.factor_names}
    y = 20.0 + np.random.default_rng(seed).normal(0.0, sd, len(table))
    for term, size in effects.items():
        y = y + size / 2.0 * np.prod([signs[name] for name in term], axis=0)
    return table.assign(run_id=[f"R{at:02d}" for at in range(len(table))], phase="main", verdict="valid", **{Y: y})


def records_of(brief, runs):
    """Records that hold these runs and no findings."""
    none = pd.DataFrame()
    held = {"runs": runs, "findings": pd.DataFrame(columns=FINDINGS), "stations": none, "readings": none}
    return SimpleNamespace(brief=brief, **held, _frames=SimpleNamespace(**held))


def told(brief, runs, sealed=()):
    """What is answered, and the table before deciding."""
    waiting = pd.DataFrame(columns=["run_id", "verdict", "responses"])
    records = records_of(brief, runs)
    item = answered(brief, records, Y, waiting, sealed_covariates=sealed)
    return item, before_deciding(brief, {Y: item}, records, SimpleNamespace(power=pd.DataFrame()))


EIGHT = brief_of(design="two-level fraction", runs=8, replicates=2)


def chain(brief, name="pin"):
    """The two-factor interactions that a main effect stands for, from the levels of the runs themselves."""
    table = chosen.main(brief).table
    names = list(brief.factor_names)
    signs = {one: np.where(table[one] == "1", 1, -1) for one in names}
    pairs = [(a, b) for at, a in enumerate(names) for b in names[at + 1 :]]
    return [pair for pair in pairs if abs((signs[pair[0]] * signs[pair[1]]) @ signs[name]) == len(table)]


@pytest.mark.parametrize(
    ("note", "expected"),
    [
        ("", ""),
        ("a difference of differences", ""),
        ("stands for aa + bb × dd: these runs cannot tell them apart", "as far as bb × dd is nil"),
        (
            "a; stands for aa − 1/3 bb × dd + a part of cc × ee − ff × gg: these runs cannot tell them apart",
            "as far as bb × dd, cc × ee and 1 more are nil",
        ),
        (
            "takes aa × bb and bb × cc as nil, which these runs do not tell by itself",
            "as far as aa × bb and bb × cc are nil",
        ),
        (
            "aa takes in a part of 15 interactions of two factors, 0.33 of one at most",
            "as far as the 15 interactions of two factors that aa takes in a part of are nil",
        ),
    ],
)
def test_what_must_be_nil_is_read_from_the_note(note, expected):
    assert as_far_as.nil(note) == expected


def test_a_gain_that_may_be_an_interaction_names_it_in_its_sentence_and_is_not_called_settled():
    pairs = chain(EIGHT)
    assert len(pairs) == 2
    names = " and ".join(f"{a} × {b}" for a, b in pairs)
    runs = runs_of(EIGHT, {pairs[0]: 4.0})
    fitted = fit(EIGHT, runs, Y)
    judged = verdict.verdicts(comparisons.comparisons(fitted), EIGHT)
    (sentence,) = judged["sentence"]
    assert " is shown, and that it goes beyond 1 µm" in sentence
    assert sentence.endswith(f", as far as {names} are nil.")
    assert next_runs(fitted, judged).sentence == (
        f"wear_um: every comparison is settled, but 'pin' as far as {names} are nil: only runs of combinations that "
        "were not run can tell it from what is taken as nil."
    )
    interim = verdict.verdicts(comparisons.comparisons(fitted), EIGHT, interim="7 of 16 runs")["sentence"][0]
    assert "as far as" not in interim


def test_a_full_factorial_and_a_clear_effect_say_nothing_of_it():
    clear = brief_of(6, design="two-level fraction", runs=16, resolution=4, replicates=2)
    for brief in (brief_of(2, design="full factorial", replicates=4), clear):
        fitted = fit(brief, runs_of(brief, {("pin",): -4.0}), Y)
        judged = verdict.verdicts(comparisons.comparisons(fitted), brief)
        assert judged["sentence"][0].endswith("; a decrease is shown, and that it goes beyond 1 µm.")
        assert next_runs(fitted, judged).sentence == (
            "wear_um: every comparison is settled; no further run is needed for them."
        )


def test_an_average_names_the_other_interaction_that_it_may_be():
    brief = brief_of(6, design="two-level fraction", runs=16, resolution=4, replicates=2)
    runs = runs_of(brief, {("pin", brief.factor_names[1]): 4.0})
    lines = [one for one in alias_words.of_strata(strata.of_runs(brief, runs)) if len(one.term) == 2 and one.others]
    line = next(one for one in lines if one.term == ("pin", brief.factor_names[1]))
    others = [f"{a} on {b}" for (a, b), _ in line.others]
    _, table = told(brief, runs)
    (sentence,) = table[table["kind"] == "average"]["sentence"]
    other = line.term[1]
    assert sentence.startswith(f"pin (wear): pin depends on {other}, or {', or '.join(others)} (p = ")
    assert sentence.endswith(
        f"), and these runs cannot tell which. If it is the first, pin is an average over {other}: read it level by "
        "level."
    )


def test_values_below_a_limit_keep_the_chain():
    runs = runs_of(EIGHT, {chain(EIGHT)[0]: 4.0})
    limit = float(np.sort(runs[Y])[2]) + 1e-6
    runs = runs.assign(**{f"{Y}_below_limit": runs[Y] < limit, Y: np.maximum(runs[Y], limit)})
    row = below_limit.comparisons(EIGHT, runs, Y).comparisons.iloc[0]
    (line,) = [one for one in alias_words.of_strata(strata.of_runs(EIGHT, runs)) if one.term == ("pin",)]
    assert row["note"] == (
        f"likelihood with values below their limit; stands for {line.chain}: these runs cannot tell them apart"
    )


def test_a_sealed_covariate_left_out_and_an_open_end_are_named():
    brief = replace(
        brief_of(1, design="full factorial", replicates=6), covariates=(Covariate("hard_HV", before_run=True),)
    )
    runs = runs_of(brief, {("pin",): -6.0}).assign(hard_HV=np.arange(12.0) + 700.0)
    treated = runs["pin"] == "1"
    runs = runs.assign(**{Y: np.where(treated, 18.5, runs[Y]), f"{Y}_below_limit": treated})
    left = "not adjusted for hard: values below the limit"
    item, table = told(brief, runs, sealed=("hard_HV",))
    assert item.verdicts["sentence"][0].endswith(
        f" is shown, and that it goes beyond 1 µm; the end is held less well than 95 %: values below the limit; {left}."
    )
    assert item.fit.notes[-1] == left and item.comparisons["note"][0].endswith(f"; {left}")
    assert list(table["sentence"]) == [f"wear: the verdicts are {left}."]
    assert list(table["kind"]) == ["not adjusted"]
    plain, nothing = told(brief, runs)
    assert "not adjusted" not in plain.verdicts["sentence"][0] and nothing.empty


def test_another_fraction_of_the_same_size_lacks_nothing_and_a_lost_combination_is_asked_for():
    runs = runs_of(EIGHT, {})
    # The other half of one generator: the last factor turned over.
    last = EIGHT.factor_names[-1]
    turned = runs.assign(**{last: np.where(runs[last] == "1", "0", "1")})
    for given in (runs, turned):
        assert "missing combination" not in list(fit(EIGHT, given, Y).findings["rule"])
    first = runs.iloc[0][list(EIGHT.factor_names)]
    lost = runs[~np.all(runs[list(EIGHT.factor_names)] == first, axis=1)]
    (row,) = [one for one in fit(EIGHT, lost, Y).findings.to_dict("records") if one["rule"] == "missing combination"]
    assert row["expected"] == "at least one valid run of every combination of the plan"
    assert row["action"] == (
        "what needs it is marked not estimable. Run it; or compare only combinations that were run"
    )
