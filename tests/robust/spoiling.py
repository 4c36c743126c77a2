"""Ways to spoil a file as the world does: bytes in, bytes out, every choice drawn from a seed."""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Callable

Way = Callable[[random.Random, bytes], bytes]
LONG = 10_000_000

_ODD_TEXT = (
    "nan", "-inf", "1e400", "1e-400", "9" * 5000, "0x1F", "1_000", "1 000", "1.000,5", "1,000.5", "12,5", "−1.5",
    "１２", "١٢", "1.2.3", "+-1", "1e", "'=1+1", "=1+1", "@x", "true", "None", "NULL", "#DIV/0!", "lost", "<0.5", "<",
    ">9", "3.0 %", "3 µm", "3 μm", "2026-03-02", "02.03.26", "\u202eabc", "\u200b", "\xa0", "é", "e\u0301", "𝟏", "''",
    '"', '""', "\\", "%s", "{0}", "${x}", "../x", "\ufeff", "\ufffd", " ", "P01\t", "O0 ", "o0", "Ｏ0", "[", "]", "{",
    "}", "#", "=",
)  # fmt: skip
_PNG = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"
_MARKS = (b'"', b"'", b",", b";", b"\t", b"|", b"#", b"[", b"]", b"{", b"}", b"=", b"\\", b"\n", b"\r", b" ")


def text_of(content: bytes) -> str:
    """The text of a clean file."""
    return content.decode("utf-8")


def cut(draw: random.Random, content: bytes) -> bytes:
    """The file ends somewhere."""
    return content[: draw.randrange(len(content))]


def flip(draw: random.Random, content: bytes) -> bytes:
    """A few bytes are other ones."""
    made = bytearray(content)
    for _ in range(draw.choice((1, 1, 1, 2, 5, 20))):
        made[draw.randrange(len(made))] ^= draw.randrange(1, 256)
    return bytes(made)


def put_in(draw: random.Random, content: bytes, what: bytes) -> bytes:
    """Something stands in between."""
    at = draw.randrange(len(content) + 1)
    return content[:at] + what + content[at:]


def mark(draw: random.Random, content: bytes) -> bytes:
    """A quote, comma or bracket too many."""
    return put_in(draw, content, draw.choice(_MARKS) * draw.choice((1, 1, 2, 3)))


def gone(draw: random.Random, content: bytes) -> bytes:
    """A piece is missing."""
    first = draw.randrange(len(content))
    return content[:first] + content[first + draw.choice((1, 2, 10, 100)) :]


def twice(draw: random.Random, content: bytes) -> bytes:
    """A piece stands twice."""
    first = draw.randrange(len(content))
    last = first + draw.choice((1, 5, 50, 500))
    return content[:last] + content[first:]


def garbage(draw: random.Random, content: bytes) -> bytes:
    """Random bytes in place of a piece."""
    at = draw.randrange(len(content))
    return content[:at] + draw.randbytes(draw.choice((1, 4, 64))) + content[at + 8 :]


def nul(draw: random.Random, content: bytes) -> bytes:
    """NUL bytes, as a file system leaves them after a crash."""
    at = draw.randrange(len(content))
    size = draw.choice((1, 16, 512))
    return content[:at] + b"\x00" * size + content[at + size :]


