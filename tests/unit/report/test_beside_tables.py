"""What stands beside the answers, as tables of the report, on the bundled campaign."""

from __future__ import annotations

from pathlib import Path

import pytest

from toolkit.campaign import folder, steps
from toolkit.report import beside_tables

DATA = Path(__file__).resolve().parents[3] / "data" / "chain-soot"


@pytest.fixture(scope="module")
def tables():
    """The tables of the elongation."""
    analysis = steps.analysis_of(folder.open_campaign(DATA))
    found = analysis.responses["elongation_pct"]
    return found.beside, beside_tables.tables(found.beside, analysis.brief.response("elongation_pct"))


def test_the_run_that_carries_a_verdict_stands_beside_the_exact_p(tables):
    beside, (carried, _, _) = tables
    row = beside.fragility[beside.fragility["comparison"] == "coating"].iloc[0]
    assert carried.caption == "How much one run would have to differ to change each verdict"
    assert carried.rows[0] == (
        "coating",
        "gain, size not settled",
        f"{row['run_id']}: {row['value']:.3g} to {row['value_needed']:.3g} %",
        f"{abs(row['shift_in_sd']):.1f}",
        "worthwhile gain",
        "0.0312 (at least 0.031)",
    )
    assert carried.rows[3][5] == "–"


def test_positions_and_further_runs_carry_their_sentences(tables):
    beside, (_, places, further) = tables
    assert [row[0] for row in places.rows] == [f"SEG{number:02d}" for number in range(1, 11)]
    # Below a table of one response its column is not named again.
    assert f"elongation_pct: {places.notes[0]}" == beside.positions.worst
    assert places.notes[1].startswith("No difference between positions is shown (p = ")
    assert f"elongation_pct: m{further.notes[0][1:]}" == beside.next_runs.sentence
    assert further.notes[0].startswith("Most for its price is every combination once (4 runs)")
    assert len(further.rows) == beside_tables.MOST_BATCHES
    assert further.rows[0][0] == "every combination once (4 runs)"
    assert further.rows[0][2] == "4"
