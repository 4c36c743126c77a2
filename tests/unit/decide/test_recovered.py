"""Differences between builds counted beside the verdicts: against generalised least squares written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.reference.test_blocked_designs import brief_of, catalysts
from tests.unit.briefs import blocked
from toolkit.brief.designs import BALANCED, FULL
from toolkit.brief.model import PlanChoice
from toolkit.decide.otherwise import otherwise
from toolkit.decide.recovered import BASIS, recovered
from toolkit.decide.verdict import verdicts
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit

BRIEF = brief_of(PlanChoice(design=BALANCED, runs_in_build=3), list("1234"), "time_h")


def test_answers_with_builds_as_random_are_generalised_least_squares_at_the_same_variances():
    runs = catalysts()
    judged = fit(BRIEF, runs, "time_h")
    found = recovered(BRIEF, runs, judged)
    variances = fit(BRIEF, runs, "time_h", recover_blocks=True).mixed.fit.variances
    alike = (runs["build_id"].to_numpy()[:, None] == runs["build_id"].to_numpy()[None, :]).astype(float)
    weight = np.linalg.inv(variances[0] * alike + variances[1] * np.eye(len(runs)))
    model = (runs["what"].to_numpy()[:, None] == np.array(list("1234"))[None, :]).astype(float)
    inverse = np.linalg.inv(model.T @ weight @ model)
    beta = inverse @ model.T @ weight @ runs["time_h"].to_numpy()
    for row in found.comparisons.to_dict("records"):
        two, one = (int(name) - 1 for name in row["comparison"].split(" - "))
        assert row["estimate"] == pytest.approx(beta[two] - beta[one], abs=1e-6)
    assert found.sentence == (
        "Verdicts rest on differences within builds. Beside them stand answers that count differences between the 4 "
        "builds as well, as if these were drawn at random from all that could be built."
    )
    # A difference within builds alone stays the answer that is judged.
    assert comparisons(judged)["estimate"].tolist() != found.comparisons["estimate"].tolist()


def test_it_stands_beside_and_changes_no_verdict():
    runs = catalysts()
    judged = fit(BRIEF, runs, "time_h")
    told = verdicts(comparisons(judged), BRIEF)
    made = otherwise(BRIEF, "time_h", told, recovered=recovered(BRIEF, runs, judged))
    assert [basis for basis, _ in made.tables] == [BASIS]
    assert made.verdicts["verdict"].tolist() == told["verdict"].tolist()
    assert set(made.verdicts["basis"]) == {"with differences between builds counted (inter-block recovery)"}
    assert made.to_json()["sentences"][0].startswith("Verdicts rest on differences within builds.")


def test_complete_blocks_have_none_and_too_few_runs_say_why():
    complete = replace(BRIEF, plan=PlanChoice(design=FULL))
    assert recovered(complete, catalysts(), fit(complete, catalysts(), "time_h")) is None
    assert recovered(blocked(), catalysts(), fit(BRIEF, catalysts(), "time_h")) is None
    few = catalysts()[lambda runs: runs["build_id"] == "B1"]
    alone = recovered(BRIEF, few, fit(BRIEF, few, "time_h"))
    assert alone.comparisons.empty
    start = "What differences between builds would add is not told: time_h: balanced incomplete blocks, and "
    assert alone.sentence.startswith(start)
