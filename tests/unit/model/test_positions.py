"""Station positions: against statsmodels, against least squares with runs as columns, and by simulation."""

from __future__ import annotations

import functools

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.anova import AnovaRM

from tests.unit import briefs
from toolkit.brief.model import PlanChoice, Response, Stations
from toolkit.design import factorial, strata
from toolkit.errors import ModelError
from toolkit.model.fit import of_strata
from toolkit.model.positions import positions

Y = "elongation_pct"


def campaign(seed=1, stations=5, shift=0.0, more=0.0, rho=0.0, brief=None):
    """A 2x2 in three builds with k stations, INVENTED: a rise along the part, more of it with P1, neighbours alike."""
    brief, runs, held = _plan(stations) if brief is None else _planned(brief)
    runs = runs.copy()
    draw = np.random.default_rng(seed)
    place = np.arange(stations) - (stations - 1) / 2
    near = rho ** np.abs(np.subtract.outer(place, place))
    noise = draw.multivariate_normal(np.zeros(stations), 0.2**2 * near, len(runs))
    level = -2.0 + draw.normal(0.0, 0.1, len(runs))[:, None] + shift * place + noise
    level = level + more * place * (runs["pin"] == "P1").to_numpy()[:, None]
    wear = pd.DataFrame(np.exp(level), index=runs["run_id"], columns=[f"SEG{at + 1:02d}" for at in range(stations)])
    long = wear.stack().rename(Y).rename_axis(["run_id", "station_id"]).reset_index()
    return of_strata(brief, brief.responses[0], held, np.log(wear.mean(axis=1).to_numpy())), long, runs


@functools.cache
def _plan(stations):
    """The 2x2 in three builds, whose plan and strata are the same for all draws."""
    return _planned(
        briefs.blocked(responses=(Response(Y, stations=Stations("segment", stations), worthwhile_change_pct=20.0),))
    )


def _planned(brief):
    """The brief, its runs and their strata."""
    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    return brief, runs, strata.of_runs(brief, runs)


def test_f_is_that_of_least_squares_with_runs_as_columns():
    fit, long, runs = campaign(shift=0.1, more=0.05)
    made = positions(fit, long).tests.set_index("term")
    table = long.merge(runs, on="run_id").assign(y=lambda frame: np.log(frame[Y]))
    place = pd.get_dummies(table["station_id"]).to_numpy(float)

    def by_place(columns):
        """The columns in every position."""
        return np.hstack([place[:, [at]] * columns for at in range(place.shape[1])])

    def rest(*parts):
        """What least squares on these columns leaves."""
        x = np.hstack(parts)
        return float(((table["y"] - x @ np.linalg.lstsq(x, table["y"], rcond=1e-10)[0]) ** 2).sum())

    run, build = (pd.get_dummies(table[name]).to_numpy(float) for name in ("run_id", "build_id"))
    pin, oil = ((np.where(table[name] == level, 1.0, -1.0)[:, None]) for name, level in (("pin", "P1"), ("oil", "O1")))
    everything = [run, by_place(build), by_place(oil), by_place(pin * oil)]
    error = rest(*everything, by_place(pin)) / (6 * 4)
    # Balanced: the order does not matter.
    assert made.loc["position × pin", "f"] == pytest.approx((rest(*everything) / 4 - 6 * error) / error, rel=1e-7)
    without = rest(run, by_place(build), by_place(oil), by_place(pin))
    assert made.loc["position × pin × oil", "f"] == pytest.approx((without / 4 - 6 * error) / error, rel=1e-7)
    epsilon = made.loc["position", "epsilon"]
    assert made.loc["position × pin", "df"] == pytest.approx(4 * epsilon)
    assert made.loc["position × pin", "error_df"] == pytest.approx(6 * 4 * epsilon)


def test_position_alone_is_the_repeated_measures_table_of_statsmodels():
    brief = briefs.randomised(
        plan=PlanChoice(replicates=3),
        responses=(Response(Y, stations=Stations("segment", 4), worthwhile_change_pct=20.0),),
        factors=(briefs.factor("pin", "P0", "P1"),),
        comparisons=(),
    )
    fit, long, runs = campaign(stations=4, shift=0.1, brief=brief)
    table = long.merge(runs, on="run_id").assign(y=lambda frame: np.log(frame[Y]))
    # Within one pin statsmodels' AnovaRM is the whole design; pooled over the two by hand.
    f, error, hypothesis = [], 0.0, 0.0
    for _, part in table.groupby("pin"):
        found = AnovaRM(part, "y", "run_id", within=["station_id"]).fit().anova_table.loc["station_id"]
        f.append(found["F Value"])
        means = part.groupby("station_id")["y"].mean()
        own = part["run_id"].nunique() * float(((means - means.mean()) ** 2).sum())
        error += own / 3 / found["F Value"] * found["Den DF"]
    means = table.groupby("station_id")["y"].mean()
    hypothesis = 6 * float(((means - means.mean()) ** 2).sum()) / 3
    made = positions(fit, long).tests.set_index("term")
    assert made.loc["position", "f"] == pytest.approx(hypothesis / (error / 12), rel=1e-9)


