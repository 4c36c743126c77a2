"""What was probably meant by a line that is not TOML (rank 2).

Words for a person; nothing is mended silently.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from toolkit.brief.found import quoted
from toolkit.brief.lines import Statement

_COMMA = re.compile(r"=\s*([-+]?\d+),(\d+)\s*(?:$|#|\}|,\s*[A-Za-z_])")
_NOUGHTS = re.compile(r"=\s*(0\d+)\s*(?:$|[#,}])")
_BARE_POINT = re.compile(r"=\s*[-+]?(?:(\d+)\.|\.(\d+))\s*(?:$|[#,}])")
_BESIDE = re.compile(r"=\s*([-+]?\d+(?:\.\d+)?)\s+[^\s#,}\d]")
_COLON = re.compile(r"\s*([A-Za-z0-9_-]+)\s*:\s*\S")
_ODD_KEY = re.compile(r"\s*([^=\"'\[\]{}#]*[^\s=\"'\[\]{}#])\s*=")
# A key right after a value, such as: { hours = 3 rate = 70 }.
_FOLLOWS = re.compile(r"\{.*=\s*(?:\"[^\"]*\"|'[^']*'|[-+]?\d[\d._]*)\s+([A-Za-z_][A-Za-z0-9_]*)\s*=")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+(\s*\.\s*[A-Za-z0-9_-]+)*")
_UNQUOTED = re.compile(r"[^\s\"'\[\]{},#=][^,#\]}=]*")
_VALUE = "key = value, with text in quotes"


def guess(lines: Sequence[str], column: int | None, statement: Statement, said: str) -> tuple[str, str]:
    """What is expected in place of an unreadable statement, and what to do: (expected, remedy).

    Parameters
    ----------
    lines : sequence of str
        The statement from the line that is named on.
    column : int or None
        Where reading stopped in the first of them, counted from 0.
    statement : Statement
    said : str
        What the TOML reader said; looked at for a few words, never shown.
    """
    line = lines[0]
    if any(sign in line for sign in "“”„‘’«»"):
        return "straight quotes", 'Replace the curly quotes by "...".'
    if "Illegal character" in said and statement.fault != "quote":
        return "characters that print", "Retype the line: it holds a control character."
    if "digits" in said and "limit" in said:
        return "a number of sensible length", ""
    if statement.header:
        return "a section header such as [plan] or [[factor]]", "Look at its brackets."
    if statement.fault == "quote":
        return "a closing quote", "Close the text with the quote it starts with."
    if "Unescaped" in said or "escape" in said.lower() or "hex" in said:
        return 'no backslash inside "..."', "Put the text in single quotes: '...'."
    return _of_brackets(lines, statement) or _of_key(line) or _of_value(line, column, said)


def _of_brackets(lines: Sequence[str], statement: Statement) -> tuple[str, str] | None:
    """Guesses at brackets that are open, or tables over several lines."""
    whole = "\n".join(lines)
    if "{" in lines[0] and re.search(r"\{[^}]*\n", whole):
        return "a table { ... } on one line", "Join its lines into one: { a = 1, b = 2 }."
    if statement.fault:
        close = "]" if statement.fault == "[" else "}"
        return f"a closing {close}", f"Add the missing {close}."
    if re.search(r",\s*\}", whole):
        return "no comma before }", "Delete the last comma."
    return None


def _of_key(line: str) -> tuple[str, str] | None:
    """Guesses at what stands before the equals sign."""
    colon = _COLON.match(line)
    if colon and "=" not in line.split(":")[0]:
        return "= between key and value", f"Write {colon.group(1)} = ..."
    if "=" not in line:
        return _VALUE, "A remark starts with #." if re.match(r"\s*[A-Za-z]", line) else ""
    odd = _ODD_KEY.match(line)
    if odd and not _BARE_KEY.fullmatch(odd.group(1)):
        return (
            "a key without blanks or special letters, or in quotes",
            f'Write "{quoted(odd.group(1))[1:-1]}" = ...',
        )
    return None


def _of_value(line: str, column: int | None, said: str) -> tuple[str, str]:
    """Guesses at what stands after an equals sign."""
    follows = _FOLLOWS.search(line)
    if follows:
        return "a comma between the items", f"Put a comma before {follows.group(1)}."
    comma = _COMMA.search(line)
    if comma:
        return "a number with a point", f"Use a point: {comma.group(1)}.{comma.group(2)}."
    noughts = _NOUGHTS.search(line)
    if noughts:
        return (
            "a number without leading noughts",
            f'Write {int(noughts.group(1))}, or "{noughts.group(1)}" if it is a name.',
        )
    point = _BARE_POINT.search(line)
    if point:
        return "a digit on both sides of the point", f"Write {point.group(1) or '0'}.{point.group(2) or '0'}."
    if re.search(r"=\s*(#.*)?$", line):
        return "a value after =", "Give one, or delete the line if the key is not needed."
    beside = _BESIDE.search(line)
    if beside:
        return "a number alone", (
            f"Write {beside.group(1)} without what follows it (the name or the key says what it is "
            f"measured in), or put text in quotes."
        )
    if re.search(r"=\s*(\"[^\"]*\"|'[^']*')\s*[^\s#,}\]]", line):
        return "nothing after the closing quote but a comma or a remark", (
            "A text that holds quotes goes in the other kind: '...'."
        )
    stopped = _UNQUOTED.match(line, column) if column is not None and "Invalid value" in said else None
    value = stopped or _UNQUOTED.match(line, re.search(r"=\s*", line).end())  # type: ignore[union-attr]
    if value and not re.fullmatch(r"[-+0-9.eE_]+", value.group().strip()):
        return "text in quotes", f'Write "{quoted(value.group().strip())[1:-1]}".'
    if "Unclosed" in said:
        # A table that begins the line and is not missed inside it: the comma is missed after the item before it.
        before = line.startswith((" ", "\t", "{")) and line.strip().startswith("{") and column is not None
        ahead = before and not line[:column].strip()
        return "a comma between the items", "Put one at the end of the line before." if ahead else ""
    return _VALUE, ""
