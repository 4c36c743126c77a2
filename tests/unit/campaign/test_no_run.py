"""A table that tells of no run of the campaign is refused whole: another campaign's, or a blank one."""

from __future__ import annotations

import openpyxl
import pytest

from tests.unit.campaign.test_taking import PILOT, bench, contents, shopped  # noqa: F401
from toolkit.campaign import taking
from toolkit.errors import IntakeError


def test_table_of_another_campaign_is_refused_with_its_codes(bench, tmp_path):  # noqa: F811
    campaign, _ = bench
    table = tmp_path / "other.csv"
    lines = ["part_id,station_id,reading,state,elongation_pct"]
    lines += [f"ZZZ{part},S1,1,before,0.1" for part in range(1, 9)]
    table.write_text("\n".join(lines) + "\n")
    before = contents(campaign.folder)
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, [table])
    assert str(told.value) == (
        "Nothing was taken in.\n"
        f"  {table}: tells of no run of this campaign (parts ZZZ1, ZZZ2, ZZZ3, ZZZ4, ZZZ5, ZZZ6 and 2 more); expected "
        "parts of the registers in plan/, or of a run sheet. Is it another campaign's table? Else issue the registers "
        "first with `wearbook sheets`, or correct the codes in the table, and take it in again."
    )
    assert contents(campaign.folder) == before


def test_samples_of_another_campaign_are_refused(bench, tmp_path):  # noqa: F811
    campaign, _ = bench
    table = tmp_path / "lab-9.csv"
    table.write_text("Probe;Eisen [mg/kg];Bemerkung\nQQ1;12,5;\nQQ2;13,5;\n")
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, [table])
    assert str(told.value) == (
        "Nothing was taken in.\n"
        f"  {table}: tells of no run of this campaign (2 samples without a run: QQ1, QQ2 ({table} line 2)); expected "
        "samples of the registers in plan/. Is it another campaign's table? Else issue the registers first with "
        "`wearbook sheets`, or correct the codes in the table, and take it in again."
    )


def test_blank_table_is_refused(bench):  # noqa: F811
    campaign, _ = bench
    blank = campaign.folder / "runsheets" / PILOT / "blind" / "measure-before.xlsx"
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, [blank])
    assert str(told.value) == (
        "Nothing was taken in.\n"
        f"  {blank}: no figure is filled in; expected at least one figure, or the word lost. Take it in when it is "
        "filled in."
    )


def test_a_run_sheet_as_it_was_issued_is_refused_and_one_with_a_single_tick_taken_in(bench, tmp_path):  # noqa: F811
    campaign, _ = bench
    issued = campaign.folder / "runsheets" / PILOT / "P01.xlsx"
    before = contents(campaign.folder)
    with pytest.raises(IntakeError) as told:
        taking.take(campaign, [issued])
    # A person who filled in another copy would else have a run on record that nothing is known of.
    assert str(told.value) == (
        "The file was not taken in.\n"
        "  P01.xlsx: a run sheet in which nothing is filled in; expected at least one value, or one tick. Take it in "
        "when it is filled in; was another copy filled in, name that one, and save it first."
    )
    assert contents(campaign.folder) == before
    book = openpyxl.load_workbook(issued)
    tick = next(row for row in book.active.iter_rows() if row[0].value == "Part measured before the run")
    tick[2].value = "yes"
    book.save(tmp_path / "P01.xlsx")
    assert [item.kind for item in taking.take(campaign, [tmp_path / "P01.xlsx"]).new] == ["run sheet"]
