"""The scatter that sizing rests on: hand algebra, table factors of chi-square, and the history's worked vector.

Factors of a chi-square interval of an SD on 2 df (0.52 to 6.28): handbook table. History vector: six invented campaigns
whose prior was worked out by hand once (d0 16.16 capped at 6, s0^2 .018643; blended with .030 on 3 df: .022429 on 9).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.unit import briefs
from toolkit.brief.model import KnownScatter, Response
from toolkit.design import factorial
from toolkit.errors import SizingError
from toolkit.size import scatter

BRIEF = briefs.blocked()


def pilot(values, brief=BRIEF, builds=("PB1",) * 4):
    pairs = [("P0", "O0"), ("P1", "O0")] * 2
    return pd.DataFrame(
        {
            "run_id": [f"P0{n}" for n in range(1, 5)],
            "phase": "pilot",
            "build_id": list(builds),
            "pin": [pair[0] for pair in pairs],
            "oil": [pair[1] for pair in pairs],
            "verdict": "valid",
            brief.responses[0].name: values,
        }
    )


def past(sd=None):
    sd = np.sqrt([0.004, 0.020, 0.015, 0.052, 0.009, 0.025]) if sd is None else sd
    return pd.DataFrame(
        {
            "campaign_id": [f"c{n}" for n in range(6)],
            "response": "elongation_pct",
            "scale": "log",
            "per_run": "mean",
            "stratum": "run",
            "sd": sd,
            "df": [4, 6, 3, 6, 4, 5],
            "rig_state": "as now",
        }
    )


def test_a_pilot_of_four_runs_tells_little():
    values = [0.10, 0.08, 0.12, 0.09]
    found = scatter.known(BRIEF, "elongation_pct", runs=pilot(values))
    # Two pairs: SD^2 = (ln(.12/.10)^2 / 2 + ln(.09/.08)^2 / 2) / 2.
    by_hand = np.sqrt((np.log(1.2) ** 2 / 2 + np.log(1.125) ** 2 / 2) / 2)
    line = found.table.iloc[0]
    assert found.basis == "pilot"
    assert (line["source"], line["stratum"], line["df"], bool(line["used"])) == ("pilot", "run", 2, True)
    assert line["sd"] == pytest.approx(by_hand)
    assert (line["conf_low"] / by_hand, line["conf_high"] / by_hand) == pytest.approx((0.52, 6.28), abs=0.006)


def test_a_run_read_in_another_unit_is_named():
    told = scatter.known(BRIEF, "elongation_pct", runs=pilot([0.31, 0.24, 310.0, 0.27])).notes
    assert (
        "elongation_pct: pilot runs P01 (0.31) and P03 (310) were made alike and lie a factor of 1,000 apart: look "
        "whether one of them was read in another unit, and put the figure right in its table or file (`wearbook "
        "intake` takes the change in)."
    ) in told
    # A factor of ninety may be scatter; it is to be looked at. A factor of 2.9 is nothing of note.
    assert scatter.known(BRIEF, "elongation_pct", runs=pilot([0.31, 0.24, 27.9, 0.27])).notes == (
        "elongation_pct: pilot runs P01 (0.31) and P03 (27.9) were made alike and lie a factor of 90 apart: look for "
        "what was different in the logs and readings of both. Nothing is left out for its value; a run that its log "
        "shows to be void is judged so, with a reason, by `wearbook note`.",
    )
    assert scatter.known(BRIEF, "elongation_pct", runs=pilot([0.31, 0.24, 0.9, 0.27])).notes == ()


def test_runs_short_of_stations_are_named():
    runs = pilot([0.10, 0.08, 0.12, 0.09])
    stations = pd.DataFrame(
        [
            (run, "part", f"SEG{at:02d}", value if (run, at) not in {("P02", 3), ("P04", 1)} else np.nan)
            for run, value in zip(runs["run_id"], runs["elongation_pct"], strict=True)
            for at in range(1, 11)
        ],
        columns=["run_id", "part_id", "station_id", "elongation_pct"],
    )
    assert scatter.known(BRIEF, "elongation_pct", runs=runs, stations=stations).notes == (
        "elongation_pct: the value of pilot runs P02 and P04 is made from fewer than 10 stations (segment), so that "
        "what differs between stations adds to the scatter. Measure those missing where the parts can still be "
        "measured.",
    )
    whole = stations.fillna({"elongation_pct": 0.09})
    assert scatter.known(BRIEF, "elongation_pct", runs=runs, stations=whole).notes == ()


def test_one_degree_of_freedom_is_told_with_what_it_costs():
    """Limits of an SD on 1 df at 95 %: 0.45 and 31.9 times it, by the chi-square table of handbooks."""
    told = scatter.known(BRIEF, "elongation_pct", runs=pilot([0.10, 0.08, 0.12, 0.09]).iloc[:3]).notes
    assert told == (
        "elongation_pct: the pilot has 1 degree of freedom for scatter: the true SD may be 0.45 to 32 times what it "
        "shows (95 %), and the plans are so large for that doubt. Each further pilot run of a combination that was run "
        "adds a degree of freedom (more replicates in [pilot], then `wearbook amend --phase pilot` where the pilot is "
        "sealed).",
    )


def test_blended_with_the_rigs_history():
    s = np.sqrt(0.030)
    # Three df: two pairs and a lone pair more; here taken straight from the worked vector by a pilot of three pairs.
    rows = pd.concat(
        [
            pilot([1, 1, np.exp(s * np.sqrt(2)), np.exp(s * np.sqrt(2))]),
            pilot([1, 1, np.exp(s * np.sqrt(2)), 1]).iloc[[0, 2]].assign(run_id=["P05", "P06"], pin="P0", oil="O1"),
        ],
        ignore_index=True,
    )
    found = scatter.known(BRIEF, "elongation_pct", runs=rows, history=past())
    assert found.basis == "blended"
    assert (found.run.value, found.run.df) == (pytest.approx(0.022429, abs=5e-7), pytest.approx(9.0))
    history = found.table[found.table["source"] == "history"].iloc[0]
    assert (history["sd"] ** 2, history["df"]) == (pytest.approx(0.0186433, abs=5e-8), 6)


def test_campaigns_that_do_not_count_are_named_with_the_reason():
    table = past().assign(rig_state=["as now"] * 5 + ["before rebuild"], scale=["linear"] + ["log"] * 5)
    found = scatter.known(BRIEF, "elongation_pct", runs=pilot([0.10, 0.08, 0.12, 0.09]), history=table)
    assert found.notes[:2] == (
        "elongation_pct: campaign 'c0' of the rig's history is not used: scale is not 'log'.",
        "elongation_pct: campaign 'c5' of the rig's history is not used: rig_state is not 'as now'.",
    )
    few = scatter.known(BRIEF, "elongation_pct", runs=pilot([0.10, 0.08, 0.12, 0.09]), history=table.iloc[[0, 1, 2]])
    assert few.basis == "pilot"
    assert few.notes[-1] == (
        "elongation_pct: the rig's history holds 2 usable campaigns; at least three are needed, so it is not used."
    )


def test_without_records_a_declared_range_is_a_guess():
    brief = replace(BRIEF, scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)))
    found = scatter.known(brief, "elongation_pct")
    assert found.basis == "declared"
    line = found.table.iloc[0]
    assert (line["source"], line["df"]) == ("declared (a guess)", None)
    assert (line["conf_low"], line["conf_high"]) == pytest.approx((0.0997513, 0.198042), abs=5e-7)
    assert found.notes == (
        "elongation_pct: no pilot, history or finished campaign tells it: the scatter is a guess (CV 10 to 20 %).",
    )


def test_nothing_known_says_what_to_do():
    with pytest.raises(SizingError) as told:
        scatter.known(BRIEF, "elongation_pct")
    assert str(told.value) == (
        "elongation_pct: nothing is known of its scatter. Run a pilot (plan it with `wearbook plan "
        "--phase pilot`), name a history file, or declare a range with declared_cv_pct in [scatter]."
    )
    linear = replace(
        BRIEF,
        responses=(Response("torque_Nm", scale="linear", per_run="value", worthwhile_change=2.0),),
        scatter=KnownScatter(declared_cv_pct=(10.0, 20.0)),
    )
    with pytest.raises(SizingError) as told:
        scatter.known(linear, "torque_Nm")
    assert str(told.value) == (
        "torque_Nm: a declared CV tells the scatter on the log scale only, and this response is analysed "
        "on the linear scale. Run a pilot (plan it with `wearbook plan --phase pilot`) or name a history file in "
        "[scatter]."
    )


def test_a_pilot_without_repeats_is_not_used_and_says_so():
    with pytest.raises(SizingError) as told:
        scatter.known(BRIEF, "elongation_pct", runs=pilot([0.10, 0.08, 0.12, 0.09]).iloc[:2])
    assert "The pilot's 2 runs leave no degrees of freedom for scatter" in str(told.value)
    assert "repeat at least one combination" in str(told.value)


def test_scatter_between_builds_where_builds_are_units():
    brief = briefs.whole_plots()
    draw = np.random.default_rng(2)
    rows = []
    for build in range(4):
        shift = draw.normal(0, 0.2)
        for oil in ("O0", "O1"):
            rows.append(
                {
                    "run_id": f"P{len(rows)}",
                    "phase": "pilot",
                    "build_id": f"PB{build}",
                    "sprocket": "S0",
                    "oil": oil,
                    "verdict": "valid",
                    "elongation_pct": float(np.exp(shift + draw.normal(0, 0.1))),
                }
            )
    table = pd.DataFrame(rows)
    found = scatter.known(brief, "elongation_pct", runs=table)
    logs = np.log(table["elongation_pct"].to_numpy()).reshape(4, 2)
    assert (found.build.value, found.build.df) == (pytest.approx(2 * logs.mean(axis=1).var(ddof=1)), 3)
    differences = logs[:, 1] - logs[:, 0]
    assert (found.run.value, found.run.df) == (pytest.approx(differences.var(ddof=1) / 2), 3)
    assert found.runs_per_build == 2


def test_the_main_phase_lends_its_scatter_to_an_extension():
    main = factorial.full(BRIEF).table
    draw = np.random.default_rng(4)
    main = main.assign(
        run_id=[f"R{at + 1:02d}" for at in range(len(main))],
        phase="main",
        verdict="valid",
        elongation_pct=np.exp(draw.normal(-2.3, 0.13, len(main))),
    )
    main.loc[3, "verdict"] = "invalid"
    runs = pd.concat([pilot([0.10, 0.08, 0.12, 0.09]), main], ignore_index=True)
    found = scatter.known(BRIEF, "elongation_pct", runs=runs, phase="main")
    valid = main[main["verdict"] == "valid"]
    # Least squares on dummy columns: a build each, pin, oil and both; the pilot is not among them.
    pin, oil = (valid["pin"] == "P1").to_numpy(float), (valid["oil"] == "O1").to_numpy(float)
    x = np.column_stack([pd.get_dummies(valid["build_id"]).to_numpy(float), pin, oil, pin * oil])
    left = np.linalg.lstsq(x, np.log(valid["elongation_pct"].to_numpy()), rcond=None)[1][0]
    assert found.basis == "main"
    assert (found.run.value, found.run.df) == (pytest.approx(left / 5), 5.0)
    line = found.table.iloc[0]
    assert (line["source"], line["used"], line["note"]) == ("main", True, "11 runs")
    mixed = scatter.known(BRIEF, "elongation_pct", runs=runs, history=past(), phase="main")
    assert mixed.basis == "blended"
    assert mixed.table.iloc[-1]["note"] == "main phase and history; for sizing, not for the verdict"


def test_a_main_phase_without_degrees_of_freedom_leaves_the_pilots_scatter():
    main = factorial.full(BRIEF, builds=1).table.assign(phase="main", verdict="valid", elongation_pct=0.1)
    main["run_id"] = ["R1", "R2", "R3", "R4"]
    runs = pd.concat([pilot([0.10, 0.08, 0.12, 0.09]), main], ignore_index=True)
    found = scatter.known(BRIEF, "elongation_pct", runs=runs, phase="main")
    assert found.basis == "pilot"
    assert found.notes[0] == (
        "elongation_pct: the main phase's 4 runs leave no degrees of freedom for scatter; repeat at least one "
        "combination."
    )


def test_what_a_pilot_cannot_tell_is_said_with_the_way_out():
    """One run; repeats that agree to the last digit; a nought on the log scale: each a sentence, never a number."""
    way_on = (
        " Once that is put right the pilot tells it; until then, name a history file or declare a range with "
        "declared_cv_pct in [scatter]."
    )
    four = pilot([0.10, 0.08, 0.12, 0.09])
    for runs, reason in (
        (
            four.iloc[:1],
            "the pilot's 1 run leaves no degrees of freedom for scatter; repeat at least one combination (more "
            "replicates in [pilot], then `wearbook amend --phase pilot` where the pilot is sealed).",
        ),
        (
            pilot([0.10, 0.08, 0.10, 0.08]),
            "the pilot's 4 runs show no scatter at all: repeats agree to the last digit, which no rig does. Were "
            "values copied? Measure the repeats again, with a finer gauge where it rounds.",
        ),
        (
            four.assign(verdict=["valid", "valid", "invalid", "pending"]),
            "of the pilot P03 (invalid) and P04 (pending) are left out: a pending run counts once it is judged valid "
            "(`wearbook note`); a lost one, where it was not repeated yet, is made again by `wearbook amend --phase "
            "pilot --lost repeat`. The pilot's 2 runs leave no degrees of freedom for scatter; repeat at least one "
            "combination (`wearbook amend --phase pilot --lost repeat` makes the lost runs again; or more replicates "
            "in [pilot], then `wearbook amend --phase pilot` where the pilot is sealed).",
        ),
        (
            four.assign(verdict="not interpretable"),
            "of the pilot P01, P02, P03 and P04 (not interpretable) are left out and no run is left: a lost one, where "
            "it was not repeated yet, is made again by `wearbook amend --phase pilot --lost repeat`.",
        ),
        (
            four.drop(columns="elongation_pct"),
            "the pilot has no values of it yet: enter the measurements.",
        ),
    ):
        with pytest.raises(SizingError) as told:
            scatter.known(BRIEF, "elongation_pct", runs=runs)
        assert str(told.value) == (
            f"elongation_pct: nothing is known of its scatter. {reason[:1].upper()}{reason[1:]}{way_on}"
        )
    with pytest.raises(SizingError) as told:
        scatter.known(BRIEF, "elongation_pct", runs=pilot([0.10, 0.0, 0.12, 0.09]))
    assert str(told.value).startswith(
        "elongation_pct: nothing is known of its scatter. The pilot cannot be used: on the log scale every run value "
        "must be above 0, and none is dropped"
    )
    assert 'scale = "linear"' in str(told.value)
    assert "nan" not in str(told.value).lower()


def whole_plot_pilot(rng, sizes=(4, 3, 4, 2, 3), between=0.1, within=0.1):
    """A pilot of builds of one level that do not hold the same runs."""
    rows = []
    for at, size in enumerate(sizes):
        shift = rng.normal(0, between)
        for oil in ("O0", "O1", "O0", "O1")[:size]:
            value = float(np.exp(shift + rng.normal(0, within)))
            rows.append((f"P{len(rows):02d}", "pilot", f"PB{at}", "S0", oil, "valid", value))
    names = ("run_id", "phase", "build_id", "sprocket", "oil", "verdict", "elongation_pct")
    return pd.DataFrame(rows, columns=names)


def test_a_pilot_of_unlike_builds_tells_both_scatters():
    """120 drawn pilots: mean squares within 4 standard errors of their expectation (a component is never below zero,
    which lifts the outer one a little); the 95 % limits of the build line hold the truth in 88 % or more (3.3 SE)."""
    brief = briefs.whole_plots()
    rng, outer, inner, df, hits = np.random.default_rng(7), [], [], [], 0
    truth = 3.2 * 0.01 + 0.01
    for _ in range(120):
        found = scatter.known(brief, "elongation_pct", runs=whole_plot_pilot(rng))
        build, run = found.layers
        outer.append(build.value)
        inner.append(run.value)
        df.append((build.df, run.df))
        line = found.table.set_index("stratum").loc["build"]
        hits += line["conf_low"] <= np.sqrt(truth) <= line["conf_high"]
    assert build.expected == {"build": 16 / 5, "run": 1.0}
    assert {item[1] for item in df} == {10}
    assert 2.5 < np.median([item[0] for item in df]) < 4.5
    assert abs(np.mean(inner) - 0.01) < 4 * np.std(inner) / np.sqrt(120)
    assert abs(np.mean(outer) - truth) < 4 * np.std(outer) / np.sqrt(120) + 0.03 * truth
    assert hits >= 0.88 * 120
    assert line["note"] == (
        "SD of a build mean times the root of its runs, run scatter included; by restricted maximum likelihood, at 3.2 "
        "runs a build"
    )


def test_what_a_pilot_of_one_run_a_build_cannot_tell():
    brief = briefs.whole_plots()
    runs = pd.concat([whole_plot_pilot(np.random.default_rng(3), sizes=(1,) * 5)], ignore_index=True)
    found = scatter.known(brief, "elongation_pct", runs=runs)
    assert [layer.stratum for layer in found.layers] == ["build"]
    assert found.run_known is False
    assert found.notes == (
        "elongation_pct: the pilot cannot tell runs from builds (it has no two runs of one combination in a build); "
        "only plans with as many runs in each can be sized.",
    )
