"""What the notebook for the decision says of lost runs: that none is, or the ways on with their chances."""

from __future__ import annotations

from toolkit.campaign import folder, notes
from toolkit.demo import bundled
from toolkit.report import view_decide


def test_that_no_run_is_lost_is_said_and_no_refusal(tmp_path):
    chain = bundled.bring("chain-soot", tmp_path / "chain", phases=("pilot",), recordings=False)
    assert repr(view_decide.lost_runs(chain)) == "No run is lost, so that there is nothing to amend."
    notes.note(chain, "P02", verdict="invalid", reason="hose burst", role="test engineer")
    told = repr(view_decide.lost_runs(folder.open_campaign(chain.folder)))
    # Nothing was sealed here, so that there is no plan to amend.
    assert "No run is lost" not in told and "there is no sealed plan" in told
