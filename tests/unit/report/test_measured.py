"""What metrology, laboratory and reference runs say of the bundled campaign: object, tables, pictures, notebook."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pandas as pd
import pytest

from tests.demo.make_data import MEASURED
from toolkit.decide import measured, verdict
from toolkit.demo import bundled
from toolkit.intake import unjudged
from toolkit.model import comparisons
from toolkit.model.fit import fit
from toolkit.plot import trace_wear
from toolkit.report import measured_figures, measured_tables, pictures, view_measured, view_run


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    return bundled.bring(MEASURED, tmp_path_factory.mktemp("pins"), phases=("main",))


@pytest.fixture(scope="module")
def analysis(campaign):
    """As much of an analysis as the pictures and tables look at, without the answers of every response."""
    records, brief = campaign.records(), campaign.brief
    found = {}
    for name in ("pin_wear_um", "elongation_pct"):
        fitted = fit(brief, records.runs, name)
        judged = verdict.verdicts(comparisons.comparisons(fitted), brief)
        found[name] = SimpleNamespace(fit=fitted, interim="", verdicts=judged)
    return SimpleNamespace(brief=brief, records=records, measured=measured.measured(brief, records, found))


def test_what_it_says_in_sentences(analysis):
    assert list(analysis.measured.sentences) == [
        "bar-1040 (elongation), 15 sessions: the gauge drifts by -0.002 % in 30 days (-0.00215 to -0.00184)",
        "Gauge study, crossed: one reading has an SD of 0.13 µm (0.098 to 0.19); operators add 0.069 µm",
        "pin_wear_um: the gauge makes 3.2 % of the variance between runs as it is read now; 3 readings of each station "
        "pay best",
        "Mass balance: 11 of 11 balances of 11 valid runs could be told; outside the band: R02 (fe_ppm)",
        "Pin wear, 11 reference runs: no sign of a change",
        "Elongation, 11 reference runs: no sign of a change",
        "Fe, 11 reference runs: no sign of a change",
    ]
    assert [text for _, text in analysis.measured.heed] == [
        "R02: the oil holds 12 to 13 times the Fe that the parts lost (expected 0.2 to 5). Look for: other parts that "
        "wear and are not measured; metal of an earlier fill or dirt; sump mass or unit of the wear; parts left out of "
        "mg_per_unit."
    ]


def test_it_is_plain_data_without_missing_numbers(analysis):
    told = json.loads(json.dumps(analysis.measured.to_json(), allow_nan=False))
    assert set(told) == {
        *("sentences", "traces", "uncertainty", "masters", "gauge", "readings_that_pay", "oil_accounts", "duplicates"),
        *("mass_balance", "reference_charts", "compared"),
    }
    assert len(told["traces"]) == 36 and len(told["masters"]["bar-1040"]) == 15
    assert [item["response"] for item in told["reference_charts"]] == ["pin_wear_um", "elongation_pct", "fe_ppm"]
    assert {row["basis"] for row in told["compared"]} == {measured.CORRECTED}
    assert set(analysis.measured.tables()) == {
        *("traces", "uncertainty", "readings_that_pay", "oil_accounts", "duplicates", "gauge_study", "mass_balance"),
        *("masters", "reference_charts"),
    }


def test_tables_hold_what_the_object_holds(analysis):
    made = {
        table.caption.split(":")[0].split(" (")[0]: table
        for table in measured_tables.tables(analysis.measured, analysis.brief)
    }
    assert list(made) == [
        "Gauge study", "How many readings pay", "Masters", "Standard uncertainty of each run value by the gauge",
        "Metals in the oil, as sampled and accounted for", "Samples drawn twice", "Mass balance",
        "Answers of adjusted and corrected values; the verdicts are those as judged",
    ]  # fmt: skip
    assert made["Masters"].notes == ("bar-1040: the line through all sessions is taken off the readings.",)
    assert made["Mass balance"].rows[1][4:6] == ("11.63 to 12.63", "no")
    assert made["Standard uncertainty of each run value by the gauge"].rows[0][:3] == ("R01", "pin wear", "2.647 µm")
    every = "".join(str(table.__html__()) for table in made.values())
    assert "nan" not in every.casefold() and "None" not in every


def test_pictures_come_with_words_and_show_what_was_found(analysis):
    made = list(measured_figures.figures(analysis))
    assert [caption for _, _, caption in made] == [
        *["A station before and after"] * 4, "Stations of every run, pin wear", "Master bar-1040",
        "Metal against hours", "Oil over parts", "Reference runs, pin wear",
        "Reference runs, elongation", "Reference runs, Fe",
    ]  # fmt: skip
    assert [alt.split(":")[0] for _, alt, _ in made[:4]] == ["R01, PIN1", "R03, PIN1", "R06, PIN2", "R12, PIN3"]
    assert made[7][1].startswith(
        "Fe in the oil over Fe lost by the parts: outside 0.2 to 5: R02. By run: R01 2.2 to 2.4;"
    )
    assert all(len(alt) > 60 for _, alt, _ in made)


def test_a_trace_that_could_not_be_brought_together_says_so(analysis):
    pair = analysis.records.metrology.traces.pairs[0]
    broken = SimpleNamespace(**{**vars(pair), "aligned": None, "taken": None, "note": "too short", "run_id": "R01"})
    assert trace_wear.alt_trace_wear(broken) == "R01, PIN1: no wear (too short)."
    assert len(trace_wear.trace_wear(broken)) == 2


def test_the_report_and_the_notebook_take_them_over(analysis, monkeypatch):
    # One picture is enough: drawing all of them is another test.
    first = next(measured_figures.figures(analysis))
    monkeypatch.setattr(measured_figures, "figures", lambda _: iter([first]))
    page = pictures._measured(analysis)["measured"]
    assert page["sentences"] == analysis.measured.sentences and len(page["figures"]) == 1 and len(page["tables"]) == 8
    shown = repr(view_measured.measured(analysis))
    assert "the gauge drifts by -0.002 %" in shown and "Mass balance" in shown
    none = pd.DataFrame()
    empty = measured.Measured(none, none, {}, None, none, none, none, None, (), none)
    nothing = SimpleNamespace(measured=empty)
    assert repr(view_measured.measured(nothing)) == view_measured.NOTHING
    assert pictures._measured(nothing) == {"measured": None}


def test_one_run_is_shown_from_its_files_to_its_row(campaign, analysis):
    assert "raw/traces/R03_INV-303.csv | 486" in repr(view_run.files(campaign, "R03"))
    assert "turned round they fit" in repr(view_run.found(analysis.records, "R03"))
    told = repr(view_run.row(analysis.records, "R03"))
    assert "R03 (pin P0, oil O0), valid" in told and "0.1065 % | 0.1053 | 0.002306 | from repeated readings" in told


def test_nothing_is_seen_of_runs_that_are_still_to_be_judged(campaign):
    path = campaign.folder / "raw/runs.csv"
    kept = path.read_text(encoding="utf-8")
    path.write_text("\n".join(line.replace(",valid,", ",pending,") if line.startswith("R03,") else line
                              for line in kept.split("\n")), encoding="utf-8")  # fmt: skip
    try:
        found = unjudged.hidden(campaign.records())
    finally:
        path.write_text(kept, encoding="utf-8")
    room = found.metrology
    assert "R03" not in {pair.run_id for pair in room.traces.pairs} | set(room.traces.table["run_id"])
    assert "R03" not in set(room.uncertainty["run_id"]) | set(room.covariances["elongation_pct"].index)
    assert found.findings[(found.findings["run_id"] == "R03")].empty
