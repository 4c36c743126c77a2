"""What an error is about, so that its last line can point to where that is explained (rank 3)."""

from __future__ import annotations

import re

from toolkit.brief.found import NAMED
from toolkit.errors import WearbookError
from toolkit.explain import sections
from toolkit.explain.files import FILES
from toolkit.explain.keys import MEANT

_SECTION = re.compile(r"\[+([a-z_]+)\]+(?:,? ([a-z_.]+))?")
_NAMED = re.compile(rf"\b({'|'.join(NAMED)}) (?:'[^']*'|\d+)(?:, ([a-z_.]+))?")
_FILE = re.compile(rf"\b({'|'.join(re.escape(name) for name in FILES if name.endswith('.csv'))})|raw/(dyno|traces)\b")
# A word was mistyped, a cell of a notebook is named, the disk or another command is in the way: that is all to say.
_SAID = (2, 3, 4)
_CHANGED = 5


def more(problem: WearbookError, verb: str = "") -> str:
    """The last line of an error: ``More: wearbook explain SUBJECT; the guide: ...``; empty where there is no more.

    Parameters
    ----------
    problem : WearbookError
        What it is about is told by the place of its first fault, else by its words, else by the verb, else by its
        class. Where the guide does not treat that, the section for errors of the class is named.
    verb : str
        The verb that was refused; empty in a notebook.

    Examples
    --------
    >>> more(WearbookError("[plan] builds = 0: the size of the main phase is not chosen yet."), "plan")
    'More: wearbook explain plan.builds; the guide: 05-questions-before-the-runs, section "How many replicates do I \
need?"'
    """
    if problem.exit_code in _SAID:
        return ""
    if problem.exit_code == _CHANGED:
        return _line("seal", "seal", type(problem).__name__)
    first = problem.faults[0] if problem.faults else None
    texts = [first.where, first.found, _meant(first.remedy)] if first else [str(problem)]
    kind = type(problem).__name__
    named = next(filter(None, map(_of, texts)), (f"wearbook {verb}", verb) if verb else (kind, kind))
    # The base class is no entry of its own.
    return "" if named[1] == WearbookError.__name__ else _line(*named, kind)


def _line(subject: str, word: str, kind: str) -> str:
    """The line for one subject, and what to type for it; ``kind`` is the class of the error."""
    guide = sections.told(subject) or sections.told(kind)
    return f"More: wearbook explain {word}" + (f"; the guide: {guide}" if guide else "")


def _of(text: str) -> tuple[str, str] | None:
    """The subject that a text is about and what to type for it; None where it names none."""
    for pattern in (_SECTION, _NAMED):
        for found in pattern.finditer(text):
            name = _key(found[1], found[2] or "")
            if name:
                section, _, rest = name.partition(".")
                head = f"[[{section}]]" if section in NAMED else f"[{section}]"
                return f"{head} {rest}".rstrip(), name
    found = _FILE.search(text)
    if found:
        name = found[1] or f"raw/{found[2]}"
        return name, name
    return None


def _meant(remedy: str) -> str:
    """The section that was probably meant by a word that is none."""
    found = re.match(r"Did you mean '(\w+)'\?", remedy)
    return f"[{found[1]}]" if found else ""


def _key(section: str, rest: str) -> str:
    """The name of the longest key that these words name; empty where there is no such section."""
    parts = [section, *filter(None, rest.split("."))]
    while parts and ".".join(parts) not in MEANT:
        parts.pop()
    return ".".join(parts)
