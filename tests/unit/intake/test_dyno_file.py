"""Recordings of known content: whole, packed, split, broken off, with cells that are no figures."""

from __future__ import annotations

import gzip
import zlib

import numpy as np
import pytest

from toolkit.brief.dyno_log import DynoLog
from toolkit.errors import IntakeError
from toolkit.intake import dyno_file

RULE = DynoLog(
    time="t [s]",
    columns={"speed_rpm": "N", "torque_Nm": "M", "sump_temp_degC": "T_OIL"},
    measured_in={"torque_Nm": "ft-lb", "sump_temp_degC": "degF"},
    missing=(-9999.0,),
)
HEADER = "t [s],N,other,M,T_OIL\n"


def lines(first, count, *, step=0.1):
    """Lines of a recording: speed 1000 + place, torque 100 ft lb, oil 212 degF."""
    return [f"{first + place * step:.1f},{1000 + place},x,100,212\n" for place in range(count)]


def found(read):
    return [(row["column"], row["found"]) for row in read.findings]


def test_channels_in_our_units(tmp_path):
    path = tmp_path / "R01.csv"
    path.write_text(HEADER + "".join(lines(0.0, 5)))
    read = dyno_file.read([path], RULE, run_id="R01")
    assert read.time_s == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4])
    assert list(read.channels) == ["speed_rpm", "torque_Nm", "sump_temp_degC"]
    assert read.channels["speed_rpm"].tolist() == [1000.0, 1001.0, 1002.0, 1003.0, 1004.0]
    # NIST Special Publication 811, appendix B.8: 1 foot pound-force is 1.355818 N m.
    assert read.channels["torque_Nm"] == pytest.approx([135.5818] * 5, rel=1e-6)
    assert read.channels["sump_temp_degC"] == pytest.approx([100.0] * 5, abs=1e-4)
    assert (read.findings, read.files) == ((), ("R01.csv",))


def test_packed_and_split_files_tell_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr(dyno_file, "_PIECE", 7)
    whole = tmp_path / "whole.csv"
    whole.write_text(HEADER + "".join(lines(0.0, 40)))
    one, two = tmp_path / "a.csv.gz", tmp_path / "b.csv"
    one.write_bytes(gzip.compress((HEADER + "".join(lines(0.0, 40)[:25])).encode()))
    two.write_text(HEADER + "".join(lines(0.0, 40)[25:]))
    expected = dyno_file.read([whole], RULE, run_id="R01")
    read = dyno_file.read([one, two], RULE, run_id="R01")
    assert np.array_equal(read.time_s, expected.time_s) and len(read.time_s) == 40
    for name, values in expected.channels.items():
        assert np.array_equal(read.channels[name], values)
    assert (read.findings, read.files) == ((), ("a.csv.gz", "b.csv"))


def test_figures_that_stand_for_none_and_cells_that_are_no_figures(tmp_path, monkeypatch):
    monkeypatch.setattr(dyno_file, "_PIECE", 3)
    path = tmp_path / "R02.csv"
    path.write_text(
        HEADER
        + "0,1000,x,100,212\n0.1,-9999,x,,212\n0.2,1002,x,ERR,212\n0.3,1003,x,100,inf\nnoon,1004,x,100,212\n"
        + '0.5,1005,x,100,212,9,9\n0.6,1006,x,#N/V,212\n0.7,10\n0.8,1008,"x,x",100,212\n'
    )
    read = dyno_file.read([path], RULE, run_id="R02")
    assert read.time_s == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.6, 0.8])
    assert np.isnan(read.channels["speed_rpm"]).tolist() == [False, True, False, False, False, False]
    assert np.isnan(read.channels["torque_Nm"]).tolist() == [False, True, True, False, True, False]
    assert np.isnan(read.channels["sump_temp_degC"]).tolist() == [False, False, False, True, False, False]
    assert found(read) == [
        ("M", "2 cells without a figure in it (R02.csv line 4, 8)"),
        (None, "1 line without a time (R02.csv line 6)"),
        (None, "2 lines with more or fewer cells (R02.csv line 7, 9)"),
    ]


def test_a_last_line_that_breaks_off_is_lost_alone_and_told(tmp_path):
    path = tmp_path / "R03.csv"
    path.write_text(HEADER + "".join(lines(0.0, 5)) + "0.5,10")
    read = dyno_file.read([path], RULE, run_id="R03")
    assert len(read.time_s) == 5
    assert found(read) == [(None, "R03.csv: line 7, the last one, breaks off")]


