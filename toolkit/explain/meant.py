"""The shape in which one key of a brief is explained (rank 3)."""

from __future__ import annotations

from dataclasses import dataclass

OWN_UNIT = "the response's own unit"
NAMED_UNIT = "the unit at the end of its name"


@dataclass(frozen=True)
class Meant:
    """What a key or section says, and what its form does not tell.

    Attributes
    ----------
    text : str
        One or two plain sentences.
    example : str
        A value as it is written in campaign.toml; empty for a section.
    unit : str
        Where the end of the key does not tell it.
    default : str
        Where what counts when the key is left out is not one fixed value.
    """

    text: str
    example: str = ""
    unit: str = ""
    default: str = ""
