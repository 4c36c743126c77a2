"""Each error class is provoked once, by what a person could do: the whole message, its parts and its exit code."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from tests.house.tree import ROOT
from toolkit import shipped
from toolkit.brief import reading
from toolkit.brief.known_scatter import KnownScatter
from toolkit.campaign import folder, start, steps, verify
from toolkit.cli.arguments import parser
from toolkit.design import factorial
from toolkit.errors import Fault, IntakeError, WearbookError, raise_all
from toolkit.explain import entries
from toolkit.model import fit
from toolkit.report import show
from toolkit.size import scatter

TEMPLATE = (ROOT / "templates" / "campaign" / "campaign.toml").read_text(encoding="utf-8")


def brief_is_wrong(_):
    reading.parse(TEMPLATE.replace('role = "primary"', 'role = "primray"'), "trial.toml")


def nothing_is_chosen(_):
    factorial.full(reading.parse(TEMPLATE))


def no_scatter_is_known(_):
    scatter.known(dataclasses.replace(reading.parse(TEMPLATE), scatter=KnownScatter()), "wear_um")


def records_are_wrong(campaign):
    (campaign / "raw").mkdir(exist_ok=True)
    (campaign / "raw" / "runs.csv").write_text("run_id;phase\nR01;main\n", encoding="utf-8")
    folder.open_campaign(campaign).records()


def nothing_to_fit(_):
    fit.fit(reading.parse(TEMPLATE), pd.DataFrame({"run_id": []}), "wear_um")


def no_campaign(campaign):
    folder.open_campaign(campaign / "notebooks" / "gone")


def no_such_word(_):
    entries.find("replicaet", entries.entries())


def nothing_said_of_a_figure(_):
    show.checked_alt("short")


def no_such_folder(_):
    shipped.folder("datta")


def log_was_edited(campaign):
    steps.plan(folder.open_campaign(campaign), phase="pilot")
    path = campaign / "log.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",pilot,", ",main,", 1), encoding="utf-8")
    verify.verify(folder.open_campaign(campaign), quick=True)


PROVOKED = {
    "BriefError": brief_is_wrong,
    "DesignError": nothing_is_chosen,
    "SizingError": no_scatter_is_known,
    "IntakeError": records_are_wrong,
    "ModelError": nothing_to_fit,
    "CampaignError": no_campaign,
    "UseError": no_such_word,
    "NotebookError": nothing_said_of_a_figure,
    "StorageError": no_such_folder,
    "IntegrityError": log_was_edited,
}
LINE = TEMPLATE[: TEMPLATE.index('role = "primary"')].count("\n") + 1
COLUMNS = "expected the columns run_id, factor_a, factor_b, wear_um, build_id"
TOLD = {
    "BriefError": "trial.toml is not in order (1 fault):\n"
    f"  trial.toml line {LINE}: response 'wear_um', role: 'primray'; expected 'primary' or 'secondary'. Did you mean "
    "'primary'?",
    "DesignError": "[plan] builds = 0: the size of the main phase is not chosen yet. Run `wearbook size`, decide, and "
    "write your choice into campaign.toml.",
    "SizingError": "wear_um: nothing is known of its scatter. Run a pilot (plan it with `wearbook plan --phase "
    "pilot`), name a history file, or declare a range with declared_cv_pct in [scatter].",
    "IntakeError": "The records are not in order; nothing was read.\n"
    "  raw/runs.csv line 1: columns between semicolons; expected columns between commas. Save it as CSV with commas; "
    "numbers then need a decimal point.",
    "ModelError": "wear_um: the run values are not in order.\n"
    + "\n".join(
        f"  run values: no column '{name}'; {COLUMNS}." for name in ("factor_a", "factor_b", "wear_um", "build_id")
    ),
    "CampaignError": "FOLDER/notebooks/gone: there is no such folder. Name a campaign folder, or start one with "
    "`wearbook new FOLDER/notebooks/gone`.",
    "UseError": "'replicaet': nothing is explained by that name. Did you mean 'replicate' or 'replicates'? `wearbook "
    "explain` lists all names.",
    "NotebookError": "text alternative 'short': 5 characters; expected at least 30 that say what the figure shows. "
    "Pass what the alt_... function beside the plot gives.",
    "StorageError": "The folder 'datta' that comes with Wearbook is missing; looked for CLONE/toolkit/_shipped/datta "
    "and CLONE/datta. Install Wearbook again, from a complete clone or wheel.",
    "IntegrityError": "log.csv line 2: does not fit the chain of checksums: this row or one before it was changed, "
    "removed or added by hand. Restore the log from your backup.",
}


@pytest.fixture
def campaign(tmp_path):
    start.new(tmp_path / "trial")
    return tmp_path / "trial"


def test_every_class_is_provoked():
    assert list(PROVOKED) == [kind.__name__ for kind in WearbookError.__subclasses__()]


@pytest.mark.parametrize("name", PROVOKED)
def test_an_error_says_where_what_was_found_what_was_expected_and_what_to_do(name, campaign):
    with pytest.raises(WearbookError) as caught:
        PROVOKED[name](campaign)
    problem = caught.value
    assert type(problem).__name__ == name
    assert str(problem) == TOLD[name].replace("FOLDER", str(campaign)).replace("CLONE", str(ROOT))
    assert f"{problem.exit_code} " in parser().epilog
    for fault in problem.faults:
        assert fault.where and fault.found and fault.expected


def test_more_than_twenty_faults_are_counted_and_all_are_kept():
    faults = [Fault(f"runs.csv line {at}", "x", "a number") for at in range(1, 24)]
    with pytest.raises(IntakeError) as caught:
        raise_all(IntakeError, "Not in order:", faults)
    lines = str(caught.value).splitlines()
    assert len(lines) == 22
    assert lines[1] == "  runs.csv line 1: x; expected a number."
    assert lines[-1] == "  ... and 3 more."
    assert len(caught.value.faults) == 23
