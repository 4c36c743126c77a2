"""The form of a brief: which keys there are, which are needed, and of what kind their values are (rank 2).

pydantic looks at the plain tables; its findings are put into the words of the file here. What the values mean
is judged in ``checks``.
"""

from __future__ import annotations

import re
from types import NoneType
from typing import Any, ClassVar, get_args, get_origin

from pydantic import BaseModel, Field, ValidationError

from toolkit.brief.found import NAMED, Found, Loc, near, shown
from toolkit.brief.money import PER
from toolkit.brief.plain import LEVELS
from toolkit.brief.schema_booking import Booking
from toolkit.brief.schema_dyno import DynoLog
from toolkit.brief.schema_extension import Extension
from toolkit.brief.schema_metrology import Master, Reference, Traces
from toolkit.brief.schema_oil import Oil, OilCard
from toolkit.brief.schema_plan import Plan
from toolkit.brief.schema_positions import Positions
from toolkit.brief.schema_table import Table as _Table
from toolkit.errors import listing

_WORDS = {str: "text in quotes", float: "a number", int: "a whole number"}
_LEVEL = "a level name in quotes"
_THOUSANDS = re.compile(r"\d{1,3}([.,]\d{3})+")


class _Campaign(_Table):
    shape: ClassVar[str] = "a section [campaign] with id, question and seed"
    id: str = Field(description='a short name such as "chain-soot"')
    question: str = Field(description="the question in a sentence, in quotes")
    seed: int = Field(description="a whole number from 0 up, any you like")
    alpha: float = Field(0.05, description="a number between 0 and 0.5")
    power: float = Field(0.80, description="a number between alpha and 1")
    new_each_run: list[str] = Field([], description='a list such as ["part", "fill"]')


class _Level(_Table):
    shape: ClassVar[str] = LEVELS
    name: str = Field(description="a short name in quotes")
    label: str = Field("", description="what the level means, in quotes")
    value: float | None = Field(None, description="a finite number")


class _Factor(_Table):
    shape: ClassVar[str] = "[[factor]] with name, undo and levels"
    name: str = Field(description='a plain name such as "pin"')
    undo: str = Field(description="'build', 'part', 'fill', 'setting' or 'position'")
    levels: list[_Level] = Field(description=LEVELS)


class _Blocks(_Table):
    shape: ClassVar[str] = 'a section [blocks] with by = "build"'
    by: str = Field(description='"build"')
    most_runs: int | None = Field(None, description="how many runs a build lasts, a whole number")


class _Stations(_Table):
    shape: ClassVar[str] = '{ kind = "segment", count = 10, readings = 2, states = ["before", "after"] }'
    kind: str = Field(description='what a station is, such as "segment"')
    count: int = Field(description="how many stations a part has, a whole number from 1 up")
    readings: int = Field(1, description="how often each is measured, a whole number from 1 up")
    states: list[str] = Field([], description='["before", "after"], or left out where wear is read as such')
    groups: dict[str, list[str]] = Field({}, description='station ids by group: { inlet = ["L1", "L3"] }')


class _Response(_Table):
    shape: ClassVar[str] = "[[response]] with a name"
    name: str = Field(description='a name that ends in its unit, such as "elongation_pct"')
    role: str = Field("primary", description="'primary' or 'secondary'")
    better: str = Field("smaller", description="'smaller' or 'larger'")
    scale: str = Field("log", description="'log' or 'linear'")
    per_run: str = Field("value", min_length=1, description="how a run value is made, in quotes")
    stations: _Stations | None = None
    worthwhile_change_pct: float | None = Field(None, description="per cent, a number such as 20")
    worthwhile_change: float | None = Field(None, description="a number in the response's own unit")
    gauge_sd: float | None = Field(None, description="a number above 0 in the response's own unit")


class _Comparison(_Table):
    shape: ClassVar[str] = "[[comparison]] with a name, and of and against, or interaction"
    name: str = Field(description='a name such as "new oil"')
    of: dict[str, str] = Field({}, description='levels by factor: { oil = "O1" }')
    against: dict[str, str] = Field({}, description='levels by factor: { oil = "O0" }')
    interaction: list[str] = Field([], description='a list of factors such as ["pin", "oil"]')
    direction: str = Field("either", description="'smaller', 'larger' or 'either'")
    worthwhile_change_pct: float | None = Field(None, description="per cent, a number such as 20")
    worthwhile_change: float | None = Field(None, description="a number in the response's own unit")
    assumed_change_pct: float | None = Field(None, description="per cent, a number such as 26")
    assumed_change: float | None = Field(None, description="a number in the response's own unit")
    family: str | None = Field(None, description="the name of a family, in quotes")