def encoded(draw: random.Random, content: bytes) -> bytes:
    """Another encoding."""
    text = text_of(content)
    if draw.random() < 0.4:
        return text.encode(draw.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-32")))
    at = draw.randrange(len(text))
    odd = text[:at] + draw.choice(("ß", "µ", "°", "é")) + text[at:]
    return odd.encode(draw.choice(("latin-1", "cp437", "cp1252", "mac_roman")), errors="replace")


def binary(draw: random.Random, content: bytes) -> bytes:
    """Something else altogether under this name."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("a", content)
    whole = draw.choice((_PNG, buffer.getvalue(), b"%PDF-1.7\n", b"\xd0\xcf\x11\xe0", b"\x1f\x8b\x08", b"", b"\x7fELF"))
    return whole + draw.randbytes(draw.choice((0, 3, 2000)))


def empty(draw: random.Random, content: bytes) -> bytes:
    """Nothing, or nothing to be seen."""
    return draw.choice((b"", b"\n", b" \r\n\t\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\n\n", b"\x00"))


def long_line(draw: random.Random, content: bytes) -> bytes:
    """A line of 10 MB, or very many lines."""
    lines = content.split(b"\n")
    long = draw.choice((b"x", b",", b'"', b"a,", b"[", b"\n", b"1", b"x = 1\n")) * LONG
    lines.insert(draw.randrange(len(lines)), long)
    return b"\n".join(lines)[: LONG + len(content)]


def odd_word(draw: random.Random, content: bytes) -> bytes:
    """A word is another one: a number as people type it, a name that looks alike."""
    text = text_of(content)
    words = list(re.finditer(r"[^\s,;\"'=\[\]{}]+", text))
    if not words:
        return content
    word = draw.choice(words)
    return (text[: word.start()] + draw.choice(_ODD_TEXT) + text[word.end() :]).encode()


def comma(draw: random.Random, content: bytes) -> bytes:
    """Decimal commas, in one number or in all of them."""
    text = text_of(content)
    numbers = list(re.finditer(r"\d\.\d", text))
    if not numbers:
        return odd_word(draw, content)
    if draw.random() < 0.3:
        return re.sub(r"(\d)\.(\d)", draw.choice((r"\1,\2", r'"\1,\2"')), text).encode()
    at = draw.choice(numbers).start() + 1
    return (text[:at] + "," + text[at + 1 :]).encode()


def lines_mixed(draw: random.Random, content: bytes) -> bytes:
    """Lines in another order, twice, or missing."""
    lines = content.split(b"\n")
    one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    way = draw.randrange(4)
    if way == 0:
        lines[one], lines[other] = lines[other], lines[one]
    elif way == 1:
        lines.insert(other, lines[one])
    elif way == 2:
        del lines[one]
    else:
        lines[one] += lines[other]
    return b"\n".join(lines)


def header(draw: random.Random, content: bytes) -> bytes:
    """The first line is missing, stands twice, or one of its names does or is another one."""
    first, _, rest = content.partition(b"\n")
    names = first.split(b",")
    one = draw.randrange(len(names))
    way = draw.randrange(6)
    if way == 0:
        return rest
    if way == 1:
        return first + b"\n" + content
    if way == 2:
        names[one] = names[draw.randrange(len(names))]
    elif way == 3:
        names[one] = names[one].upper() + draw.choice((b"", b" ", b"\xc2\xa0", b"_"))
    elif way == 4:
        del names[one]
    else:
        names[one] = draw.choice((b"", b" ", b'""', b"=x", b"run_id"))
    return b",".join(names) + b"\n" + rest


# What changes nothing that is told: the result must be that of the clean file.
def bom(draw: random.Random, content: bytes) -> bytes:
    """A byte order mark."""
    return b"\xef\xbb\xbf" + content


def line_ends(draw: random.Random, content: bytes) -> bytes:
    """Line ends of other systems, all or mixed."""
    if draw.random() < 0.5:
        return content.replace(b"\n", b"\r\n")
    return re.sub(rb"\n", lambda _: draw.choice((b"\n", b"\r\n")), content)


def blank_lines(draw: random.Random, content: bytes) -> bytes:
    """Blank lines at the end, or no line end there."""
    return draw.choice((content.rstrip(b"\n"), content + b"\n\n", content + b"\r\n", content + b"  \n"))


HARMLESS: dict[str, Way] = {"byte order mark": bom, "line ends": line_ends, "blank lines": blank_lines}
BYTES: dict[str, Way] = {
    "cut": cut, "flip": flip, "gone": gone, "twice": twice, "garbage": garbage, "nul": nul, "binary": binary,
    "empty": empty,
}  # fmt: skip
TEXT: dict[str, Way] = {
    **BYTES, "mark": mark, "encoded": encoded, "long line": long_line, "odd word": odd_word, "comma": comma,
    "lines": lines_mixed, **HARMLESS,
}  # fmt: skip
TABLE: dict[str, Way] = {**TEXT, "header": header}


def drawn(ways: dict[str, Way], number: int, seed: int, name: str) -> tuple[str, random.Random]:
    """The way of the input of that number, each in its turn, and what it draws from."""
    return list(ways)[number % len(ways)], random.Random(f"{seed} {name} {number}")
