"""Which columns each raw table has, told by the brief (rank 6)."""

from __future__ import annotations

import re

from toolkit.brief.covariate import RUN_ORDER
from toolkit.brief.model import Brief, Held, Response
from toolkit.brief.oil import SUMP_VISCOSITY
from toolkit.brief.positions import column
from toolkit.brief.record_columns import FERROUS as FERROUS
from toolkit.brief.record_columns import FITTED
from toolkit.brief.record_columns import OIL_ACCOUNT as OIL_ACCOUNT
from toolkit.brief.record_columns import OIL_LAB as OIL_LAB
from toolkit.design import units

VERDICTS = ("valid", "invalid", "not interpretable", "pending")
VOID = ("invalid", "not interpretable")
BELOW = "_below_limit"
AT_LEAST = "_at_least"

RUN_KEYS = ("run_id", "phase", "build_id", "planned_order", "actual_order")
JUDGED = ("verdict", "reason", "role")
STATION_KEYS = ("run_id", "part_id", "station_id", "reading")
SESSION = "session_id"
OIL_KEYS = ("run_id", "sample_id", "at_h")
HISTORY = ("campaign_id", "response", "scale", "per_run", "stratum", "sd", "df", "rig_state")

# Symbols of the chemical elements (IUPAC), as the names of oil columns begin.
_ELEMENTS = frozenset(
    """
    h he li be b c n o f ne na mg al si p s cl ar k ca sc ti v cr mn fe co ni cu zn ga ge as se br kr rb sr
    y zr nb mo tc ru rh pd ag cd in sn sb te i xe cs ba la ce pr nd pm sm eu gd tb dy ho er tm yb lu hf ta w
    re os ir pt au hg tl pb bi po at rn fr ra ac th pa u np pu am cm bk cf es fm md no lr rf db sg bh hs mt
    ds rg cn nh fl mc lv ts og
    """.split()
)
_PPM = re.compile(rf"([a-z]{{1,2}})_ppm(?:{BELOW})?")


def of_source(brief: Brief, source: str) -> tuple[Response, ...]:
    """The responses read from one raw table: stations, oil or runs; none whose stations are read from traces."""
    traced = {item.response for item in brief.traces}
    return tuple(item for item in brief.responses if item.source == source and item.name not in traced)


def stationed(brief: Brief) -> tuple[Response, ...]:
    """The responses that are measured at stations, by tables or by traces."""
    return tuple(item for item in brief.responses if item.source == "stations")


def by_session(brief: Brief) -> bool:
    """True when stations.csv says in which session each reading was taken: a master stands for some of them."""
    tabled = {item.name for item in of_source(brief, "stations")}
    return any(item.response in tabled for item in brief.masters)


def held(brief: Brief) -> tuple[Held, ...]:
    """The held variables that runs.csv has a column for (not the run's length)."""
    return tuple(item for item in brief.held if item.name != "run_time_h")


def bounded(brief: Brief) -> tuple[str, ...]:
    """Columns that runs.csv may have because the protocol bounds them; no held variables, no responses."""
    taken = {
        "run_time_h",
        *(item.name for item in brief.held),
        *(item.name for item in of_source(brief, "runs")),
    }
    return tuple(name for name in brief.protocol.max if name not in taken)


def covariates(brief: Brief) -> tuple[str, ...]:
    """Columns that runs.csv may have only because they are covariates."""
    taken = {RUN_ORDER, "run_time_h", *(item.name for item in brief.held), *bounded(brief), *worked_out(brief)}
    return tuple(item.name for item in brief.covariates if item.name not in taken)


def worked_out(brief: Brief) -> tuple[str, ...]:
    """Covariates that no table holds: they are worked out from others."""
    return (SUMP_VISCOSITY,) if brief.oil is not None and brief.oil.viscosity_at else ()


def optional(brief: Brief) -> tuple[str, ...]:
    """Columns that runs.csv may have: what the protocol bounds, then covariates."""
    return (*bounded(brief), *covariates(brief))


def kept(brief: Brief) -> tuple[str, ...]:
    """Columns that say which part or fill a run belongs to, where these are kept over several runs."""
    return units.id_columns(brief)[1:]


def fitted(brief: Brief) -> tuple[str, ...]:
    """What was fitted and when: on the run sheet, not in runs.csv; with a part for each position where these hold
    parts of their own."""
    names = brief.positions.names if brief.positions is not None else ()
    return (*FITTED, *(column(FITTED[0], name) for name in names))


def of_runs(brief: Brief) -> tuple[str, ...]:
    """The columns that runs.csv must have, in order."""
    return (
        *RUN_KEYS,
        *kept(brief),
        *brief.factor_names,
        "run_time_h",
        *(item.name for item in held(brief)),
        *(item.name for item in of_source(brief, "runs")),
        *JUDGED,
    )


def states(brief: Brief) -> tuple[str, ...]:
    """The states in which stations are measured, over all responses; empty where wear is read as such."""
    every = [state for item in of_source(brief, "stations") if item.stations for state in item.stations.states]
    return tuple(dict.fromkeys(every))


def of_stations(brief: Brief) -> tuple[str, ...]:
    """The columns that stations.csv must have, in order."""
    state = ("state",) if states(brief) else ()
    session = (SESSION,) if by_session(brief) else ()
    return (*STATION_KEYS, *session, *state, *(item.name for item in of_source(brief, "stations")))


def of_oil(brief: Brief) -> tuple[str, ...]:
    """The columns that oil.csv must have, in order."""
    return (*OIL_KEYS, *(item.name for item in of_source(brief, "oil")))


def oil_may(brief: Brief) -> tuple[str, ...]:
    """The columns that oil.csv may have beside elements: what an account and the laboratory's precision rest on."""
    return (*OIL_ACCOUNT, *OIL_LAB, FERROUS)


def is_element(name: str) -> bool:
    """True for a column of a chemical element in ppm, or its mark of values below the limit."""
    found = _PPM.fullmatch(name)
    return bool(found) and found[1] in _ELEMENTS
