"""A brief as plain tables and back: what the seal is taken over, and what the checks look at (rank 2).

Plain tables have the sections and keys of campaign.toml, every default filled in, and levels as a list of
``{name, label, value}``, because their order counts (the first is the baseline) and that of keys does not.
"""

from __future__ import annotations

import dataclasses
import numbers
from collections.abc import Mapping
from datetime import date
from typing import Any

from toolkit.brief import dyno_log, model
from toolkit.brief.found import Found, Loc, shown
from toolkit.brief.model import Brief, number_name

LEVELS = 'levels = { P0 = "what it means", P1 = "..." }, or numbers: levels = [0.5, 3.0]'


def canonical(brief: Brief) -> dict[str, Any]:
    """A brief as plain tables, the same for every way of writing the same brief.

    Parameters
    ----------
    brief : Brief

    Returns
    -------
    dict
        Sections campaign, factor, blocks, response, comparison, best_of, families, pilot, plan, held, protocol, cost,
        scatter, received, covariate, oil, oil_card, dyno_log and old_data with the keys of campaign.toml; every
        default is filled in, what was left out is None.
        ``levels`` is a list of tables name, label, value.
    """
    own = {field.name: getattr(brief, field.name) for field in dataclasses.fields(brief)}
    held = _named(own["held"])
    families = _named(own["families"])
    protocol = _plain(own["protocol"])
    if isinstance(protocol, dict) and isinstance(protocol.get("run_time_h"), dict):
        protocol["run_time_h"].pop("name", None)
    return {
        "campaign": {
            key: _number(Brief, key, _plain(own[key]))
            for key in ("id", "question", "seed", "alpha", "power", "new_each_run")
        },
        "factor": _plain(own["factors"]),
        "response": _plain(own["responses"]),
        "comparison": _plain(own["comparisons"]),
        "best_of": _plain(own["best_of"]),
        "families": families,
        "blocks": None
        if own["block_by"] is None
        else {"by": _plain(own["block_by"]), "most_runs": _plain(own["most_runs_in_build"])},
        "pilot": _plain(own["pilot"]),
        "plan": _plain(own["plan"]),
        "extension": _plain(own["extension"]),
        "held": held,
        "protocol": protocol,
        "cost": _plain(own["cost"]),
        "scatter": _plain(own["scatter"]),
        "received": _plain(own["received"]),
        "covariate": _plain(own["covariates"]),
        "oil": _plain(own["oil"]),
        "oil_card": _plain(own["oil_cards"]),
        "traces": _plain(own["traces"]),
        "master": _plain(own["masters"]),
        "reference": _plain(own["reference"]),
        "dyno_log": _plain(own["dyno_log"]),
        "old_data": _plain(own["old_data"]),
        "sizing": _plain(own["sizing"]),
        "order": _plain(own["order"]),
        "booking": _plain(own["booking"]),
        "positions": _plain(own["positions"]),
    }


def of_toml(tables: Mapping[str, Any]) -> tuple[dict[str, Any], list[Found]]:
    """The tables of a campaign.toml as plain tables: levels listed, numbers for levels as names, days as text.

    Nothing is judged here but the form of ``levels``, which has two.
    """
    plain = _copied(dict(tables))
    found: list[Found] = []
    values: dict[str, dict[float, str]] = {}
    for at, factor in _tables(plain.get("factor")):
        loc: Loc = ("factor", at, "levels")
        levels = factor.get("levels")
        if isinstance(levels, dict):
            factor["levels"] = [{"name": name, "label": label} for name, label in levels.items()]
        elif isinstance(levels, list) and levels and all(_is_number(item) for item in levels):
            factor["levels"] = [{"name": number_name(item), "label": "", "value": float(item)} for item in levels]
            if isinstance(factor.get("name"), str):
                values[factor["name"]] = {item["value"]: item["name"] for item in factor["levels"]}
        elif levels is not None:
            factor["levels"] = None
            found.append(Found(loc, _odd(levels), LEVELS))
    for levels in _level_tables(plain):
        for name in set(levels) & set(values):
            levels[name] = _level_name(levels[name], values[name])
    if isinstance(plain.get("booking"), dict):
        # Days are written with quotes and without them.
        plain["booking"] = {key: _day_as_text(value) for key, value in plain["booking"].items()}
    return plain, found


def _day_as_text(value: Any) -> Any:
    """A day as text, in a list too; a day with a time of day, and all else, as it is."""
    if isinstance(value, list):
        return [_day_as_text(item) for item in value]
    return value.isoformat() if type(value) is date else value


