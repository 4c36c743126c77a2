"""The form of a brief key by key, for whoever explains it (rank 2)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from types import NoneType
from typing import Any, get_args, get_origin

from pydantic import BaseModel

from toolkit.brief.found import NAMED
from toolkit.brief.schema import FORM

# A level is written in two ways; its parts by themselves would say nothing.
_WHOLE = (("factor", "levels"),)


@dataclass(frozen=True)
class FormKey:
    """One key of the form.

    Attributes
    ----------
    loc : tuple of str
        Its place; NAME stands for a name of the person's own.
    form : str
        What may be written there, in words.
    annotation : object
        The type a value is checked by.
    required : bool
    default : object
        What counts when it is left out; None for what is needed.
    section : bool
        True for a table with keys of its own.
    """

    loc: tuple[str, ...]
    form: str
    annotation: Any
    required: bool
    default: Any
    section: bool

    @property
    def name(self) -> str:
        """The place in one word, parts with points between."""
        return ".".join(self.loc)

    @property
    def written(self) -> str:
        """As it stands in the file: ``[plan] builds``, ``[[factor]] undo``."""
        head = f"[[{self.loc[0]}]]" if self.loc[0] in NAMED else f"[{self.loc[0]}]"
        return " ".join([head, ".".join(self.loc[1:])]).rstrip()


def form_keys() -> tuple[FormKey, ...]:
    """Every section and key that a brief may have, in the order of the form."""
    return tuple(_below(FORM, ()))


def _below(table: type[BaseModel], loc: tuple[str, ...]) -> Iterator[FormKey]:
    """The keys below a table, each followed by its own."""
    for name, field in table.model_fields.items():
        here = (*loc, name)
        bare = _bare(field.annotation)
        own = None if here in _WHOLE else _table(bare)
        yield FormKey(
            here,
            field.description or getattr(own, "shape", ""),
            field.annotation,
            field.is_required(),
            None if field.is_required() else field.get_default(call_default_factory=True),
            own is not None,
        )
        if own is not None:
            yield from _below(own, (*here, "NAME") if get_origin(bare) is dict else here)


def _bare(annotation: Any) -> Any:
    """An annotation without its 'or None'."""
    parts = [item for item in get_args(annotation) if item is not NoneType]
    return parts[0] if NoneType in get_args(annotation) else annotation


def _table(annotation: Any) -> type[BaseModel] | None:
    """The table that an annotation is, or holds many of."""
    while get_args(annotation):
        annotation = get_args(annotation)[-1]
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None
