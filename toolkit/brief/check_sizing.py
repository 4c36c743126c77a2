"""Checks of what the size of a campaign is chosen for (rank 2)."""

from __future__ import annotations

from toolkit.brief.found import Found, number, within, word
from toolkit.brief.model import Brief
from toolkit.brief.sizing_aim import AIMS


def sizing(brief: Brief) -> list[Found]:
    """What is wrong with [sizing]."""
    asked = brief.sizing
    if asked is None:
        return []
    made = word(("sizing", "aim"), asked.aim, AIMS)
    made += within(("sizing", "half_width_pct"), asked.half_width_pct, lambda v: 0 < v < 1000, "per cent, above 0")
    made += within(("sizing", "half_width"), asked.half_width, lambda v: v > 0, "a number above 0")
    if made or asked.aim is None:
        return made
    given = {key: getattr(asked, key) for key in ("half_width_pct", "half_width")}
    if asked.aim == "shown":
        return [
            Found(("sizing", key), f"{number(value)} with aim = 'shown'", "it with aim = 'half-width'", "Delete it.")
            for key, value in given.items()
            if value is not None
        ]
    primary = [(at, item) for at, item in enumerate(brief.responses) if item is not None and item.role == "primary"]
    for at, response in primary[:1]:
        key = {"log": "half_width_pct", "linear": "half_width"}.get(response.scale or "")
        if key is not None and given[key] is None:
            told = "per cent" if key == "half_width_pct" else f"in {response.measured_in or 'its own unit'}"
            made.append(
                Found(
                    ("sizing", key),
                    "no half-width to aim at",
                    f"{key}, {told}, as the primary response is on the {response.scale} scale",
                    "Say how far the interval may reach to either side.",
                    rests_on=(("response",), ("response", at, "scale")),
                )
            )
    return made