def test_epsilon_is_that_of_its_other_formula():
    # Box (1954) from the covariance matrix of the stations itself: k^2 (mean variance - mean of all)^2 over ...
    fit, long, runs = campaign(rho=0.7)
    values = np.log(long.pivot(index="run_id", columns="station_id", values=Y).to_numpy())
    full = fit.strata.full_columns
    rest = values - full @ np.linalg.pinv(full) @ values
    s = rest.T @ rest / 6
    k = 5
    top = k**2 * (np.diag(s).mean() - s.mean()) ** 2
    down = (k - 1) * ((s**2).sum() - 2 * k * (s.mean(axis=1) ** 2).sum() + k**2 * s.mean() ** 2)
    assert positions(fit, long).tests["epsilon"].iloc[0] == pytest.approx(top / down, rel=1e-9)


@pytest.mark.parametrize("rho", [0.0, 0.8])
def test_false_alarms_stay_at_five_per_cent_also_with_neighbours_alike(rho):
    # 150 campaigns without effect of the treatments on the positions. Upper bound: 5 % + 3.24 binomial SE and half a
    # per cent for epsilon, which is estimated; without the correction rho = 0.8 gives 9 to 11 %.
    alarms = []
    for seed in range(150):
        fit, long, _ = campaign(seed=seed, rho=rho, shift=0.1)
        table = positions(fit, long).tests
        alarms.append(table["p_value"].astype(float).iloc[1:] < 0.05)
    share = float(np.mean(np.array(alarms)))
    assert share <= 0.055 + 3.24 * np.sqrt(0.05 * 0.95 / 150)


def scatter_within(long):
    """The SD of stations within a run, by least squares with runs and every combination and build by position."""
    fit, _, runs = campaign()
    table = long.merge(runs, on="run_id").assign(y=lambda frame: np.log(frame[Y]))
    place = pd.get_dummies(table["station_id"]).to_numpy(float)
    cells = pd.get_dummies(table["pin"] + table["oil"]).to_numpy(float)
    builds = pd.get_dummies(table["build_id"]).to_numpy(float)
    x = np.hstack([
        pd.get_dummies(table["run_id"]).to_numpy(float),
        *(place[:, [at]] * np.hstack([cells, builds]) for at in range(5)),
    ])
    rest = table["y"] - x @ np.linalg.lstsq(x, table["y"], rcond=1e-10)[0]
    return float(np.sqrt((rest**2).sum() / (6 * 4)))


def test_a_treatment_that_acts_at_one_end_is_found_and_the_worst_position_named():
    fit, long, _ = campaign(shift=0.15, more=0.25)
    made = positions(fit, long)
    told = made.tests.set_index("term")["sentence"]
    assert told["position"].startswith("positions wear differently (p = ")
    assert told["position × pin"].startswith("what pin does differs between positions (p = ")
    assert told["position × oil"].startswith("what oil does shows no difference between positions (p = ")
    last = made.means.iloc[-1]
    sd = scatter_within(long)

    def alike(count):
        # Expected largest of 5 and 10 standard normal values: Harter 1961 (from memory).
        return round(100.0 * np.expm1(sd * {5: 1.16296, 10: 1.53875}[count]))

    assert made.worst == (
        f"elongation_pct: SEG05 is the highest on average, and the highest of its run in {last['worst_in_runs']} of 12 "
        f"runs. By their "
        f"scatter within a run alone the highest of 5 alike stations lies about {alike(5)} % above their mean, that of "
        f"10 about {alike(10)} %. The highest of k stations grows with k, so it is compared only between parts with as "
        "many stations."
    )
    wide = np.log(long.pivot(index="run_id", columns="station_id", values=Y))
    assert last["estimate"] == pytest.approx(float(np.exp(wide["SEG05"].mean())))
    assert last["ratio_to_all"] == pytest.approx(float(np.exp((wide["SEG05"] - wide.mean(axis=1)).mean())))
    assert last["conf_low"] < last["ratio_to_all"] < last["conf_high"]


def test_positions_that_lack_in_a_run_are_left_out_and_named():
    fit, long, _ = campaign()
    long = long[~((long["run_id"] == "R03") & (long["station_id"] == "SEG02"))]
    made = positions(fit, long)
    assert made.notes == ("left out because some run lacks it: SEG02",)
    assert list(made.means["station_id"]) == ["SEG01", "SEG03", "SEG04", "SEG05"]


