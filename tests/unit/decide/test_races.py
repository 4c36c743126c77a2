"""Who is still in the race, in words, beside the answers."""

from __future__ import annotations

import json

from tests.unit.model.test_race import VALUES, coatings, fitted
from toolkit.brief.model import BestOf
from toolkit.decide.races import races
from toolkit.model import race
from toolkit.report import race_tables

ASKED = coatings(best_of=(BestOf("coating", gap_pct=20.0),))


def test_who_leads_and_who_is_still_in_the_race():
    made = fitted(VALUES, ASKED)
    found = races(made)
    more = race.flattered(made, "coating")
    assert found.sentences == (
        "Best of 4 coating: C2 came out best; still in the race (at 95 %): C1, C2, C3; out of it: C0.",
        f"If all 4 were equal the winner would still look {more:.3g} % better than it is, on average: picking it is a "
        f"choice, not a proof.",
    )
    told = found.to_json()
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert [row["still_in"] for row in told] == [False, True, True, True]


def test_one_alone_needs_no_warning():
    values = [[0.5, 0.52, 0.48], [0.4, 0.42, 0.38], [0.0, 0.02, -0.02], [0.45, 0.47, 0.43]]
    assert races(fitted(values, ASKED)).sentences == (
        "Best of 4 coating: C2 came out best and is the only one that may be the best (at 95 %); out of it: C0, C1, "
        "C3.",
    )


def test_a_level_that_was_not_run_is_named():
    found = races(fitted([VALUES[0], VALUES[1], VALUES[2], []], ASKED))
    note = found.table["note"].iloc[3]
    assert found.sentences[0].endswith(f" Not told: C3 ({note}).")
    assert len(found.sentences) == 1


def test_nothing_asked_nothing_said():
    found = races(fitted(VALUES))
    assert (found.sentences, found.to_json()) == ((), [])


def test_the_report_has_them_as_a_table():
    found = races(fitted([VALUES[0], VALUES[1], VALUES[2], []], ASKED))
    table = race_tables.table(found)
    first, second = found.table.iloc[0], found.table.iloc[1]
    assert table.rows[0][:4] == (
        "coating C0",
        f"{first['lead']:+.3g} %",
        f"{first['lead_low']:+.3g} to {first['lead_high']:+.3g} %",
        "no",
    )
    assert table.rows[1][3] == ("yes" if second["still_in"] else "no")
    assert table.rows[3][:4] == ("coating C3", "not told", "", "")
    assert table.notes == found.sentences
