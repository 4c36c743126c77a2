"""The lines of campaign.toml that choose an extension, to be pasted by the person who owns the file (rank 2)."""

from __future__ import annotations

import json
from collections.abc import Mapping

from toolkit.brief.model import Extension


def toml(given: Extension) -> str:
    """The lines of campaign.toml that choose an extension.

    Parameters
    ----------
    given : Extension

    Returns
    -------
    str
        A section [extension] with the keys that are not left out.

    Notes
    -----
    Checked against: reading them back, tests/unit/brief/test_extended.py.
    """
    usual = Extension()
    told = []
    for key, value in vars(given).items():
        if value == getattr(usual, key):
            continue
        if key == "combinations":
            each = ", ".join(f"{{ {_table(one)} }}" for one in value)
            told.append(f"{key} = [ {each} ]")
        elif isinstance(value, Mapping):
            told.append(f"{key} = {{ {_table(value)} }}")
        else:
            # JSON writes text, numbers and lists of them as TOML does.
            told.append(f"{key} = {json.dumps(value, ensure_ascii=False)}")
    order = sorted(told, key=lambda line: not line.startswith("design"))
    return "\n".join(["[extension]", *order])


def _table(held: Mapping[str, str]) -> str:
    """A table of factor = level as TOML writes it."""
    return ", ".join(f"{name} = {json.dumps(level, ensure_ascii=False)}" for name, level in held.items())
