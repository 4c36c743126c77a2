"""A response with values below its limit through the whole analysis and into the report; INVENTED."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit.report import example
from toolkit.brief.model import Response
from toolkit.decide import analysis
from toolkit.intake import records
from toolkit.model import below_limit
from toolkit.report import html
from toolkit.report.sections import ReportInput

ASKED = replace(
    example.brief(("coating", "new oil", "both together", "coating needs the new oil")),
    responses=(
        Response("wear_um", per_run="value", worthwhile_change_pct=20.0),
        Response("fe_ppm", role="secondary", worthwhile_change_pct=20.0),
    ),
)


def analysed(limit=12.0, start=1.0, pending=(), effect=0.55):
    """Twelve runs with a zero-hour and a last oil sample; the laboratory's limit is ``limit`` for the last ones."""
    runs = example.raw_runs(ASKED, void="none", pending=pending).drop(columns="fe_ppm")
    draw = np.random.default_rng(11)
    samples = []
    for row in runs.to_dict("records"):
        last = 20.0 * effect ** (row["pin"] == "P1") * float(np.exp(draw.normal(0, 0.15)))
        told = f"<{limit:g}" if last < limit else f"{last:.2f}"
        for at, value in ((0.0, start), (100.0, told)):
            sample = f"{row['run_id']}-{at:g}"
            samples.append({"run_id": row["run_id"], "sample_id": sample, "at_h": at, "fe_ppm": value})
    read = records.from_tables(ASKED, runs=runs, oil=pd.DataFrame(samples))
    return analysis.analyse(ASKED, read, planned=example.order(ASKED))


def test_a_response_with_values_below_its_limit_is_answered():
    found = analysed(limit=10.175)
    item = found.responses["fe_ppm"]
    below = tuple(item.fit.runs["run_id"][item.fit.runs["fe_ppm_below_limit"].astype(bool)])
    assert item.stopped == "" and 2 <= len(below) <= 5
    assert item.fit.notes[0] == (
        f"{len(below)} of 12 values lie below their limit ({', '.join(below)}): they count as 'at most the limit', and "
        "no number is put in their place"
    )
    row = item.verdicts.set_index("comparison").loc["coating"]
    # The truth is 45 % less.
    assert row["verdict"] == "worthwhile gain"
    assert row["sentence"].startswith("coating: ") and " less Fe (95 % interval: " in row["sentence"]
    direct = below_limit.comparisons(ASKED, found.records.runs, "fe_ppm").comparisons.set_index("comparison")
    assert item.comparisons.set_index("comparison").loc["coating", "p_value"] == direct.loc["coating", "p_value"]
    assert len(item.means) == 8 and item.checks is None and item.beside is None
    # A limit is no number: it goes along with nothing.
    assert found.agreement.empty
    assert item.to_json()["anova"] == [] and item.to_json()["verdicts"][0]["verdict"] == "worthwhile gain"


def test_a_combination_wholly_below_gives_a_bound_and_too_many_stop():
    found = analysed()
    item = found.responses["fe_ppm"]
    row = item.verdicts.set_index("comparison").loc["coating"]
    assert row["sentence"].startswith("coating: at least ")
    assert "(95 % interval, open on the other side); a decrease is shown" in row["sentence"]
    assert row["gain"] is None and row["gain_high"] is None and row["gain_low"] > 0.0
    stopped = analysed(limit=30.0, effect=0.2).responses["fe_ppm"]
    assert "which is too many to compare treatments by" in stopped.stopped


def test_a_zero_hour_sample_below_its_limit_is_an_interval():
    found = analysed(limit=1.0, start="<2")
    item = found.responses["fe_ppm"]
    assert item.fit.notes[0].startswith("12 of 12 values are only known to lie between two ends (R01, ")
    plain = analysed(limit=1.0, start=1.0).responses["fe_ppm"].comparisons.set_index("comparison").loc["coating"]
    row = item.comparisons.set_index("comparison").loc["coating"]
    assert row["estimate"] == pytest.approx(plain["estimate"], rel=0.03)
    assert row["conf_low"] < 0.55 < row["conf_high"]


def test_the_report_tells_it_and_shows_no_empty_table():
    found = analysed()
    page = html.build(ReportInput(found, example.STAMP))
    assert "they count as 'at most the limit', and no number is put in their place" in page.replace("&#39;", "'")
    assert "tests from the likelihood of values some of which are only known to lie below a limit" in page
    assert "at least " in page and "at most " in page and "Analysis of variance of Fe" not in page
    # No heading stands with nothing below it.
    assert "Worked out with the runs as judged alone." in page and "No residuals can be checked: with values" in page


def test_while_runs_are_pending_nothing_is_claimed():
    item = analysed(pending=("R12",)).responses["fe_ppm"]
    assert set(item.verdicts["verdict"]) == {"interim, no claim"}
    assert item.verdicts["sentence"].str.contains("Interim, after 11 of 12 runs").all()
