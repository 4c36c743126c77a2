"""Checks of the groups of stations (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief import check_names
from toolkit.brief.found import Found, Loc, quoted, text
from toolkit.brief.model import Stations


def groups(stations: Stations, loc: Loc) -> list[Found]:
    """What is wrong with the groups of the stations at a place."""
    made: list[Found] = []
    home: dict[str, str] = {}
    for name, ids in (stations.groups or {}).items():
        place = (*loc, "groups", name)
        made += text(place, name, check_names.LONGEST["level"])
        if ids is None:
            continue
        if not ids:
            made.append(Found(place, "a group without stations", "the ids of its stations"))
        for at, station in enumerate(ids):
            if station is None:
                continue
            made += text((*place, at), station, check_names.LONGEST["column"])
            if station in home:
                where = "twice in this group" if home[station] == name else f"in group {quoted(home[station])} too"
                made.append(Found((*place, at), f"{quoted(station)} is {where}", "each station once"))
            home[station] = name
    if stations.count is not None and len(home) > stations.count:
        made.append(
            Found((*loc, "groups"), f"{len(home)} stations in groups", f"{stations.count} at most, as count says")
        )
    return made
