"""[sizing] and the earlier campaigns in [scatter]: what is taken, and what is refused with the place and the remedy."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from toolkit.brief import model, reading
from toolkit.brief.model import KnownScatter, Sizing
from toolkit.errors import BriefError

EXAMPLE = Path(__file__).with_name("example.toml").read_text(encoding="utf-8")


def read(lines: str, scatter: str = ""):
    text = re.sub(r"(?m)^\[scatter\].*\n", lambda found: found.group(0) + scatter, EXAMPLE)
    assert scatter in text
    return reading.parse(f"{text}\n{lines}")


def refused(lines: str, scatter: str = "") -> list[str]:
    with pytest.raises(BriefError) as told:
        read(lines, scatter)
    return [re.sub(r"^.*? line \d+: ", "", line) for line in str(told.value).splitlines()[1:]]


def test_a_half_width_is_taken_to_the_analysis_scale():
    brief = read('[sizing]\naim = "half-width"\nhalf_width_pct = 15\n')
    assert brief.sizing == Sizing("half-width", 15.0)
    log = next(item for item in brief.responses if item.scale == "log")
    assert model.aimed_half_width(brief, log) == pytest.approx(math.log(1.15))
    assert read("").sizing is None
    assert model.aimed_half_width(read(""), log) is None
    assert model.aimed_half_width(read('[sizing]\naim = "shown"\n'), log) is None


def test_a_half_width_without_a_figure_or_without_the_aim():
    assert refused('[sizing]\naim = "half-width"\n') == [
        "[sizing] half_width_pct: no half-width to aim at; expected half_width_pct, per cent, as the primary response "
        "is on the log scale. Say how far the interval may reach to either side."
    ]
    assert refused("[sizing]\nhalf_width_pct = 15\n") == [
        "[sizing] half_width_pct: 15 with aim = 'shown'; expected it with aim = 'half-width'. Delete it."
    ]
    assert refused('[sizing]\naim = "width"\nhalf_width = -1\n') == [
        "[sizing] aim: 'width'; expected 'shown' or 'half-width'. Did you mean 'half-width'?",
        "[sizing] half_width: -1; expected a number above 0.",
    ]


def test_folders_of_earlier_campaigns():
    scatter = 'campaigns = ["../one", "old/two"]\nrig = "stand 3, 2026"\n'
    found = read("", scatter).scatter
    assert (found.campaigns, found.rig) == (("../one", "old/two"), "stand 3, 2026")
    assert KnownScatter().campaigns == ()
    twice, *outside = refused("", 'campaigns = ["/etc", "..", "../one", "../one/"]\n')
    assert twice == (
        "[scatter] campaigns no. 4: campaign '../one' stands twice; expected each campaign once. Rename or delete one "
        "of them."
    )
    assert outside == [
        f"[scatter] campaigns no. {at}: '{path}' is not the plain path of a folder; expected letters, digits, _ - . "
        'and blanks, with / between folders and .. for the one above. Write "../chain-2025" for a campaign that lies '
        "beside this one."
        for at, path in ((1, "/etc"), (2, ".."))
    ]