class _BestOf(_Table):
    shape: ClassVar[str] = '[[best_of]] with factor = "coating"'
    factor: str = Field(description="the name of a factor, in quotes")
    gap_pct: float | None = Field(None, description="per cent, a number such as 20")
    gap: float | None = Field(None, description="a number in the response's own unit")


class _Family(_Table):
    shape: ClassVar[str] = '{ promise = "each", adjust = "none" }'
    promise: str = Field("each", description="'any', 'each' or 'all'")
    adjust: str = Field("none", description="'none', 'multivariate_t' or 'holm'")


class _Pilot(_Table):
    shape: ClassVar[str] = "a section [pilot] with combinations"
    combinations: list[dict[str, str]] = Field(description='a list such as [ { pin = "P0", oil = "O0" } ]')
    replicates: int = Field(2, description="a whole number from 1 up")
    builds: int = Field(1, description="a whole number from 1 up")
    use: str = Field("scatter", description="'scatter' or 'block'")


class _Held(_Table):
    shape: ClassVar[str] = "{ target = 100, window = [99, 101] }"
    target: float = Field(description="a number")
    window: list[float] = Field(min_length=2, max_length=2, description="two numbers: [lowest, highest]")
    limits: list[float] | None = Field(None, min_length=2, max_length=2, description="two numbers: [lowest, highest]")


class _Protocol(_Table):
    shape: ClassVar[str] = "a section [protocol] with run_time_h and max"
    run_time_h: _Held | None = None
    max: dict[str, float] = Field({}, description="upper bounds: { downtime_h = 24 }")
    not_interpretable: list[str] = Field([], description='a list of bounds such as ["si_ppm"]')
    judged_by: str = Field("", description="the role that gives verdicts, in quotes")


class _Item(_Table):
    shape: ClassVar[str] = '{ per = "run", what = "test cell", hours = 110, rate = 110 }'
    per: str = Field(description=f"{listing(PER)}")
    what: str = Field(description="what is paid for, in quotes")
    hours: float = Field(0.0, description="a number")
    rate: float = Field(0.0, description="money per hour, a number")
    amount: float = Field(0.0, description="money, a number")
    where: dict[str, str] = Field({}, description='levels by factor: { pin = "P1" }')
    of: str = Field("", description="the factor whose changes are paid, in quotes")


class _Cost(_Table):
    shape: ClassVar[str] = "a section [cost] with currency, budget and items"
    currency: str = Field("", description='text such as "EUR"')
    budget: float | None = Field(None, description="money, a number")
    lost_runs_pct: float = Field(0.0, description="per cent, a number")
    items: list[_Item] = Field([], description='a list of { per = "run", what = "test cell", hours = 110, rate = 110 }')


class _Scatter(_Table):
    shape: ClassVar[str] = "a section [scatter] with declared_cv_pct or history"
    declared_cv_pct: list[float] | None = Field(
        None, min_length=2, max_length=2, description="two numbers: [lowest, highest]"
    )
    declared_run_cv_pct: list[float] | None = Field(
        None, min_length=2, max_length=2, description="two numbers: [lowest, highest]"
    )
    history: str | None = Field(None, description="a file in the campaign folder, in quotes")
    campaigns: list[str] = Field([], description='a list of folders such as ["../chain-2025"]')
    rig: str = Field("", description='which rig, in quotes: "stand 3, as rebuilt in 2026"')


class _Sizing(_Table):
    shape: ClassVar[str] = 'a section [sizing] with aim = "half-width"'
    aim: str = Field("shown", description="'shown' or 'half-width'")
    half_width_pct: float | None = Field(None, description="per cent, a number such as 15")
    half_width: float | None = Field(None, description="a number in the response's own unit")


class _Order(_Table):
    shape: ClassVar[str] = "a section [order] with most_linear = 0.2"
    most_linear: float | None = Field(None, description="a correlation, a number from 0 to below 1")
    most_quadratic: float | None = Field(None, description="a correlation, a number from 0 to below 1")


class _Covariate(_Table):
    shape: ClassVar[str] = "[[covariate]] with a name"
    name: str = Field(description='a name such as "soot_pct", or "run_order"')
    at: float | None = Field(None, description="a number")
    before_run: bool = Field(False, description="true or false")


