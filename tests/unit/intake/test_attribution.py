"""Whose reading and whose sample it is: swapped, unknown and spare parts, wrong serials, mixed-up samples."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from tests.unit.intake import came_back
from tests.unit.intake.came_back import everything, issued, read, sheet
from toolkit.errors import IntakeError
from toolkit.intake import records
from toolkit.intake.received import ReceivedFile, Registers

AGAIN = "judge the run again: look at the part and the run sheet"
COUNTS = "check the run sheet; what was measured on the part counts for this run"
KEPT = "the readings are kept and not used until then"


def told(found, *rules):
    """Findings of these rules, without their severity's order."""
    return [tuple(row) for row in found.findings.itertuples(index=False) if row.rule in rules]


def with_sheets(*sheets):
    """Everything, with these sheets in place of those of the same name."""
    given = {item.name: item for item in sheets}
    return [given.get(item.name, item) for item in everything()]


def wear(found):
    """Run to its wear."""
    return found.runs.set_index("run_id")["wear_um"].to_dict()


def of_part(part):
    """The wear that was measured on a part."""
    stations = read(everything()[4:], registers=with_runs()).stations
    return stations.loc[stations["part_id"] == part, "wear_um"].mean()


def with_runs():
    """Registers in which the spares belong to runs too, to see what was measured on them."""
    parts = issued().registers.parts.copy()
    parts.loc[parts["spare"] == "yes", "run_id"] = ["R01", "R02"]
    return Registers(parts, issued().registers.samples)


def test_swapped_parts_are_told_and_their_readings_go_with_the_parts():
    made, pair = issued(), ("R01", "R03")
    one, other = made.part("R01"), made.part("R03")
    found = read(with_sheets(sheet("R01", part_id=other), sheet("R03", part_id=one)))
    assert told(found, "part swapped", "part differs") == [
        ("note", "R01", other, "part_id", "part swapped", f"part {other}, planned for R03, which ran with part {one}",
         f"part {one}", COUNTS),
        ("note", "R03", one, "part_id", "part swapped", f"part {one}, planned for R01, which ran with part {other}",
         f"part {other}", COUNTS),
    ]  # fmt: skip
    straight, swapped = wear(read(everything())), wear(found)
    assert [swapped[run] for run in pair] == [straight[run] for run in pair[::-1]]
    assert found.as_built.set_index("run_id").loc["R01", "part_id"] == other


def test_a_part_of_another_kind_makes_the_run_doubtful():
    made = issued()
    other = made.part("R02")
    found = read([sheet("R01", part_id=other)])
    assert told(found, "part of another kind", "part differs") == [
        ("exclude", "R01", other, "part_id", "part of another kind",
         f"part {other} is registered with pin P0, the run was built with P1", "a part with pin P1", AGAIN),
        ("note", "R01", other, "part_id", "part differs", f"part {other}, planned for R02", f"part {made.part('R01')}",
         COUNTS),
    ]  # fmt: skip
    pending = read([sheet("R01", part_id=other, verdict="pending")])
    assert [row[0] for row in told(pending, "part of another kind")] == ["note"]


def test_a_spare_that_was_fitted_counts_and_the_part_that_was_not_is_told():
    made = issued()
    spare, planned = made.spare("P1"), made.part("R01")
    found = read(with_sheets(sheet("R01", part_id=spare)))
    assert told(found, "spare used", "part not fitted", "spare not used") == [
        ("note", None, planned, "part_id", "part not fitted",
         f"8 readings (measure-before.xlsx segment!10:10) of part '{planned}', planned for R01, which ran with part "
         f"{spare}", "readings of parts that were fitted", "none if the run sheets are right; kept and not used"),
        ("note", None, None, "part_id", "spare not used", f"8 readings of spare part {made.spare('P0')}",
         "readings of parts that were fitted", "none: kept, and used if a run sheet says that one was fitted"),
        ("note", "R01", spare, "part_id", "spare used", f"the spare part {spare}", f"part {planned}", COUNTS),
    ]  # fmt: skip
    assert wear(found)["R01"] == pytest.approx(of_part(spare), abs=1e-12)


