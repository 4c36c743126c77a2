"""Broken recordings of a dynamometer, each with the one thing that is told of it; used by test_broken_recordings."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from tests.unit.campaign import recorded

HEAD = "Time [s],N,M,T_OIL\n"
_PACKED = "expected a CSV file, or one packed by gzip."
_LINES = "expected a time and as many cells as headings in each."


@dataclass(frozen=True)
class Broken:
    """A recording that is broken in one way.

    ``content`` takes the run's number; ``fault`` is what refuses it (NAME is the file, RUN the run), ``note`` the
    finding where it can be used all the same.
    """

    name: str
    content: Callable[[int], bytes | str]
    fault: str = ""
    note: str = ""
    ending: str = ".csv"


@cache
def good(seed: int = 1) -> str:
    """A clean recording of two hours."""
    return recorded.text(recorded.table(seed=seed))


def _lines(seed: int) -> list[str]:
    """Its lines, with their ends."""
    return good(seed).splitlines(keepends=True)


def _with(seed: int, at: int, *lines: str) -> str:
    """Other lines in the place of one."""
    made = _lines(seed)
    return "".join([*made[:at], *lines, *made[at + 1 :]])


def _clock(seed: int, start: int, by: float) -> str:
    """The clock moved by some seconds from a line on."""
    made = _lines(seed)
    moved = [f"{float(line.split(',')[0]) + by:.1f},{line.split(',', 1)[1]}" for line in made[start:]]
    return "".join([*made[:start], *moved])


def _channel(seed: int, place: int, text: str) -> str:
    """One column filled with the same text."""
    rows = [line.rstrip("\n").split(",") for line in _lines(seed)[1:]]
    return HEAD + "".join(",".join([*row[:place], text, *row[place + 1 :]]) + "\n" for row in rows)


def _sweep(seed: int, *, speed: float = 1.0, torque: float = 1.0) -> str:
    """The second sweep of three at less speed or torque."""
    rows = recorded.table(seed=seed)
    during = (rows[:, 0] >= 3000.0) & (rows[:, 0] <= 3040.0)
    rows[during, 1] *= speed
    rows[during, 2] *= torque
    return recorded.text(rows)


EVERY = (
    Broken("empty", lambda n: "", "NAME: empty; expected headings, then a line a reading."),
    Broken(
        "blank first line",
        lambda n: "\n" + good(n),
        "NAME: a blank first line; expected headings, then a line a reading.",
    ),
    Broken("headings alone", lambda n: HEAD, f"NAME: no line that can be read; {_LINES}"),
    Broken(
        "another heading",
        lambda n: good(n).replace("T_OIL", "T_Oil", 1),
        "NAME line 1: no column 'T_OIL'; expected 'Time [s]', 'N', 'M' or 'T_Oil'. Did you mean 'T_Oil'?",
    ),
    Broken(
        "a heading twice",
        lambda n: HEAD.replace("M", "N") + "".join(_lines(n)[1:]),
        "NAME line 1: no column 'M'; expected 'Time [s]', 'N', 'N' or 'T_OIL'.|NAME line 1: column 'N' twice; expected "
        "each heading once.",
    ),
    Broken(
        "semicolons",
        lambda n: good(n).replace(",", ";"),
        "NAME line 1: headings parted by semicolons; expected by commas, as [dyno_log] separator has it.",
    ),
    Broken(
        "decimal commas in semicolons under our headings",
        lambda n: HEAD + "".join(line.replace(",", ";").replace(".", ",") for line in _lines(n)[1:]),
        f"NAME: no line that can be read: all 828 have more or fewer cells; {_LINES}",
    ),
    Broken(
        "decimal commas in quotes",
        lambda n: _channel(n, 1, '"2000,5"'),
        "NAME: no figure in column 'N': '2000,5'; expected figures. Write decimal = \"comma\" in [dyno_log].",
    ),
    Broken(
        "words for figures",
        lambda n: _channel(n, 3, "warm"),
        "NAME: no figure in column 'T_OIL': 'warm'; expected figures.",
    ),
    Broken("words for times", lambda n: _channel(n, 0, "noon"), f"NAME: no line that can be read; {_LINES}"),
    Broken(
        "a formula in each cell",
        lambda n: _channel(n, 2, "=HYPERLINK(1)"),
        "NAME: no figure in column 'M': '=HYPERLINK(1)'; expected figures.",
    ),
    Broken(
        "wide letters",
        lambda n: good(n).encode("utf-16"),
        "NAME: bytes that are no text; expected a CSV file in UTF-8. Save it again as CSV in UTF-8.",
    ),
    Broken(
        "not packed",
        good,
        f"NAME: cannot be read (Not a gzipped file (b'Ti')); {_PACKED}",
        ending=".csv.gz",
    ),
    Broken(
        "a first line without an end",
        lambda n: "x" * 100_000,
        "NAME: a first line of 65,536 bytes or more; expected a CSV file in UTF-8. Save it again as CSV in UTF-8.",
    ),
    Broken(
        "clock that runs backwards",
        lambda n: HEAD + "".join(reversed(_lines(n)[1:])),
        "recording of run RUN: time: no reading follows another within the longest step of 20 s; expected a recording. "
        "Is the time in another unit?",
    ),
    Broken(
        "time in hours",
        lambda n: HEAD + "".join(f"{at},2000,80,100\n" for at in range(0, 30_000, 100)),
        "recording of run RUN: time: no reading follows another within the longest step of 20 s; expected a recording. "
        "Is the time in another unit?",
    ),
    Broken(
        "one reading",
        lambda n: HEAD + _lines(n)[1],
        "recording of run RUN: time: readings: 1; expected at least 2.",
    ),
    Broken("last line cut", lambda n: good(n)[:-7], note="NAME: line 829, the last one, breaks off"),
    Broken(
        "last line cut, packed",
        lambda n: gzip.compress(good(n)[:-7].encode()),
        note="NAME: line 829, the last one, breaks off",
        ending=".csv.gz",
    ),
    Broken(
        "a line with too few cells",
        lambda n: _with(n, 99, _lines(n)[99].rsplit(",", 2)[0] + "\n"),
        note="1 line with more or fewer cells (NAME line 100)",
    ),
    Broken("a second header", lambda n: _with(n, 99, HEAD), note="1 line without a time (NAME line 100)"),
    Broken(
        "a cell without a figure",
        lambda n: _with(n, 99, "{0},{1},#REF!,{3}".format(*_lines(n)[99].split(","))),
        note="1 cell without a figure in it (NAME line 100)",
    ),
    Broken(
        "clock set back",
        lambda n: _clock(n, 500, -600.0),
        note="1 time the clock went back (first from 4260 s to 3670 s): a restart, or a clock that was set",
    ),
    Broken("clock set on", lambda n: _clock(n, 500, 600.0), note="1 gap, 0.169 h in all, the longest 0.169 h"),
    Broken(
        "a line twice",
        lambda n: _with(n, 99, _lines(n)[99], _lines(n)[99]),
        note="1 reading at the same time as the one before",
    ),
    Broken(
        "no signal",
        lambda n: "".join(
            f"{line.rsplit(',', 1)[0]},-9999\n" if 100 <= at < 150 else line for at, line in enumerate(_lines(n))
        ),
        note="50 of 828 readings missing, for 0.137 h at a time",
    ),
    Broken(
        "tabs",
        lambda n: good(n).replace(",", "\t"),
        "NAME line 1: headings parted by tabs; expected by commas, as [dyno_log] separator has it.",
    ),
    Broken(
        "formulas for headings",
        lambda n: '"=HYPERLINK(""x"")",@N,+M,-T\n' + "".join(_lines(n)[1:]),
        "|".join(
            f"NAME line 1: no column '{name}'; expected '=HYPERLINK(\"x\")', '@N', '+M' or '-T'.{more}"
            for name, more in (("Time [s]", ""), ("N", " Did you mean '@N'?"), ("M", " Did you mean '+M'?"),
                               ("T_OIL", ""))
        ),
    ),
    Broken(
        "a quote that is not closed",
        lambda n: _with(n, 99, _lines(n)[99].replace(",", ',"', 1)),
        note="1 line with more or fewer cells (NAME line 100)",
    ),
    Broken(
        "a quote in the last cell that is not closed",
        lambda n: _with(n, 99, ',"'.join(_lines(n)[99].rsplit(",", 1))),
        note="1 line with more or fewer cells (NAME line 100)",
    ),
    Broken("a blank line", lambda n: _with(n, 99, "\n"), note="1 line with more or fewer cells (NAME line 100)"),
    Broken(
        "bytes of nought",
        lambda n: _with(n, 99, "\x00" * 40 + "\n"),
        note="1 line with more or fewer cells (NAME line 100)",
    ),
    Broken(
        "a comma for the thousands",
        lambda n: _with(n, 99, _lines(n)[99].replace("5300", "5,300")),
        note="1 line with more or fewer cells (NAME line 100)",
    ),
    Broken(
        "a unit in a cell",
        lambda n: _with(n, 99, _lines(n)[99].rstrip() + " degC\n"),
        note="1 cell without a figure in it (NAME line 100)",
    ),
    Broken(
        "a word for a time",
        lambda n: _with(n, 99, "noon," + _lines(n)[99].split(",", 1)[1]),
        note="1 line without a time (NAME line 100)",
    ),
    Broken(
        "two lines in the other order",
        lambda n: "".join([*_lines(n)[:99], _lines(n)[100], _lines(n)[99], *_lines(n)[101:]]),
        note="1 time the clock went back (first from 639 s to 638 s): a restart, or a clock that was set",
    ),
    Broken("a sweep at part load", lambda n: _sweep(n, torque=0.7), note="2 full-load sweeps"),
    Broken("a sweep that stops half-way", lambda n: _sweep(n, speed=0.7), note="2 full-load sweeps"),
)  # fmt: skip
