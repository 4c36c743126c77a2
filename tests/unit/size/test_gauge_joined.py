"""A gauge study joined in: one-way analysis by hand, and the gauge's share of the scatter between runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.size.test_scatter import pilot
from toolkit.brief.model import Response
from toolkit.model import gauge_study
from toolkit.size import scatter

BRIEF = briefs.blocked()
# Six parts read three times by one operator, in the response's unit; INVENTED.
READ = np.array(
    [
        [1.002, 1.004, 0.999],
        [1.103, 1.101, 1.104],
        [0.951, 0.953, 0.950],
        [1.048, 1.052, 1.049],
        [0.999, 0.996, 1.000],
        [1.080, 1.083, 1.079],
    ]
)


def study(values=READ):
    rows = [(f"T{part}", "A", value) for part, own in enumerate(values) for value in own]
    return gauge_study.study(pd.DataFrame(rows, columns=["part_id", "operator", "value"]))


def test_what_a_reading_adds_and_its_share():
    """Repeatability by hand: mean square within parts on 12 df; wear of two readings has twice that variance."""
    values = [0.10, 0.08, 0.12, 0.09]
    found = scatter.known(BRIEF, "elongation_pct", runs=pilot(values), gauge=study())
    within = READ.var(axis=1, ddof=1).mean()
    level = np.median(values)
    line = found.table[found.table["source"] == "gauge study"].iloc[0]
    assert (line["stratum"], line["df"], bool(line["used"])) == ("reading", 12.0, False)
    assert line["sd"] == pytest.approx(np.sqrt(2 * within) / level)
    factors = np.sqrt(12 / stats.chi2.ppf([0.975, 0.025], 12))
    assert (line["conf_low"], line["conf_high"]) == pytest.approx(tuple(line["sd"] * factors))
    assert line["note"] == (
        "wear from single readings (one before, one after), relative to a wear of 0.095 %; by the gauge study"
    )
    # Ten segments, each read twice before and twice after.
    share = 2 * within / (10 * 2) / level**2 / found.run.value
    assert found.notes[-1] == (
        f"elongation_pct: the gauge makes {100 * share:.2g} % of the variance between runs (10 stations read twice by "
        "one operator)."
    )


def test_a_study_of_another_gauge_is_noticed_and_one_that_does_not_fit_is_left_out():
    runs = pilot([0.10, 0.08, 0.12, 0.09])
    coarse = scatter.known(BRIEF, "elongation_pct", runs=runs, gauge=study(1.0 + 100 * (READ - 1.0)))
    assert coarse.notes[-1].endswith("is it of this gauge, and in the same unit?")
    largest = replace(BRIEF, responses=(replace(BRIEF.responses[0], per_run="max"),))
    assert scatter.known(largest, "elongation_pct", runs=runs, gauge=study()).notes[-1] == (
        "elongation_pct: the gauge study is not joined, because run values are no means of stations."
    )
    other = replace(BRIEF, responses=(Response("fe_ppm", per_run="value", worthwhile_change_pct=20.0),))
    told = scatter.known(other, "fe_ppm", runs=runs.rename(columns={"elongation_pct": "fe_ppm"}), gauge=study())
    assert "gauge study" not in set(told.table["source"])
    assert told.notes == ()


def test_the_main_phase_is_sized_without_its_own_runs():
    values = [0.10, 0.08, 0.12, 0.09]
    runs = pilot(values)
    later = runs.assign(phase="main", elongation_pct=[0.5, 0.6, 0.7, 0.8])
    alone, beside = (
        scatter.known(BRIEF, "elongation_pct", runs=table, gauge=study())
        for table in (runs, pd.concat([runs, later], ignore_index=True))
    )
    assert alone.notes == beside.notes
    assert alone.table.to_dict("records") == beside.table.to_dict("records")
