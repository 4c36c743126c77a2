"""What recordings say of a campaign: lines of runs, the trend of power over runs, JSON, tables and pictures."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from tests.unit.campaign import recorded as material
from toolkit.brief import reading
from toolkit.decide import recorded as decide_recorded
from toolkit.decide.recorded import recorded
from toolkit.intake import dyno_file, records, unjudged
from toolkit.plot import recorded as pictures
from toolkit.report import recorded_tables, view_recorded

ORDER = ("R02", "R01", "R03", "R04")


@pytest.fixture
def four(tmp_path):
    """Records of four runs, made in the order R02, R01, R03, R04; R03 hot for an hour, R04 without a verdict."""
    brief = reading.parse(material.BRIEF)
    place = tmp_path / "raw" / "dyno"
    place.mkdir(parents=True)
    head = "run_id,phase,build_id,planned_order,actual_order,pin,oil,run_time_h,sump_temp_degC,wear_mg"
    lines = [f"{head},verdict,reason,role"]
    for at, run in enumerate(ORDER):
        rows = material.table(seed=at, hot=3.5 if run == "R03" else 0.0)
        # Full-load torque falls by 1 % from run to run.
        rows[:, 2] *= 1.0 - 0.01 * at
        (place / f"{run}.csv").write_text(material.text(rows))
        verdict = "pending,," if run == "R04" else "valid,,engineer"
        wear = "" if run == "R04" else 20 + at
        lines.append(f"{run},main,B1,{at + 1},{at + 1},P{at % 2},O{at // 2},,,{wear},{verdict}")
    (tmp_path / "raw" / "runs.csv").write_text("\n".join(lines) + "\n")
    return records.read(tmp_path, brief)


def test_a_line_a_run_and_power_over_the_runs(four):
    found = recorded(four.brief, four)
    assert found.runs["run_id"].tolist() == list(ORDER)
    assert found.runs["sweeps"].tolist() == [2, 2, 2, 2]
    power = found.runs["sweep_power_kW"].astype(float).to_numpy()
    assert power / power[0] == pytest.approx([1.0, 0.99, 0.98, 0.97], rel=1e-3)
    # The valid three fall by 1 % of the first, 1.0101 % of their mean, from run to run.
    assert found.trend.estimate == pytest.approx(-100.0 * 0.01 / 0.99, rel=1e-2)
    told = "Power as recorded changes by -1.01 % of its mean from run to run, 95 % interval -1."
    assert found.sentence.startswith(told)
    assert found.channels["run_id"].tolist() == sorted(ORDER) and len(found.sweeps) == 12
    back = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert list(back) == ["runs", "channels", "sweeps", "trend", "at_standard"]
    assert back["at_standard"] is False and back["trend"]["df"] == 1
    assert list(found.tables()) == ["proposals", "recorded_runs", "recorded_channels", "recorded_outside",
                                    "recorded_sweeps"]  # fmt: skip
    none = recorded(four.brief, records.from_tables(four.brief, runs=four.runs.iloc[:0]))
    assert none.empty and none.tables() == {} and none.sentence == "" and none.trend is None


def test_power_of_a_run_without_a_verdict_is_not_seen_where_it_is_a_response(four):
    hidden = unjudged.hidden(four)
    assert hidden.recordings["R04"].figures["sweep power"] is not None
    brief = four.brief
    tells = replace(brief, dyno_log=replace(brief.dyno_log, gives={"wear_mg": "sweep power"}))
    hidden = unjudged.hidden(replace(four, brief=tells))
    assert hidden.recordings["R04"].figures["sweep power"] is None and not len(hidden.recordings["R04"].sweeps)
    assert hidden.recordings["R01"].figures["sweep power"] is not None


def test_tables_hold_the_figures_and_pictures_tell_them(four):
    found = recorded(four.brief, four)
    table = recorded_tables.proposals(found)
    assert table.rows[0] == ("R02", "valid", "valid", "yes", "every rule was kept")
    assert table.rows[2][:4] == ("R03", "review: a person decides", "valid", "–")
    assert table.rows[3][:4] == ("R04", "valid", "pending", "–")
    assert table.notes == ("Verdicts are given by: test engineer.",)
    runs = recorded_tables.runs(found)
    assert runs.head[:5] == ("run", "hours credited (h)", "gaps", "restarts", "sweeps")
    assert runs.rows[0][:5] == ("R02", "2", "0", "0", "2")
    channels = recorded_tables.channels(found)
    [hot] = [row for row in channels.rows if row[0] == "R03"]
    assert hot[1:3] == ("sump temp (°C)", "98 to 102") and float(hot[4]) == pytest.approx(50.0, abs=0.2)
    assert pictures.alt_windows(four.recordings, "sump_temp_degC").startswith(
        "Sump temp: 1 of 4 runs outside the window at some time (R03). "
    )
    figure = pictures.windows(four.recordings, "sump_temp_degC")
    assert [panel.get_title(loc="left") for panel in figure.axes] == sorted(ORDER)
    ax = pictures.sweeps(four.recordings)
    assert len(ax.lines) == 12 and sum(line.get_linestyle() == "--" for line in ax.lines) == 4
    assert pictures.alt_sweeps(four.recordings).startswith("12 full-load sweeps of 4 runs, 8 of them count. ")
    assert decide_recorded.RUNS[0] == "run_id"


def test_stretches_outside_are_told_with_start_length_and_by_how_much(four):
    found = recorded(four.brief, four)
    # Put in: 3.5 degC too hot from 0.5 h to 1.5 h, windows 98 to 102, scatter of 0.2.
    [row] = found.outside.to_dict("records")
    assert (row["run_id"], row["channel"], row["low"], row["high"]) == ("R03", "sump_temp_degC", 98.0, 102.0)
    assert (row["from_h"], row["to_h"], row["length_min"]) == pytest.approx((0.5, 1.5, 60.0))
    raw = material.table(seed=2, hot=3.5)[:, 3].round(2).max()
    # Recordings are kept to seven digits.
    assert (row["furthest"], row["beyond"]) == pytest.approx((raw, raw - 102.0), abs=1e-5)
    table = recorded_tables.outside(found)
    assert table.head == ("run", "channel", "window", "from (h run)", "length (min)", "furthest", "outside by")
    told = (f"{raw:.1f}", f"{raw - 102.0:.3f} above")
    assert table.rows == (("R03", "sump temp (°C)", "98 to 102", "0.50", "60.00", *told),)
    assert len(table.notes) == 1
    # Cold spells below, in a run made later: forty of rising weight, and 3 more than are kept.
    head = ["run_id", "channel", "low", "high", "from_h", "to_h", "length_min", "furthest", "beyond"]
    cold = [["R04", "sump_temp_degC", 98.0, 102.0, at, at + 0.1, 6.0, 98.0 - at, -float(at)] for at in range(1, 41)]
    many = replace(found, outside=pd.DataFrame(cold, columns=head, dtype=object),
                   channels=found.channels.assign(excursions=[0, 0, 0, 43]))  # fmt: skip
    shown = recorded_tables.outside(many)
    assert [row[3] for row in shown.rows] == [f"{at}.00" for at in range(11, 41)]
    assert shown.rows[0][4:] == ("6.000", "87.00", "11.00 below")
    assert shown.notes[1:] == (
        "30 of 40 stretches: those longest and furthest out (length times distance in half windows); 10 more stand in "
        "derived/recorded_outside.csv.",
        "3 shorter ones of channels with very many are counted and not kept.",
    )
    assert recorded_tables.outside(replace(many, outside=many.outside.iloc[:0])) is None


def test_the_notebook_shows_them_and_says_where_there_are_none(four):
    shown = view_recorded.recorded(SimpleNamespace(recorded=recorded(four.brief, four), records=four))._repr_html_()
    for caption in ("Verdicts by the sealed rules", "Recordings, run by run", "Held channels against their windows",
                    "Stretches outside the window"):  # fmt: skip
        assert shown.count(f">{caption}") == 1
    empty = records.from_tables(four.brief, runs=four.runs.iloc[:0])
    bare = view_recorded.recorded(SimpleNamespace(recorded=recorded(four.brief, empty), records=empty))
    assert "The campaign has no recordings in raw/dyno." in bare._repr_html_()


def test_order_of_lines_of_files_and_units_change_nothing(tmp_path):
    rule = reading.parse(material.BRIEF).dyno_log
    rows = material.table(seed=7)
    one = tmp_path / "R01.csv"
    one.write_text(material.text(rows))
    whole = dyno_file.read([one], rule, run_id="R01")
    # Torque in ft-lb, sump in degF, columns in another order, in two files.
    other = replace(rule, measured_in={"torque_Nm": "ft-lb", "sump_temp_degC": "degF"})
    parts = []
    for name, part in (("R01_a.csv", rows[:333]), ("R01_b.csv", rows[333:])):
        path = tmp_path / name
        path.write_text("T_OIL,Time [s],x,M,N\n" + "".join(
            f"{d * 1.8 + 32.0!r},{a!r},?,{c / 1.3558179483314003!r},{b!r}\n" for a, b, c, d in part.tolist()
        ))  # fmt: skip
        parts.append(path)
    split = dyno_file.read(parts, other, run_id="R01")
    assert np.array_equal(split.time_s, whole.time_s)
    for name, values in whole.channels.items():
        assert split.channels[name] == pytest.approx(values, rel=2e-4)