def _odd(levels: Any) -> str:
    """What stands where levels should."""
    if not isinstance(levels, list):
        return shown(levels)
    if not levels:
        return "an empty list"
    return "a list of text" if all(isinstance(item, str) for item in levels) else "a list not all of numbers"


def of_plain(plain: Mapping[str, Any]) -> Brief:
    """A brief from plain tables; None stands wherever a value is missing or was refused."""
    campaign = plain.get("campaign") if isinstance(plain.get("campaign"), dict) else {}
    blocks = plain.get("blocks")
    protocol = plain.get("protocol") or {}
    pilot, cost = plain.get("pilot"), plain.get("cost") or {}
    stated = {key: campaign.get(key) for key in ("id", "question", "seed")}
    stated |= {key: campaign[key] for key in ("alpha", "power", "new_each_run") if key in campaign}
    return _made(
        Brief,
        stated,
        factors=_each(
            plain.get("factor"),
            lambda table: _made(
                model.Factor,
                table,
                levels=None
                if table.get("levels") is None
                else _each(table["levels"], lambda level: _made(model.Level, level)),
            ),
        ),
        responses=_each(plain.get("response"), _response),
        comparisons=_each(plain.get("comparison"), lambda table: _made(model.Comparison, table)),
        best_of=_each(plain.get("best_of"), lambda table: _made(model.BestOf, table)),
        families=tuple(
            _made(model.Family, table or {}, name=name) for name, table in (plain.get("families") or {}).items()
        ),
        block_by=blocks.get("by") if isinstance(blocks, dict) else None,
        most_runs_in_build=blocks.get("most_runs") if isinstance(blocks, dict) else None,
        pilot=None if pilot is None else _made(model.Pilot, pilot),
        plan=_plan(plain.get("plan") or {}),
        extension=None if plain.get("extension") is None else _made(model.Extension, plain["extension"]),
        held=tuple(_made(model.Held, table or {}, name=name) for name, table in (plain.get("held") or {}).items()),
        protocol=_made(
            model.Protocol,
            protocol,
            run_time_h=None
            if protocol.get("run_time_h") is None
            else _made(model.Held, protocol["run_time_h"], name="run_time_h"),
        ),
        cost=_made(model.Cost, cost, items=_each(cost.get("items"), lambda table: _made(model.CostItem, table))),
        scatter=_made(model.KnownScatter, plain.get("scatter") or {}),
        received=_each(plain.get("received"), lambda table: _made(model.ReceivedTable, table)),
        covariates=_each(plain.get("covariate"), lambda table: _made(model.Covariate, table)),
        oil=None if plain.get("oil") is None else _made(model.Oil, plain["oil"]),
        oil_cards=_each(plain.get("oil_card"), lambda table: _made(model.OilCard, table)),
        traces=_each(plain.get("traces"), lambda table: _made(model.Traces, table)),
        masters=_each(plain.get("master"), lambda table: _made(model.Master, table)),
        reference=None if plain.get("reference") is None else _made(model.Reference, plain["reference"]),
        dyno_log=None if plain.get("dyno_log") is None else _dyno_log(plain["dyno_log"]),
        old_data=None if plain.get("old_data") is None else _made(model.OldData, plain["old_data"]),
        sizing=None if plain.get("sizing") is None else _made(model.Sizing, plain["sizing"]),
        order=None if plain.get("order") is None else _made(model.OrderLimits, plain["order"]),
        booking=None if plain.get("booking") is None else _made(model.Booking, plain["booking"]),
        positions=None if plain.get("positions") is None else _made(model.Positions, plain["positions"]),
    )


def without(plain: Any, refused: frozenset[Loc], loc: Loc = ()) -> Any:
    """Plain tables with None at every place that was refused."""
    if loc in refused:
        return None
    if isinstance(plain, dict):
        return {key: without(item, refused, (*loc, key)) for key, item in plain.items()}
    if isinstance(plain, list):
        return [without(item, refused, (*loc, at)) for at, item in enumerate(plain)]
    return plain


def _response(table: Mapping[str, Any]) -> model.Response:
    """A response from its table."""
    stations = table.get("stations")
    return _made(model.Response, table, stations=None if stations is None else _made(model.Stations, stations))


def _plan(table: Mapping[str, Any]) -> model.PlanChoice:
    """The main phase as chosen; what was refused of its limits is None."""
    if table.get("limits") is None:
        return _made(model.PlanChoice, table)
    return _made(model.PlanChoice, table, limits=_each(table["limits"], lambda one: _made(model.Limit, one)))


