"""Where things stand in a TOML text: its statements, and the line of every key (rank 2).

tomllib tells no lines once a file has been read; this walks over the same text and reads no values.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass

from toolkit.brief.found import Loc

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|' + r"'''.*?'{3,5}|"
    r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'|"
    r"(?P<broken>[\"'][^\n]*)|(?P<comment>\#[^\n]*)|(?P<newline>\n)|[\[\]{}=,.]|[^\s\"'\[\]{}=,.#]+|[^\S\n]+",
    re.S,
)
_HEADER = re.compile(r"\s*\[\[?\s*[A-Za-z_][^=,#\n]*(#.*)?$")
_KEY = re.compile(r"\s*(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')\s*=")


@dataclass(frozen=True)
class Statement:
    """One statement of a TOML text: ``key = value`` or a section header.

    Attributes
    ----------
    first, last : int
        Its lines, counted from 1.
    header : bool
        True for a section header.
    fault : str
        'quote' when a quote is not closed, '[' or '{' when that bracket is not; else empty.
    """

    first: int
    last: int
    header: bool
    fault: str = ""


def statements(text: str) -> tuple[Statement, ...]:
    """The statements of a text that need not be valid TOML, in order.

    A statement ends with its line, or with the line on which its last bracket is closed. An open bracket does
    not swallow the file: the next section header ends it, and an open ``[`` also ends before a line
    ``key = ...``.
    """
    rows = text.split("\n")
    made = []
    line, first, fault = 1, None, ""
    opened: list[str] = []
    for found in _TOKEN.finditer(text):
        token = found.group()
        if found.lastgroup == "newline":
            following = rows[line] if line < len(rows) else ""
            cut = bool(opened) and (
                bool(_HEADER.match(following)) or (opened[-1] == "[" and bool(_KEY.match(following)))
            )
            if first is not None and (not opened or cut):
                made.append(_statement(rows, first, line, fault or (opened[-1] if opened else "")))
                first, fault, opened = None, "", []
            line += 1
            continue
        if found.lastgroup == "comment" or not token.strip():
            continue
        first = line if first is None else first
        if found.lastgroup == "broken":
            fault = fault or "quote"
        elif token in "[{":
            opened.append(token)
        elif token in "]}" and opened:
            opened.pop()
        line += token.count("\n")
    if first is not None:
        made.append(_statement(rows, first, len(rows), fault or (opened[-1] if opened else "")))
    return tuple(made)


def of_keys(text: str) -> dict[Loc, int]:
    """The line of every section, key and list item of a valid TOML text, counted from 1.

    Parameters
    ----------
    text : str
        A text that tomllib has read.

    Returns
    -------
    dict
        Place, as in the parsed tables, to line: ``("factor", 1, "undo")`` to 14.
    """
    walk = _Walk(text)
    walk.document()
    return walk.lines


def line_of(lines: dict[Loc, int], loc: Loc) -> int | None:
    """The line of a place, or of the nearest thing around it that stands in the file."""
    for length in range(len(loc), 0, -1):
        if loc[:length] in lines:
            return lines[loc[:length]]
    return None


def bare(line: str) -> str:
    """A line without the remark at its end and the blanks around it."""
    remark = next((item for item in _TOKEN.finditer(line) if item.lastgroup == "comment"), None)
    return (line[: remark.start()] if remark else line).strip()


def _statement(rows: list[str], first: int, last: int, fault: str) -> Statement:
    """A statement from its lines."""
    return Statement(first, last, rows[first - 1].lstrip().startswith("["), fault)


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    """Tokens with their lines, comments and blanks left out; a newline is a token."""
    line = 1
    for found in _TOKEN.finditer(text):
        token = found.group()
        if found.lastgroup == "newline" or (found.lastgroup != "comment" and token.strip()):
            yield token, line
        line += token.count("\n")


class _Walk:
    """One pass over the tokens of a valid TOML text."""

    def __init__(self, text: str) -> None:
        """Start at the first token."""
        self.tokens = [*_tokens(text), ("\n", text.count("\n") + 1)]
        self.at = 0
        self.lines: dict[Loc, int] = {}
        self.counts: dict[Loc, int] = {}

    @property
    def token(self) -> str:
        """The token that is next."""
        return self.tokens[self.at][0]

    def document(self) -> None:
        """Every statement of the text."""
        section: Loc = ()
        while self.at < len(self.tokens):
            if self.token == "\n":
                self.at += 1
            elif self.token == "[":
                section = self._header()
            else:
                self._pair(section)

    def _header(self) -> Loc:
        """A section header; gives the place that the keys after it belong to."""
        line = self.tokens[self.at][1]
        listed = self.tokens[self.at + 1][0] == "["
        self.at += 2 if listed else 1
        keys = self._key()
        self.at += 2 if listed else 1
        loc: Loc = ()
        for part in keys[:-1]:
            loc = self._current((*loc, part), line)
        loc = (*loc, keys[-1])
        self.lines.setdefault(loc, line)
        if not listed:
            return self._current(loc, line)
        self.counts[loc] = self.counts.get(loc, -1) + 1
        loc = (*loc, self.counts[loc])
        self.lines[loc] = line
        return loc

    def _current(self, loc: Loc, line: int) -> Loc:
        """A place, with the number of the last item where it is a list of tables."""
        self.lines.setdefault(loc, line)
        return (*loc, self.counts[loc]) if loc in self.counts else loc

    def _key(self) -> list[str]:
        """A key, its dotted parts apart."""
        parts = []
        while self.token not in ("=", "]"):
            if self.token != ".":
                parts.append(_unquoted(self.token))
            self.at += 1
        return parts

    def _pair(self, section: Loc) -> None:
        """``key = value``."""
        line = self.tokens[self.at][1]
        loc = section
        for part in self._key():
            loc = (*loc, part)
            self.lines.setdefault(loc, line)
        self.at += 1
        self._value(loc)

    def _value(self, loc: Loc) -> None:
        """A value: goes into lists and inline tables, passes over the rest."""
        if self.token == "[":
            self.at += 1
            number = 0
            while self.token != "]":
                if self.token in ("\n", ","):
                    self.at += 1
                    continue
                self.lines[(*loc, number)] = self.tokens[self.at][1]
                self._value((*loc, number))
                number += 1
            self.at += 1
        elif self.token == "{":
            self.at += 1
            while self.token != "}":
                if self.token in ("\n", ","):
                    self.at += 1
                else:
                    self._pair(loc)
            self.at += 1
        else:
            while self.token not in ("\n", ",", "]", "}"):
                self.at += 1


def _unquoted(token: str) -> str:
    """A part of a key without its quotes."""
    return next(iter(tomllib.loads(f"{token} = 0"))) if token[0] in "\"'" else token