def test_what_cannot_be_told_says_so():
    fit, long, _ = campaign()
    long.loc[3, Y] = -0.001
    with pytest.raises(ModelError) as stopped:
        positions(fit, long)
    assert str(stopped.value) == (
        "elongation_pct: station SEG04 of run R01 has wear at or below nought, which the log scale cannot take. Look "
        "at it; or analyse positions on the linear scale."
    )
    with pytest.raises(ModelError) as stopped:
        positions(fit, long[long["station_id"] == "SEG01"])
    assert str(stopped.value).startswith("elongation_pct: fewer than two station positions are measured in every ")


def in_builds(seed=3, stations=2):
    """Six builds of one sprocket each, two oils within, k stations; a rise along the part, more with S1; INVENTED."""
    brief = briefs.whole_plots(
        responses=(Response(Y, stations=Stations("segment", stations), worthwhile_change_pct=20.0),),
        plan=PlanChoice(builds=6),
    )
    runs = factorial.full(brief).table
    runs["run_id"] = [f"R{at + 1:02d}" for at in range(len(runs))]
    draw = np.random.default_rng(seed)
    place = np.arange(stations) - (stations - 1) / 2
    build = pd.factorize(runs["build_id"])[0]
    level = draw.normal(0.0, 0.2, (6, stations))[build] + draw.normal(0.0, 0.1, (len(runs), stations)) - 2.0
    level = level + 0.3 * place * (runs["sprocket"] == "S1").to_numpy()[:, None]
    wear = pd.DataFrame(np.exp(level), index=runs["run_id"], columns=[f"SEG{at + 1:02d}" for at in range(stations)])
    long = wear.stack().rename(Y).rename_axis(["run_id", "station_id"]).reset_index()
    laid = strata.of_runs(brief, runs)
    return of_strata(brief, brief.responses[0], laid, np.log(wear.mean(axis=1).to_numpy())), long, runs


def test_where_builds_are_units_each_term_is_judged_by_its_own_scatter():
    fit, long, runs = in_builds()
    made = positions(fit, long)
    # Two stations are one difference a run: its analysis of variance by means of builds (textbook split plot).
    wide = np.log(long.pivot(index="run_id", columns="station_id", values=Y)).loc[runs["run_id"]]
    apart = runs.assign(d=(wide["SEG02"] - wide["SEG01"]).to_numpy())
    means = apart.pivot_table(values="d", index="build_id", columns="oil")
    sprocket = apart.groupby("build_id")["sprocket"].first()
    build, change = means.mean(axis=1), means["O1"] - means["O0"]
    groups = [build[sprocket == name] for name in ("S0", "S1")]
    error = 2 * sum(((one - one.mean()) ** 2).sum() for one in groups) / 4
    changes = [change[sprocket == name] for name in ("S0", "S1")]
    inner = 0.5 * sum(((one - one.mean()) ** 2).sum() for one in changes) / 4
    by_hand = {
        "position": 12 * build.mean() ** 2 / error,
        "position × sprocket": 12 * ((groups[1].mean() - groups[0].mean()) / 2) ** 2 / error,
        "position × oil": 12 * (change.mean() / 2) ** 2 / inner,
        "position × sprocket × oil": 12 * ((changes[1].mean() - changes[0].mean()) / 4) ** 2 / inner,
    }
    table = made.tests.set_index("term")
    assert set(table.index) == set(by_hand)
    for name, f in by_hand.items():
        row = table.loc[name]
        assert (row["f"], row["df"], row["error_df"]) == (pytest.approx(f, rel=1e-9), 1.0, 4.0)
    # A station against all by its own scatter between builds.
    off = 0.5 * build
    scatter = sum(((one - one.mean()) ** 2).sum() for one in (0.5 * item for item in groups)) / 4
    last = made.means.set_index("station_id").loc["SEG02"]
    half = 2.7764451051977987 * np.sqrt(scatter / 6)
    assert last["ratio_to_all"] == pytest.approx(float(np.exp(off.mean())), rel=1e-9)
    assert last["conf_high"] == pytest.approx(float(np.exp(off.mean() + half)), rel=1e-9)
    assert made.notes == ()


def test_where_builds_lost_a_run_stations_are_not_compared():
    fit, long, runs = in_builds()
    laid = strata.of_runs(fit.brief, runs.iloc[1:])
    broken = of_strata(fit.brief, fit.response, laid, fit.y[1:])
    with pytest.raises(ModelError) as stopped:
        positions(broken, long)
    assert str(stopped.value) == (
        f"{Y}: {laid.unbalanced}, and positions are compared by exact mean squares only: not told."
    )
