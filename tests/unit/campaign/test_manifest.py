"""What was taken in is bound to the log: an edited row, a changed, missing or added file is named, all at once."""

from __future__ import annotations

import shutil

import pytest

from toolkit import shipped, stamp
from toolkit.campaign import folder, log, manifest, storage, verify
from toolkit.errors import IntegrityError

RESTORE = "Restore it from your backup."
SHEET, TABLE = b"a run sheet, as it came", b"run_id,verdict\nR01,pending\n"


@pytest.fixture
def chain(tmp_path, monkeypatch):
    """A copy of the bundled campaign with two files and a table taken in."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "chain")
    campaign = folder.open_campaign(tmp_path / "chain")
    with storage.locked(campaign.folder):
        manifest.keep(campaign.folder, three())
    return campaign


def three():
    table = (shipped.folder("data") / "chain-soot" / "raw" / "runs.csv").read_bytes()
    return [
        (manifest.entry(SHEET, kind="run sheet", given_as="R05 (2).xlsx"), SHEET),
        (manifest.entry(TABLE, kind="runs", given_as="cell.csv", mapping="test cell"), TABLE),
        (manifest.entry(table, kind="runs", given_as="raw/runs.csv"), table),
    ]


def refusal(campaign) -> str:
    with pytest.raises(IntegrityError) as told:
        verify.verify(campaign)
    return str(told.value)


def test_a_copy_a_row_and_a_row_of_the_log_are_written(chain):
    first, second, third = (item for item, _ in three())
    short = stamp.checksum_bytes(SHEET)[:12]
    assert first.file == f"raw/received/{short}-R05-2.xlsx"
    assert (chain.folder / first.file).read_bytes() == SHEET
    assert (chain.folder / "raw/manifest.csv").read_text() == (
        "file,sha256,size,kind,mapping,given_as,replaces\n"
        f"{first.file},{first.sha256},23,run sheet,,R05 (2).xlsx,\n"
        f"{second.file},{second.sha256},27,runs,test cell,cell.csv,\n"
        f"{third.file},{third.sha256},{third.size},runs,,raw/runs.csv,\n"
    )
    rows = log.read(chain.folder)
    assert [(row["kind"], row["subject"]) for row in rows] == [
        ("taken in", item.sha256) for item in (first, second, third)
    ]
    assert log.told(rows[1]) == {
        "file": second.file,
        "given_as": "cell.csv",
        "kind": "runs",
        "mapping": "test cell",
        "mapping_sha256": "",
        "replaces": "",
        "sha256": second.sha256,
        "size": 27,
    }
    assert manifest.entries(rows) == (first, second, third)
    assert manifest.counting(manifest.entries(rows)) == (first, second)
    assert manifest.copies(manifest.entries(rows)) == {"raw/runs.csv": third}


def test_a_file_that_replaces_another_counts_in_its_place_and_may_be_replaced_by_it_again():
    first = manifest.entry(b"1", kind="oil", given_as="oil.csv")
    second = manifest.entry(b"2", kind="oil", given_as="oil.csv", replaces=first.file)
    again = manifest.entry(b"1", kind="oil", given_as="oil.csv", replaces=second.file)
    assert manifest.counting([first, second]) == (second,)
    assert manifest.counting([first, second, again]) == (again,)


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("R05.xlsx", "R05.xlsx"),
        ("Meßraum Prüfung 3.XLSX", "Me-raum-Pr-fung-3.XLSX"),
        ("../../etc/passwd", "etc-passwd"),
        ("=cmd|'/C calc'!A0.csv", "cmd-C-calc-A0.csv"),
        ("....", "file"),
        ("x" * 300 + ".csv", "x" * 76 + ".csv"),
        ("no-suffix", "no-suffix"),
        ("日本", "file"),
    ],
)
def test_names_that_every_system_takes(name, plain):
    assert manifest.plain_name(name) == plain


def test_verify_tells_what_was_taken_in(chain):
    found = verify.verify(chain)
    assert found.lines[:4] == (
        "log.csv: 3 rows, chain unbroken",
        "raw/manifest.csv: 3 taken in, every checksum fits",
        "raw/runs.csv: as taken in",
        "not taken in yet: raw/stations.csv, raw/oil.csv, raw/rig-history.csv (`wearbook intake` keeps copies that "
        "show later changes)",
    )
    assert verify.verify(chain, quick=True).lines[1] == "raw/manifest.csv: 3 taken in, all there"


def test_every_tampering_is_named_at_once(chain):
    first, second, third = (item for item, _ in three())
    (chain.folder / first.file).write_bytes(SHEET[:-1] + b"E")
    (chain.folder / second.file).unlink()
    (chain.folder / "raw/received/by-hand.xlsx").write_bytes(b"x")
    path = chain.folder / "raw/manifest.csv"
    path.write_text(path.read_text().replace("test cell", "test bed"))
    table = chain.folder / "raw/runs.csv"
    table.write_bytes(table.read_bytes().replace(b"R03,main", b"R03,pilot", 1))
    assert refusal(chain) == "\n".join(
        [
            "5 things are not what they were:",
            f"  raw/manifest.csv line 3: was edited: the log holds another row of {second.file}. {RESTORE}",
            f"  {first.file}: was changed since it was taken in as R05 (2).xlsx. {RESTORE}",
            f"  {second.file}: was taken in as cell.csv, and cannot be read now (No such file or directory). {RESTORE}",
            "  raw/received/by-hand.xlsx: was put there by hand: the log does not hold it. Take it away.",
            f"  raw/runs.csv: changed since it was taken in: line 8 of {third.file} is not there any more. Restore the "
            f"table, or take the change in with `wearbook intake` and its --reason and --role.",
        ]
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: [rows[0], rows[2], rows[3]], "the row of {0} was removed."),
        (lambda rows: rows[:1], "the row of {0}, {1}, {2} was removed."),
        (lambda rows: [rows[0], rows[1], rows[1], *rows[2:]], " line 2: was put in by hand: the log does not hold it."),
        (
            lambda rows: [*rows[:3], rows[3].replace("runs.csv", "oil.csv")],
            " line 4: was edited: the log holds another",
        ),
        (lambda rows: [*rows[:3], rows[3].replace(",,", ',"",')], "its quotes, blanks or line ends are not as they"),
        (lambda rows: ["file;sha256\n", *rows[1:]], "cannot be read as the table that was written."),
        (lambda rows: [], "its quotes, blanks or line ends are not as they were written."),
    ],
)
def test_a_manifest_changed_by_hand_is_found(chain, change, said):
    path = chain.folder / "raw/manifest.csv"
    path.write_text("".join(change(path.read_text().splitlines(keepends=True))))
    names = [item.file for item, _ in three()]
    text = refusal(chain)
    assert text.startswith("raw/manifest.csv")
    assert said.format(*names) in text


def test_a_manifest_that_is_gone_is_found(chain):
    (chain.folder / "raw/manifest.csv").unlink()
    assert refusal(chain) == f"raw/manifest.csv: is gone, and the log says that 3 files were taken in. {RESTORE}"


def test_a_table_that_grew_is_told_and_one_that_is_gone_is_found(chain):
    path = chain.folder / "raw/runs.csv"
    whole = path.read_bytes()
    path.write_bytes(whole + whole.splitlines(keepends=True)[-1].replace(b"R12", b"R13"))
    assert verify.verify(chain).lines[2] == (
        "raw/runs.csv: grew since it was taken in; `wearbook intake` takes it in again"
    )
    path.unlink()
    assert refusal(chain) == f"raw/runs.csv: was taken in and is gone. Restore it from {three()[2][0].file}."


class Stopped(BaseException):
    """The command ends here."""


@pytest.mark.parametrize("number", range(5))
def test_stopped_after_any_write_it_verifies_and_the_same_again_completes_it(tmp_path, monkeypatch, number):
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    shutil.copytree(shipped.folder("data") / "chain-soot", tmp_path / "c")
    campaign = folder.open_campaign(tmp_path / "c")
    new = three()[:2]
    with pytest.MonkeyPatch.context() as patch:
        written, real = [], storage.write_bytes

        def write(path, content):
            """Write until it is time to stop."""
            if len(written) == number:
                raise Stopped
            written.append(path.name)
            real(path, content)

        patch.setattr(storage, "write_bytes", write)
        with pytest.raises(Stopped):
            manifest.keep(campaign.folder, new)
    # Copies, the manifest, then a row of the log each.
    order = [*(item.file.rpartition("/")[2] for item, _ in new), "manifest.csv", "log.csv"]
    assert written == order[:number]
    lines = verify.verify(campaign).lines
    waiting = [line for line in lines if "a command was stopped" in line]
    assert len(waiting) == {0: 0, 1: 1, 2: 2, 3: 2, 4: 1}[number]
    if number == 3:
        assert waiting[0] == (
            f"raw/manifest.csv: the row of {new[0][0].file} (R05 (2).xlsx) has no row in the log: a command was "
            f"stopped; it does not count until `wearbook intake` is repeated"
        )
    if number == 1:
        assert waiting == [
            f"{new[0][0].file}: not in the log: a command was stopped; it counts nowhere until it is taken in again"
        ]
    done = manifest.entries(log.read(campaign.folder))
    manifest.keep(campaign.folder, [pair for pair in new if pair[0] not in done])
    assert manifest.entries(log.read(campaign.folder)) == tuple(item for item, _ in new)
    assert "every checksum fits" in verify.verify(campaign).lines[1]
    assert not any("stopped" in line for line in verify.verify(campaign).lines)


def test_a_row_put_under_the_manifest_by_hand_without_its_file_is_found(chain):
    path = chain.folder / "raw/manifest.csv"
    path.write_text(path.read_text() + f"raw/received/{'0' * 12}-x.csv,{'0' * 64},1,oil,,x.csv,\n")
    assert refusal(chain) == (
        f"raw/manifest.csv: the row of raw/received/{'0' * 12}-x.csv was put in by hand: the log does not hold it, "
        f"and there is no such file. Take the row out."
    )


def test_another_file_where_a_copy_should_be_is_never_overwritten(tmp_path):
    item, content = three()[0]
    (tmp_path / "raw/received").mkdir(parents=True)
    (tmp_path / item.file).write_bytes(b"mine")
    with pytest.raises(IntegrityError) as told:
        manifest.keep(tmp_path, [(item, content)])
    assert str(told.value) == f"{item.file}: another file lies there, put there by hand. Take it away."
    assert (tmp_path / item.file).read_bytes() == b"mine"
    assert not (tmp_path / "log.csv").exists()