class _OldData(_Table):
    shape: ClassVar[str] = "a section [old_data] with order and repeats"
    order: str = Field(description="'unknown', 'as listed' or the heading of a column, in quotes")
    repeats: str = Field(description="'runs', 'readings', 'none' or 'unknown'")


class _Received(_Table):
    shape: ClassVar[str] = "[[received]] with name, table and columns"
    name: str = Field(description='a name such as "metrology room"')
    table: str = Field(description="'runs', 'stations' or 'oil'")
    columns: dict[str, str] = Field(description='our columns and their headings: { part_id = "Part" }')
    files: str = Field("", description='a pattern of file names such as "cmm-*.xlsx"')
    sheet: str | None = Field(None, description="the name of a sheet, in quotes")
    measured_in: dict[str, str] = Field({}, description='our columns and their units: { wear_um = "mm" }')
    always: dict[str, str] = Field({}, description='what stands in a column throughout: { state = "before" }')
    levels: dict[str, dict[str, str]] = Field({}, description='their words for our levels: { pin = { P0 = "bare" } }')
    decimal: str = Field("", description="'comma' or 'point'")


class _Brief(_Table):
    campaign: _Campaign
    factor: list[_Factor] = Field(description=_Factor.shape)
    response: list[_Response] = Field(description=_Response.shape)
    blocks: _Blocks | None = None
    comparison: list[_Comparison] = Field([], description=_Comparison.shape)
    best_of: list[_BestOf] = Field([], description=_BestOf.shape)
    families: dict[str, _Family] = Field({}, description="a section [families] with a line for each")
    pilot: _Pilot | None = None
    plan: Plan = Plan()
    extension: Extension | None = None
    held: dict[str, _Held] = Field({}, description="a section [held] with a line for each variable")
    protocol: _Protocol = _Protocol()
    cost: _Cost = _Cost()
    scatter: _Scatter = _Scatter()
    received: list[_Received] = Field([], description=_Received.shape)
    covariate: list[_Covariate] = Field([], description=_Covariate.shape)
    oil: Oil | None = None
    oil_card: list[OilCard] = Field([], description=OilCard.shape)
    traces: list[Traces] = Field([], description=Traces.shape)
    master: list[Master] = Field([], description=Master.shape)
    reference: Reference | None = None
    dyno_log: DynoLog | None = None
    old_data: _OldData | None = None
    sizing: _Sizing | None = None
    order: _Order | None = None
    booking: Booking | None = None
    positions: Positions | None = None


FORM = _Brief


def faults(plain: dict[str, Any], incomplete: frozenset[Loc]) -> tuple[list[Found], frozenset[Loc]]:
    """What is wrong with the form of plain tables, and the places that cannot be used.

    Parameters
    ----------
    plain : dict
    incomplete : set of places
        Tables of which a line could not be read: nothing is told to be missing there.

    Returns
    -------
    found : list of Found
    refused : set of places
    """
    try:
        _Brief.model_validate(plain)
    except ValidationError as error:
        raw = error.errors(include_url=False, include_context=False)
    else:
        return [], frozenset()
    found, refused = [], set()
    unknown = [item for item in raw if item["type"] == "extra_forbidden"]
    for item in unknown:
        told, meant = _unknown(item["loc"], plain)
        found.append(told)
        refused |= {item["loc"]} | ({meant} if meant else set())
    for item in raw:
        loc = tuple(item["loc"])
        if item["type"] == "extra_forbidden" or (item["type"] == "missing" and _excused(loc, refused, incomplete)):
            continue
        found.append(_missing(loc) if item["type"] == "missing" else _wrong(loc, item["input"]))
        refused.add(loc)
    return found, frozenset(refused)


def _excused(loc: Loc, refused: set[Loc], incomplete: frozenset[Loc]) -> bool:
    """True for a missing key that an unknown or unreadable line nearby probably is."""
    return loc in refused or loc in incomplete or loc[:-1] in incomplete


def _unknown(loc: Loc, plain: Any) -> tuple[Found, Loc | None]:
    """The fault of a key that does not exist here, and the place of the key that was probably meant."""
    table = _kind(loc[:-1])
    allowed = list(table.model_fields) if table else []
    key = str(loc[-1])
    given = plain
    for part in loc[:-1]:
        given = given[part]
    meant = near(key, [name for name in allowed if name not in given])
    remedy = f"Did you mean '{meant}'?" if meant else _elsewhere(key, loc[:-1])
    what = "unknown key" if len(loc) > 1 else "unknown section or key"
    return Found(loc, what, listing(allowed), remedy), (*loc[:-1], meant) if meant else None


