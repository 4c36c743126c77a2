"""The bundled campaigns: drawn again byte for byte, INVENTED, and telling what data/README.md says."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.demo.make_data import (
    DATA,
    MEASURED,
    SEEDS,
    brief_of,
    planned,
    recorded,
    spread_over_1000_seeds,
    tables,
    texts,
)
from toolkit.demo import generator, oracle, scenarios
from toolkit.demo import tables as raw_tables
from toolkit.demo.recordings import IN_CHAIN
from toolkit.errors import BriefError
from toolkit.intake import records

README = (DATA / "README.md").read_text(encoding="utf-8")


def raw(name: str, table: str) -> pd.DataFrame:
    """A kept table as it stands in the file."""
    return pd.read_csv(DATA / name / table, keep_default_na=False, na_values=[])


def elongation() -> pd.DataFrame:
    """Runs of chain-soot with the mean wear of their segments, by plain group means of the kept tables."""
    stations = raw("chain-soot", "raw/stations.csv")
    means = stations.groupby(["run_id", "station_id", "state"])["elongation_pct"].mean().unstack("state")
    wear = (means["after"] - means["before"]).groupby("run_id").mean()
    return raw("chain-soot", "raw/runs.csv").assign(wear=lambda runs: runs["run_id"].map(wear))


@pytest.mark.parametrize("name", [*SEEDS, MEASURED])
def test_every_byte_is_drawn_again(name):
    made = texts(name)
    assert {path: (DATA / name / path).read_text(encoding="utf-8") for path in made} == made
    # What stands in recordings is drawn again in test_recordings.py.
    packed = recorded() if name == "chain-soot" else {}
    kept = {path.relative_to(DATA / name).as_posix() for path in (DATA / name).rglob("*") if path.is_file()}
    assert kept == {*made, *packed, "campaign.toml"}


@pytest.mark.parametrize("name", SEEDS)
def test_it_says_that_it_is_invented(name):
    brief = (DATA / name / "campaign.toml").read_text(encoding="utf-8").splitlines()
    assert brief[0].startswith("# INVENTED demonstration: ")
    assert set(raw(name, "truth.csv")["origin"]) == {"INVENTED"}
    for table, column in (
        ("raw/stations.csv", "part_id"),
        ("raw/oil.csv", "sample_id"),
        ("raw/rig-history.csv", "campaign_id"),
    ):
        if (DATA / name / table).exists():
            assert raw(name, table)[column].str.startswith("INV-").all()
    assert f"`{name}`" in README and "Everything in this folder is INVENTED" in README


def test_chain_soot_has_the_runs_and_readings_of_its_brief():
    runs, stations, oil = (raw("chain-soot", f"raw/{table}.csv") for table in ("runs", "stations", "oil"))
    assert list(runs["run_id"]) == [
        *(f"P{at:02d}" for at in range(1, 5)),
        *(f"R{at:02d}" for at in range(1, 13)),
    ]
    main = runs[runs["phase"] == "main"]
    assert main.groupby(["build_id", "pin", "oil"]).size().tolist() == [1] * 12
    pilot = runs[runs["phase"] == "pilot"]
    assert pilot.groupby(["build_id", "pin", "oil"]).size().to_dict() == {
        ("PB1", "P0", "O0"): 2,
        ("PB1", "P1", "O0"): 2,
    }
    assert stations.groupby(["run_id", "state", "reading"]).size().tolist() == [10] * (16 * 2 * 2)
    assert stations.groupby("run_id")["part_id"].nunique().tolist() == [1] * 16
    assert stations["part_id"].nunique() == 16
    hours = oil.groupby("run_id")["at_h"].agg(tuple)
    assert hours.drop("R08").unique().tolist() == [(0, 20, 40, 60, 80, 100)]
    assert hours["R08"] == (0, 20, 40)


def test_intake_finds_the_stopped_run_the_one_to_review_what_was_put_into_recordings_and_nothing_else():
    made = records.read(DATA / "chain-soot", brief_of("chain-soot"))
    told = made.findings[["severity", "run_id", "column", "rule"]].to_numpy().tolist()
    assert sorted(told, key=lambda one: (one[1], one[2] or "", one[3])) == [
        ["note", "P02", None, "recording"],
        ["note", "R03", None, "recording"],
        ["note", "R03", "run_time_h", "two figures"],
        ["note", "R05", None, "recording"],
        ["note", "R06", "sump_temp_degC", "recording"],
        ["note", "R08", None, "sweeps"],
        ["note", "R08", "fe_ppm", "last sample"],
        ["note", "R08", "run_time_h", "window"],
        ["note", "R09", None, "sweeps"],
        ["note", "R10", "sump_temp_degC", "quality index"],
        ["note", "R10", "sump_temp_degC", "window"],
        ["note", "R11", None, "recording"],
    ]
    # Each defect is found, and R08 besides, which stopped.
    assert {run for _, run, _, _ in told} == {*IN_CHAIN, "R08"}
    verdicts = made.runs.set_index("run_id")["verdict"]
    assert verdicts.drop("R08").eq("valid").all() and verdicts["R08"] == "invalid"
    reasons = made.runs.set_index("run_id")["reason"]
    assert reasons[reasons != ""].to_dict() == {
        "R08": "stopped at 41.3 h: coolant hose burst; chain measured, not to be compared",
        "R10": "reviewed: sump 5 degC hot for 40 h (cooler valve stuck); within limits, run counts",
    }


@pytest.mark.parametrize("name", ["tappet-finish", "sprocket-build"])
def test_the_other_campaigns_come_in_without_a_finding(name):
    assert records.read(DATA / name, brief_of(name)).findings.empty


@pytest.mark.parametrize("name", SEEDS)
def test_a_clean_run_is_never_flagged(name):
    # Held variables are cut at three SDs from their mean; windows, limits and bounds of the brief lie
    # further out.
    brief, scenario = brief_of(name), scenarios.of(name)
    held = {item.name: item for item in brief.held}
    assert set(held) == {item.name for item in scenario.held}
    for item in scenario.held:
        low, high = held[item.name].window
        assert low < item.mean - 3 * item.sd and item.mean + 3 * item.sd < high
        assert item.mean == held[item.name].target
    low, high = brief.protocol.run_time_h.window
    assert low <= scenario.hours and scenario.hours * 1.003 < high
    for column, (_, highest, _) in (scenario.logged or {}).items():
        assert highest < brief.protocol.max[column]
    assert {"carry_over_pct", *(scenario.logged or {})} >= set(brief.protocol.max)
    layout = generator.layout_of(brief, planned(brief))
    drawn = generator.simulate(scenario.truths[0], layout, 2000, np.random.default_rng(5), held=scenario.held)
    for column, values in drawn.held.items():
        low, high = held[column].window
        assert values.min() > low and values.max() < high


def test_the_review_run_lies_outside_the_window_and_within_the_limits():
    brief = brief_of("chain-soot")
    run = raw("chain-soot", "raw/runs.csv").set_index("run_id").loc["R10"]
    held = next(item for item in brief.held if item.name == "sump_temp_degC")
    assert held.window[1] < float(run["sump_temp_degC"]) < held.limits[1]


def test_truth_stands_beside_it():
    truth = raw("chain-soot", "truth.csv")
    medians = truth[truth["kind"] == "median"].set_index("of")["value"].astype(float)
    # Medians of the scenario as printed in its description.
    assert medians.round(3).to_dict() == {"P0 O0": 0.115, "P1 O0": 0.090, "P0 O1": 0.098, "P1 O1": 0.069}
    value = truth.set_index(["kind", "of"])["value"].astype(float)
    assert [value["change in ln", of] for of in ("P1", "O1", "P1 O1")] == [-0.25, -0.16, -0.10]
    assert [value["sd in ln", of] for of in ("build", "run", "station")] == [0.08, 0.12, 0.15]
    assert value["sd as measured", "reading"] * math.sqrt(2) == pytest.approx(0.0054, abs=2e-6)
    # What is measured is the truth: ln wear less everything drawn is segments, gauge and held variables only.
    runs = elongation().query("verdict == 'valid'")
    place = {"P": -5, "R": -1}
    left = [
        math.log(run.wear)
        - math.log(medians[f"{run.pin} {run.oil}"])
        - value["drawn in ln", f"build {run.build_id}"]
        - value["drawn in ln", f"run {run.run_id}"]
        - 0.004 * (run.planned_order + place[run.run_id[0]])
        - 0.015 * ((run.planned_order - 1) % 4)
        for run in runs.itertuples()
    ]
    # SD of a mean of ten segments 0.15 / sqrt(10) = 0.047 (and 0.011 of its ln from the skewness), soot
    # 0.0096.
    assert np.mean(left) == pytest.approx(0.15**2 / 2, abs=4 * 0.05 / math.sqrt(15))
    assert 0.02 < np.std(left) < 0.09


def test_the_lesson_of_the_chosen_seed():
    runs = elongation().query("phase == 'main' and verdict == 'valid'").reset_index(drop=True)
    brief = brief_of("chain-soot")
    blocks = pd.factorize(runs["build_id"])[0]
    contrasts = np.array([oracle.weights(brief, item) for item in brief.comparisons])
    made = oracle.least_squares(np.log(runs["wear"].to_numpy())[None], oracle.cells_of(brief, runs), blocks, contrasts)
    pin, oil, both, interaction = made.p_value[0]
    assert made.df == 5 and pin < 0.01 and 0.02 < oil < 0.15 and both < 0.01 and interaction > 0.1
    assert oil > 0.05
    truth = [-0.30, -0.21, -0.51, -0.10]
    assert np.abs((made.estimate[0] - truth) / made.std_error[0]).max() < 1.2


def test_the_pilot_scatters_as_it_should():
    pilot = elongation().query("phase == 'pilot'")
    values = np.log(pilot["wear"]).groupby(pilot["pin"])
    sd = math.sqrt((values.var() * (values.size() - 1)).sum() / 2)
    assert 0.09 < sd < 0.17


def test_segments_and_iron_of_the_pilot_scatter_as_usual():
    stations = raw("chain-soot", "raw/stations.csv")
    stations = stations[stations["run_id"].str.startswith("P")]
    means = stations.groupby(["run_id", "station_id", "state"])["elongation_pct"].mean().unstack("state")
    ln = np.log(means["after"] - means["before"]).unstack("station_id").to_numpy()
    left = ln - ln.mean(axis=0) - ln.mean(axis=1, keepdims=True) + ln.mean()
    assert math.sqrt((left**2).sum() / 27) == pytest.approx(0.154, abs=2 * 0.154 / math.sqrt(2 * 27))
    oil = raw("chain-soot", "raw/oil.csv").pivot(index="run_id", columns="at_h", values="fe_ppm")
    pilot = raw("chain-soot", "raw/runs.csv").query("phase == 'pilot'")
    rise = np.log((oil[100] - oil[0])[pilot["run_id"]].to_numpy(dtype=float))
    assert 0.09 < oracle.pilot_sd(rise[None], (pilot["pin"] == "P1").to_numpy())[0] < 0.17


def test_another_brief_is_refused_by_the_spread():
    brief = replace(brief_of("chain-soot"), comparisons=brief_of("chain-soot").comparisons[:2])
    told = (
        "the spread over seeds is drawn for the bundled campaign chain-soot as it comes; the brief '{}' differs "
        "from it. Read the one in data/chain-soot/campaign.toml."
    )
    with pytest.raises(BriefError) as refused:
        oracle.spread(brief)
    assert str(refused.value) == told.format("chain-soot")
    with pytest.raises(BriefError) as refused:
        oracle.spread(brief_of("tappet-finish"))
    assert str(refused.value) == told.format("tappet-finish")


def test_the_spread_over_seeds_is_of_the_same_campaigns():
    brief = brief_of("chain-soot")
    spread = oracle.spread(brief, seeds=30)
    for seed in (1, 17, 30):
        drawn = raw_tables.campaign(brief, planned(brief), scenarios.CHAIN, seed=seed)
        means = drawn["stations"].groupby(["run_id", "station_id", "state"])["elongation_pct"].mean().unstack("state")
        wear = np.log((means["after"] - means["before"]).groupby("run_id").mean())
        runs = drawn["runs"].query("phase == 'main' and verdict == 'valid'")
        both = oracle.least_squares(
            wear[runs["run_id"]].to_numpy()[None],
            oracle.cells_of(brief, runs),
            pd.factorize(runs["build_id"])[0],
            np.array([oracle.weights(brief, item) for item in brief.comparisons]),
        )
        mine = spread.by_seed[spread.by_seed["seed"] == seed]
        assert list(mine["comparison"]) == [item.name for item in brief.comparisons]
        np.testing.assert_allclose(mine["p_value"], both.p_value[0], rtol=1e-9)
        np.testing.assert_allclose(mine["change_pct"], 100 * np.expm1(both.estimate[0]), rtol=1e-9)
    pilot = drawn["runs"].query("phase == 'pilot'")
    values = wear[pilot["run_id"]].groupby(list(pilot["pin"]))
    assert mine["pilot_sd"].unique() == pytest.approx([math.sqrt(values.var().sum() / 2)])


def test_the_readme_says_what_the_spread_shows():
    spread = raw("chain-soot", "spread.csv").set_index("comparison")
    assert (spread["seeds"] == 1000).all() and set(spread["story_pct"]) == {12.1}
    assert spread["shown_pct"].round().to_dict() == {
        "coating": 81,
        "new oil": 63,
        "both together": 98,
        "coating needs the new oil": 5,
    }
    shares = spread[
        [name for name in spread if name.endswith("_pct") and not name.startswith(("shown", "story", "change"))]
    ]
    assert shares.shape[1] == 6 and shares.sum(axis=1).tolist() == pytest.approx([100.0] * 4)
    by_seed = spread_over_1000_seeds().by_seed
    told = oracle.story(by_seed)
    pilot = by_seed.drop_duplicates("seed")["pilot_sd"].between(0.09, 0.17).to_numpy()
    assert (100 * told.mean(), 100 * (told & pilot).mean()) == pytest.approx((12.1, 5.2))
    assert told[oracle.TEACHING_SEED - 1] and pilot[oracle.TEACHING_SEED - 1]
    assert f"The seed of the data ({oracle.TEACHING_SEED})" in README
    for text in ("12.1 %", "5.2 %", "81 %", "63 %", "in 5 %", "18 %"):
        assert text in README


def test_history_lends_the_scatter_of_the_rig():
    history = raw("chain-soot", "raw/rig-history.csv")
    now = history[(history["rig_state"] == "as now") & (history["response"] == "elongation_pct")]
    sd, df = now["sd"].astype(float), now["df"].astype(float)
    assert len(now) == 8
    # Pooled: sqrt(sum df s2 / sum df), about 0.13 within 3 SE = 0.13 x 3 / sqrt(2 x 49), campaigns
    # differing by 10 %.
    assert math.sqrt((df * sd**2).sum() / df.sum()) == pytest.approx(0.13, abs=0.04)
    assert history.groupby(["response", "rig_state"]).size().to_dict() == {
        ("elongation_pct", "as now"): 8,
        ("elongation_pct", "before the dynamometer was changed"): 1,
        ("fe_ppm", "as now"): 8,
    }


def test_the_second_campaign_shares_no_name_with_the_first():
    first, second = brief_of("chain-soot"), brief_of("tappet-finish")

    def names(brief):
        return {
            *brief.factor_names,
            *(level for factor in brief.factors for level in factor.names),
            brief.id,
            *(item.name for item in brief.responses),
            *(item.name for item in brief.comparisons),
            *(item.name for item in brief.families),
            *(item.name for item in brief.held),
            *(item.stations.kind for item in brief.responses if item.stations),
        }

    assert names(first) & names(second) == set()
    assert [len(factor.levels) for factor in second.factors] == [3]
    assert len(second.comparisons) == 2 and second.block_by is None
    runs = raw("tappet-finish", "raw/runs.csv")
    assert runs.loc[runs["verdict"] == "pending", "run_id"].tolist() == ["R15"]
    assert runs[runs["phase"] == "main"].groupby("finish").size().tolist() == [5, 5, 5]
    assert "R15" not in set(raw("tappet-finish", "raw/stations.csv")["run_id"])


def test_the_third_campaign_changes_the_sprocket_with_the_build_only():
    runs = raw("sprocket-build", "raw/runs.csv")
    main = runs[runs["phase"] == "main"]
    assert main.groupby("build_id")["sprocket"].nunique().tolist() == [1] * 8
    assert main.groupby("build_id")["oil"].nunique().tolist() == [2] * 8
    assert main.groupby("sprocket")["build_id"].nunique().tolist() == [4, 4]
    assert planned(brief_of("sprocket-build"))[1].design.strata.layout == "whole plots"


def test_another_seed_gives_other_records_of_the_same_plan():
    one, other = tables("sprocket-build")["raw/runs.csv"], tables("sprocket-build", seed=11)["raw/runs.csv"]
    plan = ["run_id", "phase", "build_id", "planned_order", "sprocket", "oil"]
    assert one[plan].equals(other[plan]) and (one["elongation_um"] != other["elongation_um"]).all()
