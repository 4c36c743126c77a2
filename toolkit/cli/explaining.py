"""The verb explain: what a key, verb, word, file, picture or error means (rank 11)."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from toolkit.cli.arguments import parser
from toolkit.cli.closing import close, out
from toolkit.explain import entries
from toolkit.explain.entries import Entry

_WIDTH = 100
_HEADS = {
    "verb": "verbs, in the order of the job",
    "section": "sections of campaign.toml; each lists its keys",
    "word": "words",
    "file": "files of a campaign",
    "picture": "pictures",
    "error": "errors, as Python raises them",
}


@dataclass(frozen=True)
class Explained:
    """What was asked for."""

    found: tuple[Entry, ...]

    def to_json(self) -> dict[str, Any]:
        """The entries as plain values."""
        return {"entries": [item.to_json() for item in self.found]}


def known() -> tuple[Entry, ...]:
    """Everything that can be explained: verbs from the options of the command, pictures from their gallery."""
    return (*_verbs(), *entries.entries(), *_pictures())


def explain(given: argparse.Namespace) -> None:
    """Explain a word, or list all.

    Raises
    ------
    UseError
        When nothing is called so.
    """
    everything = known()
    asked = " ".join(given.word)
    found = Explained(entries.find(asked, everything) if asked else everything)
    out(given, found, lambda: "\n\n".join(map(_entry, found.found)) if asked else _list(everything))
    close(given, "nothing", "wearbook status CAMPAIGN" if asked else "wearbook explain and one of these names")


def _verbs() -> Iterator[Entry]:
    """The verbs with their examples."""
    for action in parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, verb in action.choices.items():
                example = (verb.epilog or "").partition("\n")[2].strip()
                options = [max(item.option_strings, key=len) for item in verb._actions if item.option_strings]
                yield Entry(
                    f"wearbook {name}", "verb", verb.description or "", (name,), example=example,
                    parts=tuple(item for item in options if item != "--help"),
                )  # fmt: skip


def _pictures() -> Iterator[Entry]:
    """The pictures with how they are misread."""
    from toolkit.plot.gallery import GALLERY

    for item in GALLERY:
        call = f"toolkit.plot.{item.call}"
        yield Entry(item.name, "picture", f"{item.shows} {item.misread}", (item.call.rpartition(".")[2],), example=call)


def _entry(item: Entry) -> str:
    """One entry as text."""
    lines = [item.name, *textwrap.wrap(item.text, _WIDTH - 2, initial_indent="  ", subsequent_indent="  ")]
    parts = {"section": "keys", "verb": "options"}.get(item.kind, "")
    for name, value in (
        ("write", item.form),
        ("unit", item.unit),
        ("left out", "" if item.kind == "section" or item.default == "must be given" else item.default),
        ("needed", "must be given" if item.default == "must be given" else ""),
        ("drawn by" if item.kind == "picture" else "example", item.example),
        (parts, ", ".join(item.parts)),
        ("term of", item.standard),
        ("guide", item.guide),
    ):
        if value:
            indent = " " * 12
            first = f"  {name + ':':<10}"
            lines += textwrap.wrap(value, _WIDTH, initial_indent=first, subsequent_indent=indent)
    return "\n".join(lines)


def _list(everything: Sequence[Entry]) -> str:
    """All names by kind; keys stand with their sections."""
    made = []
    for kind, head in _HEADS.items():
        names = [item.name.removeprefix("wearbook ") for item in everything if item.kind == kind]
        made.append(f"{head}:")
        made += textwrap.wrap(
            ", ".join(names), _WIDTH, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
        )
    return "\n".join(made)