def test_a_packed_file_that_breaks_off_keeps_what_is_whole(tmp_path):
    draw = np.random.default_rng(1)
    text = HEADER + "".join(f"{place / 10},{draw.integers(1000, 9000)},x,100,212\n" for place in range(60_000))
    packed = gzip.compress(text.encode())
    path = tmp_path / "R04.csv.gz"
    path.write_bytes(packed[: len(packed) // 2])
    read = dyno_file.read([path], RULE, run_id="R04")
    # What can be unpacked of the half, by zlib itself; the last eight kilobytes may be on their way still.
    there = zlib.decompressobj(wbits=31).decompress(path.read_bytes())
    assert there.count(b"\n") - 1 - 8192 // 20 <= len(read.time_s) <= there.count(b"\n") - 1
    assert np.array_equal(np.round(read.time_s * 10), np.arange(len(read.time_s)))
    [(column, told)] = found(read)
    assert column is None and told.startswith(f"R04.csv.gz: breaks off after {len(read.time_s)} readings (")


def test_quotes_that_are_not_closed_swallow_no_other_line(tmp_path):
    path = tmp_path / "R07.csv"
    made = lines(0.0, 9)
    made[2] = made[2].replace("x", '"x')
    made[6] = made[6].replace("x", 'x"')
    made[7] = made[7].replace("x", '"x, and y"')
    path.write_text(HEADER + "".join(made))
    read = dyno_file.read([path], RULE, run_id="R07")
    assert read.channels["speed_rpm"].tolist() == [1000.0, 1001.0, 1003.0, 1004.0, 1005.0, 1007.0, 1008.0]
    assert found(read) == [(None, "2 lines with more or fewer cells (R07.csv line 4, 8)")]


def test_a_line_with_quotes_has_as_many_cells_as_the_others_too(tmp_path):
    path = tmp_path / "R09.csv"
    made = lines(0.0, 6)
    made[1] = made[1].replace("x", '"x, and y"')
    made[3] = made[3].replace("x", '"x"').replace("\n", ",7\n")
    made[4] = '0.4,1004,"x"\n'
    path.write_text(HEADER + "".join(made))
    read = dyno_file.read([path], RULE, run_id="R09")
    assert read.channels["speed_rpm"].tolist() == [1000.0, 1001.0, 1002.0, 1005.0]
    assert found(read) == [(None, "2 lines with more or fewer cells (R09.csv line 5, 6)")]


def test_a_heading_with_a_separator_in_quotes_is_one_column(tmp_path):
    path = tmp_path / "R10.csv"
    path.write_text(HEADER.replace("other", '"cell, remark"') + "".join(lines(0.0, 3)) + "0.3,1003,x,100\n")
    read = dyno_file.read([path], RULE, run_id="R10")
    assert read.channels["speed_rpm"].tolist() == [1000.0, 1001.0, 1002.0]
    assert read.channels["sump_temp_degC"] == pytest.approx([100.0] * 3)
    assert found(read) == [(None, "1 line with more or fewer cells (R10.csv line 5)")]


def test_blanks_before_cells_and_channels_that_nobody_asks_for(tmp_path):
    path = tmp_path / "R08.csv"
    path.write_text(HEADER + ' 0.0,  1000, "x, y",100,212\n0.1,1001, ,ERR , NA\n 0.2,1002,x, -9999,warm\n')
    read = dyno_file.gathered([path], RULE, [], run_id="R08", wanted={"torque_Nm", "fuel_kPa"})
    assert list(read.channels) == ["torque_Nm"] and np.isnan(read.channels["torque_Nm"]).tolist() == [False, True, True]
    # They are looked at all the same.
    assert found(read) == [
        ("M", "1 cell without a figure in it (R08.csv line 3)"),
        ("T_OIL", "1 cell without a figure in it (R08.csv line 4)"),
    ]


def test_dates_and_times_and_decimal_commas(tmp_path):
    path = tmp_path / "R05.csv"
    path.write_text("Zeit;N\n2026-03-02T08:00:00;1000,5\n2026-03-02T08:00:01;1001,5\n")
    rule = DynoLog(
        time="Zeit", time_in="clock", columns={"speed_rpm": "N"}, separator=";", decimal="comma"
    )
    read = dyno_file.read([path], rule, run_id="R05")
    # 20,514 days after 1970-01-01, at eight.
    assert read.time_s.tolist() == [20_514 * 86_400 + 8 * 3600.0, 20_514 * 86_400 + 8 * 3600.0 + 1.0]
    assert read.channels["speed_rpm"].tolist() == [1000.5, 1001.5]
    # Of several files the one that begins first comes first, whatever its name and zone; tenths of a second count.
    late = tmp_path / "R05a.csv"
    late.write_text("Zeit;N\n2026-03-02 10:00:00.25+01:00;1002,5\nnoon;1\n")
    read = dyno_file.read([late, path], rule, run_id="R05")
    assert read.time_s[2] - read.time_s[0] == 3600.25 and read.files == ("R05.csv", "R05a.csv")
    assert found(read) == [(None, "1 line without a time (R05a.csv line 3)")]
    path.write_text("Zeit;N\n0;1000,5\n1;1001,5\n")
    with pytest.raises(IntakeError) as told:
        dyno_file.read([path], rule, run_id="R05")
    assert str(told.value) == (
        "The recording cannot be read.\n"
        "  R05.csv: no line that can be read; expected a time and as many cells as headings in each."
    )


def test_every_fault_of_every_file_at_once(tmp_path):
    one, two = tmp_path / "R06.csv", tmp_path / "R06b.csv"
    one.write_text("t [s],N,M,M,T_oil\n0,1,1,1,1\n")
    rule = DynoLog(time="t [s]", columns=RULE.columns, measured_in={"torque_Nm": "kg"})
    with pytest.raises(IntakeError) as told:
        dyno_file.read([one, two], rule, run_id="R06")
    assert str(told.value) == (
        "The recording cannot be read.\n"
        "  [dyno_log] measured_in torque_Nm: 'kg' (kg cannot be converted to N·m); expected N·m.\n"
        "  R06.csv line 1: no column 'T_OIL'; expected 't [s]', 'N', 'M', 'M' or 'T_oil'. Did you mean 'T_oil'?\n"
        "  R06.csv line 1: column 'M' twice; expected each heading once.\n"
        f"  R06b.csv: cannot be read ([Errno 2] No such file or directory: '{two}'); expected a CSV file, or one "
        "packed by gzip."
    )
    one.write_text(HEADER)
    with pytest.raises(IntakeError) as told:
        dyno_file.read([one], RULE, run_id="R06")
    assert str(told.value) == (
        "The recording cannot be read.\n"
        "  R06.csv: no line that can be read; expected a time and as many cells as headings in each."
    )
    with pytest.raises(IntakeError) as told:
        dyno_file.read([], RULE, run_id="R06")
    assert str(told.value) == (
        "The recording cannot be read.\n  run R06: no recording; expected at least one file."
    )