def test_a_part_that_nobody_knows_stops_and_its_readings_are_counted():
    made = issued()

    def mistyped(page, head):
        for row in range(2, page.max_row + 1):
            if page.cell(row, head["part_id"]).value == made.part("R01"):
                page.cell(row, head["part_id"]).value = "CZ3B8"

    files = [
        *everything()[:5],
        ReceivedFile("measure-after.xlsx", came_back.measured("measure-after.xlsx", mistyped), "stations"),
    ]
    found = read(files)
    assert told(found, "part unknown") == [
        ("stop", None, "CZ3B8", "part_id", "part unknown",
         "4 readings (measure-after.xlsx segment!10:10) of part 'CZ3B8'",
         "a part of the register, or of a run sheet", f"Correct the code, or the register; {KEPT}"),
    ]  # fmt: skip
    assert pd.isna(wear(found)["R01"]) and len(found.readings) == 2 * 16 - 4


def test_codes_are_found_whatever_their_capitals_and_near_ones_are_named():
    made = issued()
    part = made.part("R01")
    found = read([sheet("R01", part_id=part.casefold())])
    assert told(found, "part unknown", "part differs") == []
    assert found.as_built.iloc[0]["part_id"] == part
    near = read([sheet("R01", part_id=f"{part[:2]}-{part[2:]}")])
    assert told(near, "part unknown") == [
        ("exclude", "R01", f"{part[:2]}-{part[2:]}", "part_id", "part unknown",
         f"part {part[:2]}-{part[2:]}, which the register does not have", f"part {part} of the register",
         f"Did you mean '{part}'? {AGAIN}"),
    ]  # fmt: skip


def test_readings_of_an_unregistered_part_go_to_the_run_whose_sheet_names_it():
    made = issued()

    def renamed(page, head):
        for row in range(2, page.max_row + 1):
            if page.cell(row, head["part_id"]).value == made.part("R01"):
                page.cell(row, head["part_id"]).value = "NEW-1"

    files = [
        sheet("R01", part_id="NEW-1"),
        *(
            ReceivedFile(name, came_back.measured(name, renamed), "stations")
            for name in ("measure-before.xlsx", "measure-after.xlsx")
        ),
    ]
    found = read(files)
    assert wear(found)["R01"] == wear(read(everything()))["R01"]
    assert [row[:5] for row in told(found, "part unknown")] == [("exclude", "R01", "NEW-1", "part_id", "part unknown")]


def test_a_part_on_two_sheets_stops():
    part = issued().part("R01")
    found = read(with_sheets(sheet("R03", part_id=part)))
    assert told(found, "part on two sheets") == [
        ("stop", None, part, "part_id", "part on two sheets",
         f"8 readings (measure-before.xlsx segment!10:10) of part '{part}', which the sheets of R01, R03 name",
         "a part on one sheet", f"correct the wrong sheet with a note; {KEPT}"),
    ]  # fmt: skip
    assert pd.isna(wear(found)["R01"]) and pd.isna(wear(found)["R03"])


def registered(**serials):
    """The registers with serials filled in by run."""
    parts = issued().registers.parts.copy()
    for run, serial in serials.items():
        parts.loc[parts["run_id"] == run, "serial"] = serial
    return Registers(parts, issued().registers.samples)


def test_serials_are_held_against_the_register():
    made = issued()
    known = registered(R01="A-1", R02="A-2", R03="A-3", R04="A-4")
    typed = {"R01": "a-1", "R02": "A-9", "R03": "A-4", "R04": "A-4"}
    sheets = [sheet(run, serial=serial) for run, serial in typed.items()]
    found = read(sheets, registers=known)
    assert told(found, "serial", "serial of another part") == [
        ("exclude", "R03", made.part("R03"), "serial", "serial of another part",
         f"serial A-4, which is that of part {made.part('R04')}", "serial A-3", AGAIN),
        ("note", "R02", made.part("R02"), "serial", "serial", "serial A-9", "serial A-2, as the register has it",
         "correct whichever is wrong; the code decides which part it is"),
        ("note", "R04", made.part("R04"), "serial", "serial", "serial A-4 also on the sheet of R03", "a serial once",
         AGAIN),
    ]  # fmt: skip
    # A register in which nobody wrote serials says nothing against any.
    assert told(read(sheets[:2]), "serial", "serial of another part") == []


