"""The generator draws what its scenario says: levels, drift, positions, time course, gauge, order."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.demo.make_data import brief_of, planned
from toolkit.demo import generator, metals, scenarios, tables
from toolkit.errors import BriefError

CHAIN = scenarios.CHAIN
TRUTH = CHAIN.truths[0]
BRIEF = brief_of("chain-soot")
LAYOUT = generator.layout_of(BRIEF, planned(BRIEF))
STILL = replace(TRUTH, build_sd=0.0, run_sd=0.0, station_sd=0.0, reading_sd=0.0)


def test_runs_are_numbered_within_builds_and_from_the_first_main_run():
    assert LAYOUT.runs["run_id"].tolist()[3:6] == ["P04", "R01", "R02"]
    assert LAYOUT.build.tolist() == [build for build in range(4) for _ in range(4)]
    assert LAYOUT.in_build.tolist() == [0, 1, 2, 3] * 4
    assert LAYOUT.in_campaign.tolist() == list(range(-4, 12))
    assert LAYOUT.factors == ("pin", "oil")


def test_wear_without_scatter_is_the_formula():
    drawn = generator.simulate(STILL, LAYOUT, 1, np.random.default_rng(1))
    for row, (pin, oil) in enumerate(LAYOUT.runs[["pin", "oil"]].to_numpy()):
        # By hand: ln 0.115, -0.25, -0.16, -0.10 together, 0.015 a run in the build, 0.004 in the campaign,
        # +0.05 at the first segment, -0.05 at the last.
        ln = math.log(0.115) - 0.25 * (pin == "P1") - 0.16 * (oil == "O1") - 0.10 * (pin == "P1" and oil == "O1")
        ln += 0.015 * (row % 4) + 0.004 * (row - 4)
        assert drawn.measured[0, row, 0] == pytest.approx(math.exp(ln + 0.05), rel=1e-12)
        assert drawn.measured[0, row, 9] == pytest.approx(math.exp(ln - 0.05), rel=1e-12)
    assert drawn.measured.shape == (1, 16, 10) and drawn.run_values.shape == (1, 16)


def test_held_variables_act_with_their_slopes_and_are_cut_at_three_sds():
    quiet = replace(STILL, station_shift=(0.0,))
    plain = generator.simulate(quiet, LAYOUT, 500, np.random.default_rng(2)).true
    drawn = generator.simulate(quiet, LAYOUT, 500, np.random.default_rng(2), held=CHAIN.held)
    soot, sump = drawn.held["soot_pct"], drawn.held["sump_temp_degC"]
    expected = 0.12 * (soot - 3.0) + 0.010 * (sump - 100.0)
    np.testing.assert_allclose(np.log(drawn.true / plain)[:, :, 0], expected, atol=1e-12)
    assert 0.08 * 2.9 < np.abs(soot - 3.0).max() <= 0.08 * 3 + 1e-12
    assert soot.std() == pytest.approx(0.08, rel=0.03) and sump.std() == pytest.approx(0.3, rel=0.03)


def test_every_scatter_has_its_size():
    # 4,000 campaigns: standard errors of SDs below 0.4 % of 12,000 and more draws; 3 % is far beyond chance.
    drawn = generator.simulate(TRUTH, LAYOUT, 4000, np.random.default_rng(3))
    assert drawn.builds.std() == pytest.approx(0.08, rel=0.03)
    assert drawn.runs.std() == pytest.approx(0.12, rel=0.03)
    within = np.log(drawn.true) - np.array(TRUTH.station_shift)
    assert within.std(axis=2, ddof=1).mean() == pytest.approx(0.15 * 0.9727, rel=0.01)  # c4 of ten values
    assert (drawn.measured - drawn.true).std() == pytest.approx(0.0054, rel=0.01)
    twice = generator.simulate(TRUTH, LAYOUT, 4000, np.random.default_rng(3), readings=2)
    assert (twice.measured - twice.true).std() == pytest.approx(0.0054 / math.sqrt(2), rel=0.01)


def test_shuffling_draws_every_order_within_builds_equally_often():
    quiet = replace(STILL, station_shift=(0.0,), changes={})
    drawn = generator.simulate(quiet, LAYOUT, 6000, np.random.default_rng(4), shuffle=True)
    place = (np.log(drawn.true[:, :, 0] / 0.115) - 0.004 * (4 * (LAYOUT.build - 1))) / 0.019
    place = np.round(place, 6).reshape(6000, 4, 4)
    assert (np.sort(place, axis=2) == np.arange(4)).all()
    for position in range(4):
        share = (place == position).mean(axis=0)
        assert np.abs(share - 0.25).max() < 4 * math.sqrt(0.25 * 0.75 / 6000)


def test_wear_over_time_runs_in_and_then_is_steady():
    # Stated: h(t) = 0.045 (1 - exp(-t/6)) + 0.0007 t, so that h(100) = 0.115.
    assert float(generator.share_worn(100.0, 100.0)) == 1.0
    assert float(generator.share_worn(6.0, 100.0)) == pytest.approx((0.045 * 0.632121 + 0.0042) / 0.115, rel=1e-5)
    assert float(generator.share_worn(0.0, 100.0)) == 0.0
    late = generator.share_worn(np.array([60.0, 80.0, 100.0]), 100.0)
    assert np.diff(late) == pytest.approx([0.0007 * 20 / 0.115] * 2, rel=1e-3)


def test_linear_scale_adds_and_has_no_time_course():
    truth = scenarios.SPROCKET.truths[1]
    brief = brief_of("sprocket-build")
    layout = generator.layout_of(brief, planned(brief))
    still = replace(truth, build_sd=0.0, run_sd=0.0)
    drawn = generator.simulate(still, layout, 1, np.random.default_rng(5), worn=0.5)
    # By hand: 4.80 N·m, 0.12 less with the second oil.
    expected = [4.80 - 0.12 * (oil == "A1") for oil in layout.runs["oil"]]
    assert drawn.run_values[0].tolist() == pytest.approx(expected)


def test_the_stopped_run_has_the_wear_of_its_hours():
    made = tables.campaign(BRIEF, planned(BRIEF), CHAIN, seed=5)
    longer = replace(CHAIN, incidents=tuple(item for item in CHAIN.incidents if item.run_id != "R08"))
    whole = tables.campaign(BRIEF, planned(BRIEF), longer, seed=5)

    def wear(drawn, run):
        own = drawn["stations"].query("run_id == @run")
        means = own.groupby("state")["elongation_pct"].mean()
        return means["after"] - means["before"]

    share = float(generator.share_worn(41.3, 100.0))
    assert share == pytest.approx(0.6423, abs=5e-5)  # (0.045 x 0.99897 + 0.0007 x 41.3) / 0.115
    assert wear(made, "R08") / wear(whole, "R08") == pytest.approx(share, rel=0.01)
    assert wear(made, "R07") == wear(whole, "R07")


def test_iron_starts_from_new_oil_and_what_was_carried_over():
    made = tables.campaign(BRIEF, planned(BRIEF), CHAIN, seed=5)
    oil, runs = made["oil"], made["runs"]
    start = oil[oil["at_h"] == 0].set_index("run_id")
    end = oil[oil["at_h"] == 100].set_index("run_id")
    for before, run in zip(runs["run_id"][:10], runs["run_id"][1:11], strict=True):
        carried = float(runs.set_index("run_id").loc[run, "carry_over_pct"]) / 100.0
        # Repeatability SD near 1.3 mg/kg: 0.13 x 1.3^0.8 / 2.77 = 0.06; figures have one decimal.
        assert start.loc[run, "fe_ppm"] == pytest.approx(1.0 + carried * end.loc[before, "fe_ppm"], abs=4 * 0.06 + 0.06)
    assert start["cr_ppm_below_limit"].all() and (start["cr_ppm"] == metals.LOWEST["cr_ppm"]).all()
    assert not end["cr_ppm_below_limit"].any()


def test_the_laboratory_scatters_by_its_repeatability():
    # r = 0.13 x 30^0.8 = 1.975, SD 0.713: 2.4 % of 30 mg/kg, as the table of the standard gives.
    found = metals.analysed(np.full(40_000, 30.0), "fe_ppm", np.random.default_rng(6))
    assert found.std() / 30.0 == pytest.approx(0.0238, rel=0.02)
    assert found.mean() == pytest.approx(30.0, abs=4 * 0.713 / 200)


def test_history_scatters_about_its_sd_with_its_df():
    drawn = np.array(
        [
            tables.history("x_mg", "log", "mean", {"run": (0.13, (6, 6))}, prefix="A", rig_state="as now", seed=seed)[
                "sd"
            ]
            for seed in range(600)
        ]
    )
    # E s2 = 0.13^2 exp(2 x 0.1^2), as campaigns differ by 10 % (lognormal); Var s2 / E2 = (1 + 2/6) exp(4 x
    # 0.1^2) - 1.
    square = (drawn**2).ravel()
    mean = 0.13**2 * math.exp(2 * 0.1**2)
    relative = math.sqrt((1 + 2 / 6) * math.exp(4 * 0.1**2) - 1)
    assert square.mean() == pytest.approx(mean, rel=4 * relative / math.sqrt(1200))
    assert square.std() / square.mean() == pytest.approx(relative, rel=0.2)
    one = tables.history("x_mg", "log", "mean", {"run": (0.13, (6, 3))}, prefix="A", rig_state="as now", seed=1)
    assert one["campaign_id"].tolist() == ["A1", "A2"] and one["df"].tolist() == [6, 3]
    assert list(one) == ["campaign_id", "response", "scale", "per_run", "stratum", "sd", "df", "rig_state"]


def test_there_is_no_scenario_of_another_name():
    with pytest.raises(BriefError, match="'someone-else': no scenario has this id, so no truth is known of it"):
        scenarios.of("someone-else")
