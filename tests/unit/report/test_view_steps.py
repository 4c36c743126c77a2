"""What notebooks say around the runs: hours as typed, what is awaited, where the next step can be made, dates."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from toolkit.brief.model import Cost, Protocol
from toolkit.campaign import booking, steps
from toolkit.demo import bundled
from toolkit.errors import CampaignError
from toolkit.report import view_steps


def test_hours_are_read_as_they_are_typed():
    assert view_steps.hours(" ") is None
    assert view_steps.hours("0, 20,40.5") == [0.0, 20.0, 40.5]
    assert view_steps.hours([0, 20, 40.5]) == [0.0, 20.0, 40.5]
    with pytest.raises(CampaignError) as error:
        view_steps.hours("0; 20")
    assert str(error.value) == "oil_at '0; 20': expected hours with commas between, as 0, 20, 40."


def test_names_with_commas_between_are_told_apart_from_one_file(tmp_path):
    chain = bundled.bring("chain-soot", tmp_path / "chain")
    with pytest.raises(CampaignError) as error:
        view_steps.take(chain, "R05.xlsx, after.xlsx")
    expected = "names with ; between, as R05.xlsx; after.xlsx."
    assert str(error.value) == f"files 'R05.xlsx, after.xlsx': no such file; expected {expected}"


def test_the_last_lines_name_the_notebook_of_a_step_where_there_is_one(tmp_path, capsys, monkeypatch):
    chain = bundled.bring("chain-soot", tmp_path / "chain")
    told = (
        "issue sheets and registers: wearbook sheets CAMPAIGN --phase main",
        "judge R05: wearbook note CAMPAIGN R05 --verdict VERDICT",
        "put the records right",
    )
    monkeypatch.setattr("toolkit.campaign.status.status", lambda campaign: SimpleNamespace(next=told))
    view_steps.closing(chain, ["a.csv", "b.csv"], "hand out the sheets")
    assert capsys.readouterr().out.splitlines() == [
        "wrote: a.csv, b.csv",
        "next: hand out the sheets",
        "next: issue sheets and registers: sheets.ipynb, or wearbook sheets . --phase main",
        "next: judge R05: wearbook note . R05 --verdict VERDICT",
        "next: put the records right",
    ]
    view_steps.closing(chain, [], "read it", then=False)
    assert capsys.readouterr().out == "wrote: nothing\nnext: read it\n"


def test_nothing_has_come_back_yet(tmp_path):
    chain = bundled.bring("chain-soot", tmp_path / "chain")
    (chain.folder / "raw" / "rig-history.csv").unlink()
    told = repr(view_steps.taken(view_steps.take(chain, " ; ")))
    assert told == (
        "Nothing has come back yet. Name files above, or keep tables by hand: raw/runs.csv, raw/stations.csv, "
        "raw/oil.csv, raw/rig-history.csv."
    )
    # Without stations nobody is asked for their table.
    alone = tuple(replace(item, stations=None, per_run="value") for item in chain.brief.responses[:1])
    told = repr(view_steps.take(replace(chain, brief=replace(chain.brief, responses=alone)), ""))
    assert told.endswith("keep tables by hand: raw/runs.csv, raw/oil.csv, raw/rig-history.csv.")


def test_dates_leave_out_what_nothing_is_said_of(tmp_path):
    chain = bundled.bring("chain-soot", tmp_path / "chain")
    steps.plan(chain, phase="pilot")
    asked = replace(chain.brief.booking, metrology_in_days=None)
    table = view_steps.dates_table(booking.of_phase(replace(chain, brief=replace(chain.brief, booking=asked)), "pilot"))
    assert table.head == ("what", "build", "begins", "ends", "hours", "oil figures by")
    assert table.rows[1] == ("run P01", "PB1", "2026-04-14", "2026-04-20", "117", "2026-04-30")
    none = replace(chain, brief=replace(chain.brief, booking=None))
    assert repr(view_steps.dates(none, "pilot")) == booking.NEEDED
    bare = replace(chain.brief, cost=Cost(), protocol=Protocol())
    assert view_steps.main_dates(replace(chain, brief=bare)) is None
