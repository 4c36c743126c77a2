"""Groups of stations against least squares on hand-made means."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from tests.unit import briefs
from tests.unit.model.test_positions import Y, campaign
from toolkit.brief.model import Response, Stations
from toolkit.errors import ModelError
from toolkit.model.station_groups import station_groups

GROUPS = {"near": ("SEG01", "SEG02"), "far": ("SEG04", "SEG05")}


def grouped(groups=GROUPS, **more):
    """A 2x2 in three builds of five stations in groups, INVENTED."""
    stations = Stations("segment", 5, groups=groups)
    brief = briefs.blocked(responses=(Response(Y, stations=stations, worthwhile_change_pct=20.0),))
    return campaign(brief=brief, **more)


def by_hand(runs, values):
    """The change by the coating with its p, by least squares with dummies."""
    x = np.column_stack([
        np.ones(12),
        runs["pin"] == "P1",
        runs["oil"] == "O1",
        (runs["pin"] == "P1") & (runs["oil"] == "O1"),
        pd.get_dummies(runs["build_id"]).to_numpy()[:, 1:],
    ]).astype(float)
    change = np.zeros(x.shape[1])
    change[[1, 3]] = 1.0, 0.5
    told = sm.OLS(values, x).fit().t_test(change)
    return float(told.effect[0]), float(told.pvalue)


def test_each_group_is_judged_by_its_own_mean_and_groups_by_their_difference():
    fit, long, runs = grouped(shift=0.1, more=0.3)
    found = station_groups(fit, long)
    wide = long.pivot(index="run_id", columns="station_id", values=Y).loc[runs["run_id"]]
    near, far = (np.log(wide[list(ids)].mean(axis=1).to_numpy()) for ids in GROUPS.values())
    rows = found.comparisons.set_index(["group", "comparison"])
    for name, values in (("near", near), ("far", far), ("other stations", np.log(wide["SEG03"].to_numpy()))):
        effect, p = by_hand(runs, values)
        row = rows.loc[(name, "coating")]
        assert (np.log(row["estimate"]), row["p_value"]) == pytest.approx((effect, p), rel=1e-8)
        assert row["df"] == 6
    apart = found.apart.set_index(["group", "comparison"]).loc[("far", "coating")]
    effect, p = by_hand(runs, far - near)
    assert (np.log(apart["estimate"]), apart["p_value"]) == pytest.approx((effect, p), rel=1e-8)
    assert found.stations == {**GROUPS, "other stations": ("SEG03",)}
    assert found.sentences[0] == (
        f"coating, far against near: a ratio of ratios of {apart['estimate']:.3g} ({apart['conf_low']:.3g} to "
        f"{apart['conf_high']:.3g}, p = {apart['p_value']:.2g}): it is another one there"
    )
    assert found.to_json()["stations"]["near"] == ["SEG01", "SEG02"]


def test_groups_that_answer_alike_say_so_and_none_named_is_none():
    fit, long, _ = grouped()
    assert "no difference between the groups is shown" in station_groups(fit, long).sentences[0]
    fit, long, _ = campaign()
    assert station_groups(fit, long) is None


def test_stations_that_are_not_there_are_told_at_once():
    fit, long, _ = grouped(groups={"near": ("SEG1", "SEG02"), "far": ("SEG05",)})
    with pytest.raises(ModelError) as stopped:
        station_groups(fit, long[~((long["station_id"] == "SEG05") & (long["run_id"] == "R03"))])
    assert str(stopped.value) == (
        "elongation_pct: groups of stations cannot be compared.\n"
        "  group 'near', station 'SEG1': not on record; expected one of SEG01, SEG02, SEG03, SEG04, SEG05. Did you "
        "mean 'SEG01'?\n"
        "  group 'far', station 'SEG05': no wear in R03; expected wear in every analysed run."
    )
    fit, long, _ = grouped()
    long.loc[long["run_id"] == "R02", Y] = -0.1
    with pytest.raises(ModelError) as stopped:
        station_groups(fit, long)
    assert str(stopped.value) == (
        "elongation_pct: the mean wear of group 'near' in run R02 is at or below nought, which the log scale cannot "
        "take. Look at its stations; or analyse on the linear scale."
    )