def _elsewhere(key: str, around: Loc) -> str:
    """Where a key belongs that was written into another section; empty when that is not plain."""
    homes = []
    for section, field in _Brief.model_fields.items():
        for kind in _kinds(field.annotation):
            if key in kind.model_fields:
                homes.append(f"[[{section}]]" if section in NAMED else f"[{section}]")
    return f"It belongs in {homes[0]}." if len(homes) == 1 and around[:1] != (homes[0].strip("[]"),) else ""


def _missing(loc: Loc) -> Found:
    """The fault of a key or section that is not there."""
    key = loc[-1]
    if len(loc) == 1:
        return Found((), f"the section {f'[[{key}]]' if key in NAMED else f'[{key}]'} is missing", _expected(loc))
    return Found(loc, "missing", _expected(loc))


def _wrong(loc: Loc, given: Any) -> Found:
    """The fault of a value of the wrong kind."""
    expected = _expected(loc)
    if len(loc) == 1 and loc[0] in NAMED and isinstance(given, dict):
        return Found(
            loc,
            f"[{loc[0]}] in single brackets",
            f"[[{loc[0]}]]",
            f"Write [[{loc[0]}]] in double brackets, once for each {loc[0]}.",
        )
    if len(loc) == 1 and isinstance(given, list) and given and isinstance(given[0], dict):
        return Found(loc, f"[[{loc[0]}]] in double brackets", f"[{loc[0]}]", f"Write [{loc[0]}], once.")
    return Found(loc, shown(given), expected, _remedy(expected, given))


def _remedy(expected: str, given: Any) -> str:
    """How to write a value that only has the wrong form."""
    if isinstance(given, str) and "number" in expected and _THOUSANDS.fullmatch(given.strip()):
        parts = given.strip().replace(",", ".").split(".")
        text = f"Write {'_'.join(parts)} if the mark parts thousands"
        return f"{text}, {'.'.join(parts)} if it is a decimal point." if len(parts) == 2 else f"{text}."
    if isinstance(given, str) and "number" in expected:
        try:
            float(given.replace(",", "."))
        except ValueError:
            return ""
        return f"Write {given.strip().replace(',', '.')} without quotes."
    if isinstance(given, list) and len(given) == 4 and expected.startswith("two numbers"):
        return "Use points for decimals: [98.5, 101.5]."
    if isinstance(given, float) and given.is_integer() and "whole number" in expected:
        return f"Write {int(given)}."
    if isinstance(given, float) and given != given:
        return "Leave the key out where there is no number."
    if isinstance(given, (int, float)) and not isinstance(given, bool) and "quotes" in expected:
        return f'Write "{given}".'
    return ""


def _expected(loc: Loc) -> str:
    """What belongs at a place."""
    at: Any = _Brief
    words = ""
    for part in loc:
        at = _inner(at)
        if isinstance(at, type) and issubclass(at, BaseModel):
            field = at.model_fields[str(part)]
            at, words = field.annotation, field.description or ""
        else:
            outer = get_origin(at)
            text = "text in quotes" if loc[0] in ("received", "traces") else _LEVEL
            at, words = get_args(at)[-1], text if outer is dict and get_args(at)[-1] is str else ""
    at = _inner(at)
    if isinstance(at, type) and issubclass(at, BaseModel):
        return at.shape
    return words or _WORDS.get(at, "a list in [ ]")


def _inner(annotation: Any) -> Any:
    """An annotation without its 'or None'."""
    parts = [item for item in get_args(annotation) if item is not NoneType]
    return parts[0] if NoneType in get_args(annotation) else annotation


def _kind(loc: Loc) -> type[_Table] | None:
    """The table that stands at a place."""
    at: Any = _Brief
    for part in loc:
        at = _inner(at)
        at = at.model_fields[str(part)].annotation if isinstance(at, type) else get_args(at)[-1]
    at = _inner(at)
    return at if isinstance(at, type) and issubclass(at, BaseModel) else None


def _kinds(annotation: Any) -> list[type[_Table]]:
    """The table of a section, whether it stands once or often."""
    at = _inner(annotation)
    while get_args(at):
        at = get_args(at)[-1]
    return [at] if isinstance(at, type) and issubclass(at, BaseModel) else []
