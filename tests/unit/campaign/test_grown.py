"""A table that only grew is told from one whose lines were changed."""

from __future__ import annotations

import random

import pytest

from toolkit.campaign import grown

OLD = b'run_id,fe_ppm,verdict,reason\nR01,3.2,valid,\nR02,,pending,\nR03,4.1,invalid,"hose, burst"\n'
LINES = OLD.splitlines(keepends=True)


@pytest.mark.parametrize(
    ("new", "gone"),
    [
        (OLD, ()),
        (OLD + b"R04,,pending,\n", ()),
        (b"".join([*LINES[:2], b"R09,1.0,valid,\n", *LINES[2:]]), ()),
        (OLD.replace(b"R02,,pending,", b"R02,7.5,valid,"), ()),
        (OLD.replace(b"R02,,pending,", b"R02,7.5,pending,waits"), ()),
        (OLD.replace(b"R01,3.2", b"R01,3.3"), (2,)),
        (OLD.replace(b"R01,3.2", b"R01,"), (2,)),
        (OLD.replace(b"R02,,pending", b"R02,,"), (3,)),
        (b"".join([LINES[0], *LINES[2:]]), (2,)),
        (b"".join([LINES[0], LINES[2], LINES[1], LINES[3]]), (3,)),
        (b"".join([LINES[0], *LINES[2:], LINES[1]]), (3, 4)),
        (OLD.replace(b"verdict", b"judged"), (1,)),
        (OLD.replace(b"\n", b"\r\n"), ()),
        (OLD.replace(b"R01", b'"R01"'), ()),
        (OLD[:-1], (4,)),
        (b"", (1, 2, 3, 4)),
        (OLD[:50], (3, 4)),
        (OLD + b"R04,,pen", ()),
        (OLD.replace(b"R02", b"R0\xe4"), (3,)),
    ],
)
def test_lines_that_are_not_there_any_more_are_named(new, gone):
    assert grown.lost(OLD, new) == gone


def test_a_table_without_a_last_line_end_may_get_one():
    assert grown.lost(b"a,b\n1,2", b"a,b\n1,2\n3,4\n") == ()
    assert grown.lost(b"a,b\n1,2", b"a,b\n1,3\n3,4\n") == (2,)


def test_no_changed_byte_is_taken_for_growth():
    draw = random.Random(3)
    for _ in range(2_000):
        at, by = draw.randrange(len(OLD)), draw.randrange(1, 256)
        changed = OLD[:at] + bytes([OLD[at] ^ by]) + OLD[at + 1 :]
        assert grown.lost(OLD, changed), (at, by)


@pytest.mark.parametrize(
    ("new", "rows"),
    [
        (OLD + b"R04,,pending,\n", []),
        (OLD.replace(b"R02,,pending,", b"R02,7.5,valid,"), []),
        (b"".join([LINES[0], *reversed(LINES[1:])]), []),
        (b"oil," + OLD.replace(b"\nR", b"\nO1,R"), []),
        (OLD.replace(b"R01,3.2", b"R01,3.3"), [{"run_id": "R01", "fe_ppm": "3.2", "verdict": "valid"}]),
        (b"".join([*LINES[:2], LINES[3]]), [{"run_id": "R02", "verdict": "pending"}]),
    ],
)
def test_rows_with_other_figures_are_told_from_rows_that_moved_or_were_filled_in(new, rows):
    assert grown.altered(OLD, new) == rows
    # Of two rows alike one that was taken away is missed.
    assert grown.altered(OLD + LINES[1], new + b"") == [*rows, {"run_id": "R01", "fe_ppm": "3.2", "verdict": "valid"}]
