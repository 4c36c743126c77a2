"""What stands beside the verdicts, on the bundled campaign's records."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from toolkit.campaign import folder, steps
from toolkit.decide.beside import beside

DATA = Path(__file__).resolve().parents[3] / "data" / "chain-soot"


@pytest.fixture(scope="module")
def analysis(tmp_path_factory):
    """The bundled campaign analysed."""
    target = tmp_path_factory.mktemp("beside") / "chain"
    shutil.copytree(DATA, target)
    return steps.analysis_of(folder.open_campaign(target))


def test_sentences_name_the_run_that_carries_a_verdict_and_the_exact_p(analysis):
    answered = analysis.responses["elongation_pct"]
    made = beside(answered.fit, analysis.records, answered.verdicts)
    first, *_ = made.fragility[made.fragility["comparison"] == "coating"].to_dict("records")
    assert made.sentences[0] == (
        f"coating ({first['verdict']}): run {first['run_id']} at {first['value_needed']:.3g} instead of "
        f"{first['value']:.3g} ({abs(first['shift_in_sd']):.1f} error SDs away) would make it "
        f"'{first['verdict_then']}'. It hangs on one run."
    )
    assert made.sentences[4] == "coating: 1 of 32 orders differ as much (p = 0.0312; the smallest here is 0.031)"
    assert len(made.sentences) == 8
    assert made.positions is not None
    assert list(made.positions.means["station_id"]) == [f"SEG{number:02d}" for number in range(1, 11)]
    assert set(made.next_runs.open) >= {"new oil"}
    assert set(made.to_json()) == {
        "fragility", "exact", "positions", "no_positions", "station_groups", "no_station_groups", "next_runs", "races",
        "chances", "equivalence", "settling",
    }  # fmt: skip


def test_a_response_without_stations_has_no_positions_and_no_reason_to_give(analysis):
    answered = analysis.responses["fe_ppm"]
    made = beside(answered.fit, analysis.records, answered.verdicts)
    assert made.positions is None and made.no_positions == ""
