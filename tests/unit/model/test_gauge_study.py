"""Gauge studies: nested, single and uneven ones by hand, what they say of run values, and what readings pay."""

from __future__ import annotations

import json
import math
from itertools import product

import numpy as np
import pandas as pd
import pytest

from toolkit.errors import IntakeError, ModelError
from toolkit.intake import gauge
from toolkit.model import gauge_readings, gauge_study


def crossed(parts=6, operators=3, readings=2, *, seed=1, sds=(2.0, 0.5, 0.2, 0.3)):
    rng = np.random.default_rng(seed)
    part, operator = rng.normal(0, sds[0], parts), rng.normal(0, sds[1], operators)
    both = rng.normal(0, sds[2], (parts, operators))
    return pd.DataFrame(
        [
            {"part_id": f"G{p}", "operator": "ABCDEFG"[o], "station_id": "S1", "reading": r + 1,
             "value": 50 + part[p] + operator[o] + both[p, o] + rng.normal(0, sds[3])}
            for p, o, r in product(range(parts), range(operators), range(readings))
        ]
    )  # fmt: skip


def nested():
    table = crossed(parts=6, operators=1)
    return table.assign(operator=[{"G0": "A", "G1": "A", "G2": "A"}.get(part, "B") for part in table["part_id"]])


def test_a_nested_study_worked_from_its_definition():
    table = nested()
    found = gauge_study.study(table)
    cells = table.groupby(["operator", "part_id"])["value"]
    means = cells.mean()
    reading = float(((table["value"] - cells.transform("mean")) ** 2).sum()) / 6
    part = 2 * float(((means - means.groupby("operator").transform("mean")) ** 2).sum()) / 4
    operator = 6 * float(np.var(table.groupby("operator")["value"].mean(), ddof=1))
    assert found.layout == "nested"
    table = found.table.set_index("source")
    assert table.at["reading", "variance"] == pytest.approx(reading, rel=1e-9)
    assert table.at["part", "variance"] == pytest.approx((part - reading) / 2, rel=1e-9)
    assert table.at["operator", "variance"] == pytest.approx((operator - part) / 6, rel=1e-9)
    lines = found.anova.set_index("source")
    assert lines.loc["operator", ["df", "F"]].tolist() == pytest.approx([1, operator / part], rel=1e-9)
    assert lines.loc["part", ["df", "F"]].tolist() == pytest.approx([4, part / reading], rel=1e-9)
    assert found.notes == (
        "Each operator has parts of his own: what differs between operators may be their parts, as far as these are "
        "not drawn at random.",
    )


def test_one_operator_one_reading_a_cell_and_uneven_studies_say_what_they_cannot():
    alone = gauge_study.study(crossed(operators=1))
    assert (alone.layout, alone.notes) == ("one operator", ("One operator: what another would add is not known.",))
    assert alone.table["source"].tolist() == ["part", "reading", "total"]
    once = gauge_study.study(crossed(readings=1))
    assert once.notes == (
        "One reading of each part by each operator: what an operator adds to a single part and the scatter of readings "
        "are one.",
    )
    uneven = gauge_study.study(crossed().drop(index=[0, 1, 9]))
    assert uneven.layout == "uneven" and uneven.anova is None
    total = uneven.table.set_index("source").loc["gauge"]
    assert (total["conf_low"], total["note"]) == (None, "no limits where the study is uneven")
    assert json.loads(json.dumps(uneven.to_json(), allow_nan=False))["layout"] == "uneven"


def test_order_of_rows_units_and_origin_change_nothing_but_the_unit():
    table = crossed()
    one = gauge_study.study(table).table
    mixed = gauge_study.study(table.sample(frac=1.0, random_state=3)).table
    assert mixed.equals(one)
    inches = gauge_study.study(table.assign(value=table["value"] * 1000 - 7)).table
    for key in ("sd", "conf_low", "conf_high"):
        assert inches[key].tolist() == pytest.approx([1000 * value for value in one[key]], rel=1e-6, abs=1e-6)
    assert inches["share_pct"].tolist() == pytest.approx(one["share_pct"].tolist(), abs=1e-6)


