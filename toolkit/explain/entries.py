"""One entry for everything that can be explained, and the way from a word to it (rank 3)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from difflib import get_close_matches
from functools import cache
from typing import Any

from toolkit import errors, measured_in
from toolkit.explain import sections
from toolkit.explain.files import FILES
from toolkit.explain.keys import Key, keys
from toolkit.explain.other_words import OTHER_WORDS
from toolkit.explain.words import WORDS

KINDS = ("verb", "section", "key", "word", "file", "picture", "error")


@dataclass(frozen=True)
class Entry:
    """What is said of one subject.

    Attributes
    ----------
    name : str
        As a person writes it: ``[plan] builds``, ``wearbook plan``, ``stratum``.
    kind : str
        One of ``KINDS``.
    text : str
        What it means, in one or two sentences.
    calls : tuple of str
        The words that find it, besides its name.
    form, unit, default, example : str
        Of a key: what may be written, what a number is measured in, what counts when it is left out, a line of the
        file. Of a verb: an example.
    parts : tuple of str
        Of a section: its keys.
    standard : str
        The open standard whose term it is.
    """

    name: str
    kind: str
    text: str
    calls: tuple[str, ...] = ()
    form: str = ""
    unit: str = ""
    default: str = ""
    example: str = ""
    parts: tuple[str, ...] = ()
    standard: str = ""

    @property
    def guide(self) -> str:
        """Where the guide treats it; empty where it does not. It shows every picture."""
        return sections.told(self.name) or (sections.in_words(sections.PICTURES) if self.kind == "picture" else "")

    def to_json(self) -> dict[str, Any]:
        """The entry as plain values."""
        plain = {name: value for name, value in asdict(self).items() if name not in ("calls", "parts")}
        return {**plain, "parts": list(self.parts), "guide": self.guide}

    def __repr__(self) -> str:
        """Its name and what it means."""
        return f"{self.name}: {self.text}"


def entries() -> tuple[Entry, ...]:
    """Every section, key, word, file and error; verbs and pictures are known further up."""
    return (*_keys(keys()), *_words(), *_files(), *_errors())


def find(word: str, known: Sequence[Entry]) -> tuple[Entry, ...]:
    """The entries that a word names, by their whole name before by a part of it, and by words that others use for it.

    Parameters
    ----------
    word : str
        ``plan.builds``, ``[plan] builds``, ``builds``, ``stratum``, ``ANOVA`` ...; large and small letters are alike,
        and so are one and several, British and American spelling.
    known : sequence of Entry

    Raises
    ------
    UseError
        When nothing is called so; at most three names that are near are told, else where the word stands.

    Examples
    --------
    >>> [item.name for item in find("plan.builds", entries())]
    ['[plan] builds']
    >>> [item.name for item in find("ANOVA", entries())]
    ['analysis of variance']
    >>> find("replicaet", entries())
    Traceback (most recent call last):
    ...
    toolkit.errors.UseError: 'replicaet': nothing is explained by that name. Did you mean 'replicate' or \
'replicates'? `wearbook explain` lists all names.
    """
    other = {_plain(name): ours for name, ours in OTHER_WORDS.items()}
    for asked in _ways(word):
        for names in (_whole, lambda item: item.calls):
            found = tuple(item for item in known if asked in map(_plain, names(item)))
            if found:
                return found
        if asked in other:
            return tuple(item for item in known if other[asked] == item.name)
    raise errors.UseError(
        f"'{word}': nothing is explained by that name.{_hint(word, known)} `wearbook explain` lists all names."
    )


def _ways(word: str) -> tuple[str, ...]:
    """A word as it may be meant: as it stands, without its folder, spelt as here, as one or as several of it, and as a
    key whose middle is a name of the person's own."""
    asked = _plain(word)
    bare = re.sub(r"^(raw|plan|derived|report)/", "", asked)
    ours = re.sub(r"(iz|yz)(e|ed|es|ing|ation)\b", _british, bare).replace("center", "centre")
    ways = [asked, bare, ours]
    for made in (asked, ours):
        ways += [made.removesuffix("s"), made.removesuffix("es"), re.sub("ies$", "y", made), f"{made}s"]
    ways += [re.sub("strat(a|ums)$", "stratum", ours)]
    parts = [part for part in re.sub(r"[\[\]]", ".", word).split(".") if part.strip()]
    if len(parts) > 2:
        ways.append(_plain(".".join([parts[0], "NAME", *parts[2:]])))
    return tuple(dict.fromkeys(filter(None, ways)))


def _british(found: re.Match[str]) -> str:
    """The end of a word as it is spelt here."""
    return {"iz": "is", "yz": "ys"}[found[1]] + found[2]


def _hint(word: str, known: Sequence[Entry]) -> str:
    """What may have been meant; where nothing is near, the entries whose text has the word; a name of one's own."""
    asked = _plain(word)
    near = _near(asked, known)
    whole = re.compile(rf"(?<!\\w){re.escape(asked)}(?!\\w)")
    said = [] if near else [item.name for item in known if asked and whole.search(_said(item))][:3]
    hint = f" Did you mean {errors.listing(near)}?" if near else ""
    hint += f" It stands in what is said of {errors.listing(said).replace(' or ', ' and ')}." if said else ""
    if "_" in word and measured_in.suffix_of(word):
        hint += " A name with a unit at its end is one of your own: `wearbook explain response` or `held`."
    return hint


def _said(item: Entry) -> str:
    """What an entry says, as compared."""
    return _plain(f"{item.text} {item.form} {item.example}")


def _whole(item: Entry) -> tuple[str, ...]:
    """The names that mean this entry and no part of it."""
    return (item.name, *item.calls[: item.kind in ("verb", "section", "key")])


def _near(asked: str, known: Iterable[Entry]) -> list[str]:
    """The names nearest to what was asked, as they are typed, at most three."""
    typed: dict[str, str] = {}
    for item in known:
        for name in (*item.calls, item.name.removeprefix("wearbook ")):
            typed.setdefault(_plain(name), name)
    return [typed[name] for name in get_close_matches(asked, list(typed), n=3, cutoff=0.7)]


@cache
def _plain(name: str) -> str:
    """A name as compared: without brackets, points and blanks alike."""
    return re.sub(r"[\s._]+", " ", re.sub(r"[\[\]]", " ", name).replace("-", " ")).strip().casefold()


def _keys(found: Sequence[Key]) -> Iterable[Entry]:
    """The sections and keys of campaign.toml."""
    for key in found:
        own = [item.name.removeprefix(f"{key.name}.") for item in found if item.name.startswith(f"{key.name}.")]
        last = key.name.rpartition(".")[2]
        yield Entry(
            key.written,
            "section" if key.section else "key",
            key.text,
            tuple(dict.fromkeys((key.name, key.name.replace(".NAME", ""), last))),
            key.form,
            key.unit,
            key.default,
            key.example,
            tuple(own) if key.section else (),
        )


def _words() -> Iterable[Entry]:
    """The glossary."""
    for word in WORDS:
        yield Entry(word.name, "word", word.text, (word.seen,) if word.seen else (), standard=word.standard)


def _files() -> Iterable[Entry]:
    """The files of a campaign folder."""
    for name, text in FILES.items():
        yield Entry(name, "file", text, (name.strip("/").rpartition("/")[2],))


def _errors() -> Iterable[Entry]:
    """The error classes, as the code knows them, each with its exit code."""
    for kind in errors.WearbookError.__subclasses__():
        text = " ".join((kind.__doc__ or "").split())
        yield Entry(kind.__name__, "error", f"{text} The command leaves with exit code {kind.exit_code}.")