def _dyno_log(table: Mapping[str, Any]) -> dyno_log.DynoLog:
    """How recordings are read from its table."""
    kinds = {"sweeps": dyno_log.SweepRule, "steady": dyno_log.SteadyRule, "standard": dyno_log.StandardRule}
    rules = {key: None if table.get(key) is None else _made(kind, table[key]) for key, kind in kinds.items()}
    return _made(dyno_log.DynoLog, table, **rules)


def _made(kind: type, table: Mapping[str, Any], **own: Any) -> Any:
    """An object of the model from a table: its own keys only, None where a needed one is missing."""
    values: dict[str, Any] = {}
    for field in dataclasses.fields(kind):
        if field.name in table and field.name not in own:
            values[field.name] = _frozen(_number(kind, field.name, table[field.name]))
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            values[field.name] = None
    return kind(**{**values, **own})


def _each(tables: Any, make: Any) -> tuple[Any, ...]:
    """An object for each table, None in the place of one that was refused."""
    return tuple(None if table is None else make(table) for table in tables or ())


def _number(kind: type, name: str, value: Any) -> Any:
    """A value of a field, whole numbers made floats where the model says float, so that 100 is 100.0."""
    stated = next(str(field.type) for field in dataclasses.fields(kind) if field.name == name)
    return _floats(value) if "float" in stated else value


def _floats(value: Any) -> Any:
    """Numbers as floats, within lists and tables too."""
    if isinstance(value, (list, tuple)):
        return [_floats(item) for item in value]
    if isinstance(value, dict):
        return {key: _floats(item) for key, item in value.items()}
    if _is_number(value) and isinstance(value, int) and abs(value) < 10**300:
        return float(value)
    return value


def _frozen(value: Any) -> Any:
    """Lists as tuples, so that the model holds nothing that grows."""
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value


def _plain(value: Any) -> Any:
    """Objects of the model as tables, tuples as lists, numpy's numbers as Python's; the rest unchanged."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _number(type(value), field.name, _plain(getattr(value, field.name)))
            for field in dataclasses.fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, numbers.Integral) and not isinstance(value, bool):
        return int(value)
    if isinstance(value, numbers.Real) and not isinstance(value, (bool, int)):
        return float(value)
    return value


def _named(items: Any) -> Any:
    """Objects with a name as a table by name, without those whose name is no text; the rest unchanged."""
    plain = _plain(items)
    if not isinstance(plain, list) or not all(isinstance(item, dict) for item in plain):
        return plain
    return {
        item["name"]: {key: value for key, value in item.items() if key != "name"}
        for item in plain
        if isinstance(item.get("name"), str)
    }


def _copied(value: Any) -> Any:
    """Tables and lists copied all the way down."""
    if isinstance(value, dict):
        return {key: _copied(item) for key, item in value.items()}
    return [_copied(item) for item in value] if isinstance(value, list) else value


def _is_number(value: Any) -> bool:
    """True for a number that is not true or false."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _tables(items: Any) -> list[tuple[int, dict[str, Any]]]:
    """The tables of a list with their numbers; none where there is no list."""
    return [(at, item) for at, item in enumerate(items) if isinstance(item, dict)] if isinstance(items, list) else []


def _level_tables(plain: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Every table of factor = level in a brief."""
    chosen = [item.get(side) for _, item in _tables(plain.get("comparison")) for side in ("of", "against")]
    cost = plain.get("cost")
    for phase in (plain.get("pilot"), plain.get("extension")):
        chosen += [item for _, item in _tables(phase.get("combinations"))] if isinstance(phase, dict) else []
    plan = plain.get("plan")
    chosen += [item for _, item in _tables(plan.get("forbidden"))] if isinstance(plan, dict) else []
    further = plain.get("extension")
    chosen += [further.get("half")] if isinstance(further, dict) else []
    chosen += [item.get("where") for _, item in _tables(cost.get("items"))] if isinstance(cost, dict) else []
    chosen += [item.get("where") for _, item in _tables(plain.get("oil_card"))]
    reference = plain.get("reference")
    chosen += [reference.get("combination")] if isinstance(reference, dict) else []
    return [item for item in chosen if isinstance(item, dict)]


def _level_name(given: Any, names: Mapping[float, str]) -> Any:
    """The level name a number, or a number as text, stands for: 3, 3.0 and '3.0' all give '3'."""
    if _is_number(given):
        return names.get(float(given), number_name(given)) if abs(given) < 1e300 else given
    if isinstance(given, str):
        try:
            return names.get(float(given), given)
        except ValueError:
            return given
    return given