def test_stations_are_measured_places_and_count_as_parts():
    table = crossed(parts=6)
    split = table.assign(part_id=[part[:1] + str(int(part[1]) // 2) for part in table["part_id"]],
                         station_id=[f"S{int(part[1]) % 2}" for part in table["part_id"]])  # fmt: skip
    assert gauge_study.study(split).table["sd"].tolist() == pytest.approx(
        gauge_study.study(table).table["sd"].tolist(), rel=1e-9
    )


def test_what_the_gauge_gives_a_run_value_is_that_of_drawn_readings():
    sds = (0.0, 0.8, 0.4, 0.5)
    table = pd.DataFrame(
        {"source": ["operator", "operator by part", "reading"], "variance": [sd**2 for sd in sds[1:]]}
    )
    found = gauge_study.GaugeStudy("crossed", table, None, 0.95, ())
    rng, count, stations, readings = np.random.default_rng(2), 40_000, 3, 2
    noise = rng.normal(0, sds[3], (count, 2, stations, readings)).mean(axis=3)
    both = rng.normal(0, sds[2], (count, 2, stations))
    operator = rng.normal(0, sds[1], (count, 2, 1))
    drawn = {
        (2, True): (noise[:, 1] - noise[:, 0]).mean(axis=1),
        (2, False): ((noise + both + operator)[:, 1] - (noise + both + operator)[:, 0]).mean(axis=1),
        (1, True): (noise + both)[:, 0].mean(axis=1),
        (1, False): (noise + both + operator)[:, 0].mean(axis=1),
    }
    for (states, same), values in drawn.items():
        told = found.run_value_variance(stations=stations, readings=readings, states=states, same_operator=same)
        # 4 standard errors of a variance of 40,000 draws.
        assert told == pytest.approx(values.var(), rel=4 * math.sqrt(2 / count)), (states, same)


def known(reading=0.6):
    table = pd.DataFrame({"source": ["part", "reading"], "variance": [1.0, reading**2]})
    return gauge_study.GaugeStudy("one operator", table, None, 0.95, ())


def test_readings_that_pay_are_cochrans():
    # Between runs 0.9^2 with one reading: 0.81 - 2 * 0.36 / 4 = 0.63 without the gauge.
    table = gauge_readings.readings_that_pay(
        known(), 0.9, stations=4, states=2, run_cost=1000.0, reading_cost=20.0, most=20
    )
    assert table["run_sd"][0] == pytest.approx(0.9) and table["gauge_share_pct"][0] == pytest.approx(100 * 0.18 / 0.81)
    assert table["runs_pct"][1] == pytest.approx(100 * (0.63 + 0.09) / 0.81)
    optimum = math.sqrt(1000.0 * 0.18 / (20.0 * 8 * 0.63))
    best = int(table.loc[table["pays"].astype(bool), "readings"].iloc[0])
    assert abs(best - optimum) < 1.0 and best == 1
    cheap = gauge_readings.readings_that_pay(known(), 0.9, stations=4, run_cost=14_000.0, reading_cost=2.0, most=20)
    best = int(cheap.loc[cheap["pays"].astype(bool), "readings"].iloc[0])
    assert abs(best - math.sqrt(14_000 * 0.18 / (2.0 * 8 * 0.63))) < 1.0
    assert cheap["cost_pct"].min() == cheap["cost_pct"][best - 1]


def test_on_the_log_scale_the_gauge_counts_relative_to_the_wear():
    one = gauge_readings.readings_that_pay(known(), 0.9, stations=4)
    other = gauge_readings.readings_that_pay(known(reading=6.0), 0.9, stations=4, level=10.0)
    assert other["run_sd"].tolist() == pytest.approx(one["run_sd"].tolist())
    assert one["cost_pct"].tolist() == [None] * 10 and one["pays"].tolist() == [None] * 10
    poor = gauge_readings.readings_that_pay(known(), 0.1, stations=1)
    assert poor["note"][0] == "the gauge alone gives more than the scatter found: nothing is left between runs"


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: gauge_study.study(crossed().drop(columns="operator")),
         "columns: operator missing; expected part_id, operator and value."),
        (lambda: gauge_study.study(crossed(parts=1)), "parts: 1; expected two at least, better ten."),
        (lambda: gauge_study.study(crossed(operators=1, readings=1)),
         "readings: every part read once; expected each part read twice at least."),
        (lambda: gauge_study.study(crossed().assign(value="0,3")), "value: '0,3' in 36 rows; expected numbers."),
    ],
)  # fmt: skip
def test_a_study_that_cannot_be_is_told(call, told):
    with pytest.raises(ModelError) as caught:
        call()
    assert str(caught.value) == f"The gauge study cannot be analysed.\n  {told}"


def test_readings_that_pay_tell_every_fault():
    with pytest.raises(ModelError) as caught:
        gauge_readings.readings_that_pay(known(), 0.0, run_cost=5.0, most=0)
    assert str(caught.value) == (
        "The readings that pay cannot be told.\n  run_sd: 0; expected a number above 0.\n"
        "  most: 0; expected a whole number from 1.\n  run_cost and reading_cost: one of them; expected both or none."
    )
    with pytest.raises(ModelError, match="stations: 0; expected a whole number from 1.\n  states: 3; expected 1 or 2."):
        known().run_value_variance(stations=0, states=3)


def test_the_raw_table_is_read_strictly(tmp_path):
    assert gauge.read(tmp_path) is None
    (tmp_path / "raw").mkdir()
    file = tmp_path / "raw" / "gauge.csv"
    file.write_text("part_id,operator,station_id,reading,value\nG1,A,S1,1,-0.4\nG1,A,S1,2,lost\n", encoding="utf-8")
    found = gauge.read(tmp_path)
    assert found["value"].fillna(99).tolist() == [-0.4, 99] and found["reading"].tolist() == [1, 2]
    file.write_text("part_id,operator,station_id,reading,value\nG1,A,S1,1,0.4\nG1,A,S1,1,\"0,5\"\n", encoding="utf-8")
    with pytest.raises(IntakeError) as caught:
        gauge.read(tmp_path)
    assert str(caught.value).split("\n")[1:] == [
        "  raw/gauge.csv line 3, column reading: 'G1 A S1 1' also stands on line 2; expected each reading of a station "
        "by an operator once. Delete or correct one of them.",
        "  raw/gauge.csv line 3, column value: '0,5'; expected a number with a decimal point. Write 0.5.",
    ]
    assert gauge.from_table(crossed()).equals(crossed())
