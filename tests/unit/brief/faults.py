"""The faults of a brief, for tests of its sections."""

from __future__ import annotations

import pytest

from toolkit.brief import reading
from toolkit.errors import BriefError


def faults(text: str) -> list[str]:
    """The faults of a brief, without the name of the file and the numbers of the lines."""
    with pytest.raises(BriefError) as told:
        reading.parse(text)
    return [line.split(": ", 1)[1] for line in str(told.value).split("\n")[1:]]