def test_drums_and_times_are_held_against_each_other():
    samples = issued().registers.samples.copy()
    samples["oil_drum"] = ["D7" if run == "R01" else "" for run in samples["run_id"]]
    known = Registers(issued().registers.parts, samples)
    files = [sheet("R01", stopped_at="2026-02-27 10:00"), sheet("R02")]
    found = read(files, registers=known)
    assert told(found, "oil drum", "times") == [
        ("note", "R01", issued().part("R01"), "oil_drum", "oil drum", "drum D1", "drum D7, as the register has it",
         "correct whichever is wrong; it changes no figure"),
        ("note", "R01", issued().part("R01"), "stopped_at", "times",
         "stopped 2026-02-27 10:00, started 2026-03-01 08:00", "a stop after the start",
         "look at the run sheet; the hours of the run stand in a line of their own"),
    ]  # fmt: skip


def test_a_sample_that_nobody_knows_stops():
    sample = issued().sample("R01", "0")
    lab = b"Probe;Eisen;Bemerkung\nXX1234;2,5;\n%b;2,0;\n" % f"{sample[:2]}-{sample[2:]}".encode()
    found = read([ReceivedFile("lab.csv", lab, "oil", "lab")])
    assert told(found, "sample unknown") == [
        ("stop", None, None, "sample_id", "sample unknown",
         f"2 samples without a run: XX1234, {sample[:2]}-{sample[2:]} (lab.csv line 2)", "a sample of the register",
         f"Did you mean '{sample}'? Correct the code, or the register; the samples are kept and not used until then"),
    ]  # fmt: skip
    assert found.oil is None or len(found.oil) == 0
    alone = read([ReceivedFile("lab.csv", lab, "oil", "lab")], registers=None)
    assert told(alone, "sample unknown")[0][7] == (
        "issue the registers with `wearbook sheets`, or name run and hour in the table; not used until then"
    )


def test_a_sample_that_the_table_gives_to_another_run_is_doubtful():
    sample, brief = issued().sample("R01", "0"), issued().brief
    own = replace(brief.received[1], columns={"sample_id": "Probe", "fe_ppm": "Eisen", "run_id": "Lauf", "at_h": "Std"})
    changed = replace(brief, received=(brief.received[0], own, brief.received[2]))
    lab = f"Probe;Eisen;Lauf;Std\n{sample};2,5;R02;0\n".encode()
    found = read([ReceivedFile("lab.csv", lab, "oil", "lab")], brief=changed)
    assert told(found, "sample differs") == [
        ("exclude", "R02", None, "run_id", "sample differs", f"sample {sample}: run_id R02 (lab.csv line 2)",
         "R01, as the register has it", "look for a mixed-up label; what the table says is used"),
    ]  # fmt: skip
    assert list(found.oil["run_id"]) == ["R02"]


def test_a_table_kept_by_hand_that_gives_a_part_to_another_run_is_told(tmp_path):
    made = issued()
    part = made.part("R03")
    (tmp_path / "raw").mkdir()
    text = f"run_id,part_id,station_id,reading,state,wear_um\nR01,{part},SEG01,1,before,10\n"
    (tmp_path / "raw" / "stations.csv").write_text(text, encoding="utf-8")
    found = records.read(tmp_path, made.brief, made.plan, registers=made.registers)
    assert told(found, "part of another run") == [
        ("note", "R01", part, "part_id", "part of another run",
         f"part {part} for R01 (raw/stations.csv line 2 and on)", "R03, as its sheet or the register has it",
         "check which run the part ran in; the run that the table names is used"),
    ]  # fmt: skip
    assert told(records.read(tmp_path, made.brief, made.plan), "part of another run") == []


def test_registers_hold_nothing_by_themselves():
    assert list(Registers().parts.columns)[:2] == ["part_id", "run_id"]
    assert len(read([sheet("R01")], registers=Registers()).runs) == 4


def test_a_part_that_cannot_be_a_code_is_a_fault():
    with pytest.raises(IntakeError) as caught:
        read([sheet("R01", part_id="a\nb"), sheet("R02", part_id="x" * 101, serial="y" * 200)])
    long = "x" * 40
    assert str(caught.value).split("\n")[1:] == [
        "  R01.xlsx R01!C15, column part_id: 'a\\x0ab'; expected a name of at most 100 printable characters.",
        f"  R02.xlsx R02!C15, column part_id: '{long}…'; expected a name of at most 100 printable characters.",
    ]


def test_a_long_serial_is_cut_in_messages():
    found = read([sheet("R01", serial="y" * 200)], registers=registered(R01="A-1"))
    assert [row[5] for row in told(found, "serial")] == [f"serial '{'y' * 40}…'"]
