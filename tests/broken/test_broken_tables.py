"""Broken tables, singly, in pairs and at random: one clear message, every fault in it, nothing written."""

from __future__ import annotations

import io
import random
import re
from pathlib import Path

import pandas as pd
import pytest

from tests.unit.intake import broken_tables, material
from tests.unit.intake.broken_tables import Broken
from toolkit.errors import IntakeError
from toolkit.intake import gathered, records

PAIRS = 30
FUZZED = 100


def everything(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file under a folder with its bytes and the time it was written."""
    return {
        path.relative_to(folder).as_posix(): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in folder.rglob("*")
        if path.is_file()
    }


def broken(folder: Path, *ways: Broken) -> Path:
    """The small campaign, broken in these ways."""
    made: dict[str, str | bytes | None] = dict(material.texts())
    for way in ways:
        made[way.table] = way.made(made[way.table])
    return material.folder(folder, **{name.replace("rig-", ""): made[name] for name in material.NAMES})


def clash(one: Broken, other: Broken) -> bool:
    """Whether the one would hide the other: a table that cannot be read has no faults in its cells."""
    if one.table == other.table:
        return one is other or bool({"file", "shape"} & {one.kind, other.kind})
    return {one.kind, other.kind} == {"file", "runs"} and "runs" in (one.table, other.table)


def pairs() -> list[tuple[Broken, Broken]]:
    """Pairs drawn at random from a fixed seed that do not hide each other."""
    draw, made = random.Random(20417), []
    while len(made) < PAIRS:
        one, other = draw.sample(broken_tables.EVERY, 2)
        if not clash(one, other):
            made.append((one, other))
    return made


def test_the_small_campaign_itself_is_in_order(tmp_path):
    read = records.read(material.folder(tmp_path), material.brief())
    assert len(read.runs) == 7


@pytest.mark.parametrize("way", broken_tables.EVERY, ids=lambda way: way.name)
def test_a_broken_table_gives_one_whole_message_and_writes_nothing(tmp_path, way):
    folder = broken(tmp_path, way)
    before = everything(folder)
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief())
    assert str(caught.value).split("\n") == [gathered.HEADLINE, *(f"  {line}" for line in way.messages)]
    assert caught.value.exit_code == 1
    assert everything(folder) == before


@pytest.mark.parametrize("ways", pairs(), ids=lambda ways: " and ".join(way.name for way in ways))
def test_both_faults_of_a_pair_are_told(tmp_path, ways):
    folder = broken(tmp_path, *ways)
    before = everything(folder)
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief())
    told = str(caught.value).split("\n")
    for way in ways:
        assert [f"  {line}" for line in way.messages if f"  {line}" not in told] == []
    assert everything(folder) == before


def test_a_column_full_of_one_fault_does_not_hide_another(tmp_path):
    commas = material.stations_text().replace("0.0", "0,0").replace("0.1", "0,1")
    quoted = "\n".join(
        line if at == 0 or not line else f'{line.rsplit(",", 2)[0]},"{",".join(line.rsplit(",", 2)[1:])}"'
        for at, line in enumerate(commas.split("\n"))
    )
    folder = material.folder(tmp_path, stations=quoted, runs=material.with_cell(material.RUNS, 8, "verdict", "perhaps"))
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief())
    point = "expected a number with a decimal point"
    assert str(caught.value).split("\n") == [
        gathered.HEADLINE,
        "  raw/runs.csv line 8, column verdict: 'perhaps'; expected 'valid', 'invalid', 'not "
        "interpretable' or 'pending'.",
        f"  raw/stations.csv line 2, column elongation_pct: '0,001'; {point}. Write 0.001.",
        f"  raw/stations.csv line 3, column elongation_pct: '0,003'; {point}. Write 0.003.",
        f"  raw/stations.csv line 4, column elongation_pct: '0,113'; {point}. Write 0.113.",
        "  raw/stations.csv, column elongation_pct: 57 more faults of the same kind; expected what is said "
        "above. Put them right in the same way.",
    ]


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(IntakeError) as caught:
        records.read(tmp_path / "nowhere", material.brief())
    assert str(caught.value) == (f"{tmp_path / 'nowhere'}: there is no such folder; expected the folder of a campaign.")


@pytest.mark.parametrize(
    "name",
    ["../secret.csv", "raw/../raw/rig-history.csv", "/etc/passwd", "raw\\runs.csv", "~/x.csv", "C:/x.csv", "a\0b"],
)
def test_a_history_outside_the_folder_is_refused(tmp_path, name):
    folder = material.folder(tmp_path)
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief(scatter=material.KnownScatter(history=name)))
    shown = name.replace("\0", "\\x00")
    assert str(caught.value).split("\n")[1:] == [
        f"  campaign.toml, [scatter] history: '{shown}'; expected a file in the folder of the campaign, "
        "written with '/'."
    ]


def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path):
    (tmp_path / "outside.csv").write_text(material.HISTORY, encoding="utf-8")
    folder = material.folder(tmp_path / "campaign")
    (folder / "raw" / "past.csv").symlink_to(tmp_path / "outside.csv")
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief(scatter=material.KnownScatter(history="raw/past.csv")))
    assert str(caught.value).split("\n")[1:] == [
        "  campaign.toml, [scatter] history: 'raw/past.csv'; expected a file in the folder of the campaign, "
        "written with '/'."
    ]


@pytest.mark.parametrize(
    ("other", "remedy"),
    [
        ("oil.xlsx", "Save the table as CSV, UTF-8, with commas between the columns."),
        ("Oil.csv", "Rename it."),
        ("oil.csv.txt", "Save the table as CSV, UTF-8, with commas between the columns."),
    ],
)
def test_a_file_meant_for_a_table_is_named(tmp_path, other, remedy):
    folder = material.folder(tmp_path, oil=None)
    (folder / "raw" / other).write_text(material.OIL, encoding="utf-8")
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief())
    assert str(caught.value).split("\n")[1:] == [
        f"  raw/oil.csv: there is no such file, but '{other}' is there; expected this very name. {remedy}"
    ]


def test_what_is_no_file_is_told(tmp_path):
    folder = material.folder(tmp_path, oil=None, stations=None)
    (folder / "raw" / "oil.csv").mkdir()
    (folder / "raw" / "stations.csv").symlink_to(folder / "gone.csv")
    with pytest.raises(IntakeError) as caught:
        records.read(folder, material.brief())
    assert str(caught.value).split("\n")[1:] == [
        "  raw/stations.csv: a link that leads nowhere; expected a CSV file. Copy the file itself here.",
        "  raw/oil.csv: not a file but a folder or device; expected a CSV file. Move it away.",
    ]


def random_bytes(draw: random.Random, count: int) -> bytes:
    """Bytes of any value."""
    return bytes(draw.randrange(256) for _ in range(count))


def truncated(content: bytes, draw: random.Random) -> bytes:
    """Cut off somewhere."""
    return content[: draw.randrange(len(content))]


def flipped(content: bytes, draw: random.Random) -> bytes:
    """One to three bits turned."""
    made = bytearray(content)
    for _ in range(draw.randint(1, 3)):
        made[draw.randrange(len(made))] ^= 1 << draw.randrange(8)
    return bytes(made)


def inserted(content: bytes, draw: random.Random) -> bytes:
    """A few bytes put in somewhere."""
    at = draw.randrange(len(content))
    return content[:at] + random_bytes(draw, draw.randint(1, 4)) + content[at:]


def with_signs(content: bytes, draw: random.Random) -> bytes:
    """One of the signs that matter put in somewhere."""
    at = draw.randrange(len(content))
    sign = draw.choice([b",", b";", b'"', b"'", b"\n", b"\r", b"\x00", b"\xef\xbb\xbf", b"\xc2\xa0", b"=", b"<", b"-"])
    return content[:at] + sign + content[at:]


def without_line(content: bytes, draw: random.Random) -> bytes:
    """One line left out, or there twice."""
    lines = content.split(b"\n")
    at = draw.randrange(len(lines) - 1)
    return b"\n".join([*lines[:at], *([lines[at]] * draw.choice([0, 2])), *lines[at + 1 :]])


def encoded(content: bytes, draw: random.Random) -> bytes:
    """In another encoding, with or without a byte order mark."""
    return content.decode("utf-8").encode(draw.choice(["utf-16", "utf-16-le", "utf-32", "cp037", "utf-8-sig"]))


def other_ends(content: bytes, draw: random.Random) -> bytes:
    """With the line ends of other systems, and blank lines."""
    return content.replace(b"\n", draw.choice([b"\r\n", b"\r", b"\n\n", b" \n"]))


def random_file(content: bytes, draw: random.Random) -> bytes:
    """Any bytes at all."""
    return random_bytes(draw, draw.randrange(2000))


WAYS = (truncated, flipped, inserted, with_signs, without_line, encoded, other_ends, random_file)
TABLES = {"runs": "runs", "stations": "readings", "oil": "oil", "rig-history": "history"}


def says_the_same(frame: pd.DataFrame | None, content: bytes) -> bool:
    """Whether every cell of a frame is what pandas, as another reader, finds in the file."""
    if frame is None:
        return content == b""
    text = pd.read_csv(io.BytesIO(content), dtype="str", keep_default_na=False, encoding="utf-8-sig", sep=",",
                       skipinitialspace=True)  # fmt: skip
    text = text.rename(columns=str.strip).map(lambda cell: re.sub("^'(?=[=+@-])", "", cell.strip()))
    text = text[(text != "").any(axis=1)].reset_index(drop=True)
    if len(text) != len(frame):
        return False
    for name in text.columns:
        for typed, read in zip(text[name], frame[name], strict=True):
            if isinstance(read, bool) or name == "verdict":
                continue
            if pd.isna(read):
                if typed.casefold() not in ("", "lost"):
                    return False
            elif isinstance(read, str):
                if read.casefold() != typed.casefold() and not (name == "load_Nm" and float(read) == float(typed)):
                    return False
            elif float(typed.lstrip("<")) != float(read):
                return False
    return True


def fuzz(folder: Path, number: int) -> str:
    """One malformed table: 'refused' with its file named, or 'read' with what stands in it."""
    draw = random.Random(7000 + number)
    table, way = draw.choice(list(TABLES)), WAYS[number % len(WAYS)]
    content = way(material.texts()[table].encode("utf-8"), draw)
    material.folder(folder, **{table.replace("rig-", ""): content})
    before = everything(folder)
    try:
        read = records.read(folder, material.brief())
    except IntakeError as refusal:
        lines = str(refusal).split("\n")
        assert lines[0] == gathered.HEADLINE
        assert all(line.startswith("  raw/") or line.startswith("  ... and ") for line in lines[1:]), lines
        named = f"raw/{table}.csv" in str(refusal) or (table == "runs" and "unknown run" in str(refusal))
        assert named, (way.__name__, refusal)
        outcome = "refused"
    else:
        assert says_the_same(getattr(read, TABLES[table]), content), (way.__name__, table, number)
        outcome = "read"
    assert everything(folder) == before
    return outcome


@pytest.mark.parametrize("number", range(FUZZED))
def test_a_malformed_table_is_refused_or_read_as_it_stands(tmp_path, number):
    assert fuzz(tmp_path, number) in ("refused", "read")


@pytest.mark.parametrize("way", [b"\r\n", b"\r", b"\n\n"])
def test_line_ends_and_byte_order_marks_do_not_matter(tmp_path, way):
    plain = records.read(material.folder(tmp_path / "plain"), material.brief())
    made = {
        name.replace("rig-", ""): b"\xef\xbb\xbf" + text.encode("utf-8").replace(b"\n", way)
        for name, text in material.texts().items()
    }
    other = records.read(material.folder(tmp_path / "other", **made), material.brief())
    for name in TABLES.values():
        pd.testing.assert_frame_equal(getattr(plain, name), getattr(other, name))
    pd.testing.assert_frame_equal(plain.findings, other.findings)
