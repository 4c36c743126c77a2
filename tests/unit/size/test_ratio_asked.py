"""An extension sized to a detectable ratio, against the noncentral t of scipy on columns written by hand."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.unit.design.test_extend import fraction
from tests.unit.size.test_options import EXTENDED, known, standing
from toolkit.brief.model import Extension, PlanChoice
from toolkit.design import factorial
from toolkit.size import candidates, chosen_lines, options, ratio_asked

PLENTY = replace(EXTENDED, cost=replace(EXTENDED.cost, budget=None))


def power(builds, ratio, sd=0.13):
    """The power of the coating's contrast in eleven runs and further complete builds of four, by scipy alone."""
    main = factorial.full(EXTENDED).table.drop(index=5)
    rows = [(row["build_id"], row["pin"], row["oil"]) for row in main.to_dict("records")]
    rows += [(f"X{at}", pin, oil) for at in range(builds) for pin in ("P0", "P1") for oil in ("O0", "O1")]
    labels = sorted({row[0] for row in rows})
    columns = [[float(row[0] == label) for label in labels] for row in rows]
    signs = [(1.0 if row[1] == "P1" else -1.0, 1.0 if row[2] == "O1" else -1.0) for row in rows]
    full = np.array([[*line, pin, oil, pin * oil] for line, (pin, oil) in zip(columns, signs, strict=True)])
    df = len(rows) - full.shape[1]
    variance = 4.0 * np.linalg.inv(full.T @ full)[len(labels), len(labels)]
    edge, shift = stats.t.isf(0.025, df), abs(np.log(ratio)) / (sd * np.sqrt(variance))
    return stats.nct.sf(edge, df, shift) + stats.nct.cdf(-edge, df, shift)


@pytest.mark.parametrize("ratio", [0.85, 1.25])
def test_the_fewest_builds_that_detect_the_ratio(ratio):
    brief = replace(PLENTY, extension=Extension(comparison="coating", detectable_ratio=ratio))
    fewest = next(builds for builds in range(1, 20) if power(builds, ratio) >= 0.8)
    found = options.options(brief, [known(brief)], standing=standing(brief))
    assert found.recommended.design.builds == fewest
    assert ratio_asked.fewest(found.options, "elongation_pct", ("coating", ratio)) is found.recommended
    assert tomllib.loads(chosen_lines.toml(found)) == {"extension": {"builds": fewest}}
    detects = found.recommended.claim("elongation_pct", "coating").detectable_ratio
    assert (
        f"a ratio of {ratio:g} of 'coating' ([extension] detectable_ratio) is reached with {4 * fewest} further runs "
        f"at the fewest: {found.recommended.name} detects {detects:.3g}"
    ) in found.notes


def test_a_ratio_that_no_plan_reaches_and_one_that_cannot_be_told():
    brief = replace(PLENTY, extension=Extension(comparison="coating", detectable_ratio=0.999))
    found = options.options(brief, [known(brief)], standing=standing(brief))
    assert found.recommended is None
    told = next(note for note in found.notes if "is reached by no plan looked at: the largest, " in note)
    assert told.startswith("a ratio of 0.999 of 'coating' ([extension] detectable_ratio) is reached by no plan")
    assert ratio_asked.asked(PLENTY) is None
    assert ratio_asked.told(found.options, None, "elongation_pct", ("other", 0.9)) == (
        "a ratio of 0.9 of 'other' ([extension] detectable_ratio) cannot be told: no plan tells it"
    )


def test_plans_of_runs_that_tell_more_are_so_many_sets():
    plan = PlanChoice("two-level fraction", runs=8, replicates=1)
    for given, runs in (
        (Extension(design="fold-over", swap=("a",)), [8, 16, 24]),
        (Extension(design="freeing runs", free=(("a", "b"),)), [2, 4, 6]),
    ):
        made = candidates.of_extension(fraction(4, given, plan=plan))
        assert [design.runs for design in made] == runs
