"""Every key of campaign.toml with its form, unit, default and an example, from the form that reads it (rank 3)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from toolkit import measured_in
from toolkit.brief.schema_keys import FormKey, form_keys
from toolkit.explain.keys_asked import ASKED
from toolkit.explain.keys_measured import MEASURED
from toolkit.explain.keys_planned import PLANNED
from toolkit.explain.meant import Meant

MEANT: dict[str, Meant] = {**ASKED, **PLANNED, **MEASURED}


@dataclass(frozen=True)
class Key:
    """One key or section of campaign.toml.

    Attributes
    ----------
    name : str
        Its place, parts with points between; NAME stands for a name of yours.
    written : str
        As it stands in the file: ``[plan] builds``, ``[[factor]] undo``.
    text : str
        What it says.
    form : str
        What may be written there.
    unit : str
        What a number is measured in; empty: no number, or a plain one.
    default : str
        What counts when it is left out; 'must be given' where it may not be.
    example : str
        A line of the file; empty for a section.
    section : bool
        True for a section or table, which has keys of its own.
    """

    name: str
    written: str
    text: str
    form: str
    unit: str
    default: str
    example: str
    section: bool


def keys() -> tuple[Key, ...]:
    """Every section and key of campaign.toml, in the order of the form that reads it.

    Examples
    --------
    >>> found = {key.name: key for key in keys()}
    >>> found["plan.builds"].written, found["plan.builds"].default
    ('[plan] builds', '0')
    >>> found["response.worthwhile_change_pct"].unit
    '%'
    """
    return tuple(map(_key, form_keys()))


def _key(item: FormKey) -> Key:
    """The entry of one key of the form."""
    # The tests ask for a sentence of every key; without one its form still says what may be written.
    meant = MEANT.get(item.name, Meant(f"{item.form[:1].upper()}{item.form[1:]}."))
    return Key(
        name=item.name,
        written=item.written,
        text=meant.text,
        form=item.form,
        unit="" if item.section else meant.unit or measured_in.shown(item.loc[-1]),
        default=meant.default or _default(item),
        example=f"{item.loc[-1]} = {meant.example}" if meant.example else "",
        section=item.section,
    )


def _default(item: FormKey) -> str:
    """What counts when a key is left out."""
    if item.required:
        return "must be given"
    return "may be left out" if item.section else _written(item.default)


def _written(value: Any) -> str:
    """A default as it would be written in the file; 'none' where it is nothing."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return f"{value:g}"
    if isinstance(value, str) and value:
        return f'"{value}"'
    if isinstance(value, list) and value:
        return str(value).replace("'", '"')
    return "none"
