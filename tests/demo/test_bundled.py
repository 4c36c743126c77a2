"""A bundled campaign comes into a folder phase by phase, and what lies there already is respected."""

import pytest

from tests.demo.make_data import DATA
from toolkit.campaign import steps
from toolkit.demo import bundled
from toolkit.errors import CampaignError


def files(folder) -> list[str]:
    """The files in a folder, without the lock."""
    found = (path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    return sorted(name for name in found if not name.startswith("."))


def test_the_names_are_the_folders_with_a_brief_and_not_the_published_tables():
    assert bundled.names() == ("chain-soot", "pin-wear", "sprocket-build", "tappet-finish")


def test_before_the_first_run_there_are_brief_and_history_alone(tmp_path):
    c = bundled.bring("chain-soot", tmp_path)
    assert files(tmp_path) == ["campaign.toml", "raw/rig-history.csv"]
    assert (c.folder, c.brief.id) == (tmp_path, "chain-soot")
    assert (tmp_path / "campaign.toml").read_bytes() == (DATA / "chain-soot/campaign.toml").read_bytes()


def test_the_records_of_a_phase_come_alone_and_the_whole_is_the_bundled_one(tmp_path):
    pilot = bundled.bring("chain-soot", tmp_path, phases=("pilot",)).records()
    assert pilot.runs["run_id"].tolist() == list(pilot.recordings) == ["P01", "P02", "P03", "P04"]
    assert set(pilot.stations["run_id"]) == set(pilot.oil["run_id"]) == {"P01", "P02", "P03", "P04"}
    bundled.bring("chain-soot", tmp_path, phases=("pilot", "main"))
    raw = DATA / "chain-soot" / "raw"
    every = sorted(path.relative_to(raw) for path in raw.rglob("*.*") if path.is_file())
    assert len(every) == 21
    for path in every:
        assert (tmp_path / "raw" / path).read_bytes() == (raw / path).read_bytes(), path


def test_runs_that_are_still_to_come_are_in_no_table_and_no_recording(tmp_path):
    half = bundled.bring("chain-soot", tmp_path, phases=("main",), main_runs=7).records()
    made = [f"R{at:02d}" for at in range(1, 8)]
    assert half.runs["run_id"].tolist() == list(half.recordings) == made
    assert set(half.stations["run_id"]) == set(half.oil["run_id"]) == set(made)


def test_without_recordings_the_typed_figures_count(tmp_path):
    short = bundled.bring("chain-soot", tmp_path / "short", phases=("main",), recordings=False).records()
    whole = bundled.bring("chain-soot", tmp_path / "whole", phases=("main",)).records()
    assert not short.recordings and len(whole.recordings) == 12
    assert short.runs["elongation_pct"].tolist() == whole.runs["elongation_pct"].tolist()
    # Of 100.2 hours in the table the recording of R03 credits 99.8.
    hours = [found.runs.set_index("run_id").loc["R03", "run_time_h"] for found in (short, whole)]
    assert hours == pytest.approx([100.2, 99.8], abs=0.05)


def test_a_brief_that_was_edited_is_left_as_it_is(tmp_path):
    bundled.bring("sprocket-build", tmp_path)
    edited = (tmp_path / "campaign.toml").read_text("utf-8") + "# mine\n"
    (tmp_path / "campaign.toml").write_text(edited, encoding="utf-8")
    c = bundled.bring("sprocket-build", tmp_path, phases=("main",))
    assert (tmp_path / "campaign.toml").read_text("utf-8") == edited
    assert steps.check(c).lines[-1] == "records: 16 runs (16 valid), 0 findings"


def test_another_name_is_refused_with_the_nearest(tmp_path):
    with pytest.raises(CampaignError) as error:
        bundled.bring("chain-soft", tmp_path / "new")
    assert str(error.value) == (
        "'chain-soft': there is no such bundled campaign; there are 'chain-soot', 'pin-wear', 'sprocket-build' "
        "or 'tappet-finish'. Did you mean 'chain-soot'?"
    )
    assert not (tmp_path / "new").exists()
