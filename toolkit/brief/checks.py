"""Every check of a brief, whether it was read from campaign.toml or built in Python (rank 2)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from toolkit.brief import (
    check_answers,
    check_best_of,
    check_booking,
    check_comparisons,
    check_conditions,
    check_covariates,
    check_dyno,
    check_extension,
    check_factors,
    check_metrology,
    check_oil,
    check_old_data,
    check_order,
    check_plan,
    check_positions,
    check_received,
    check_responses,
    check_sizing,
    model,
    plain,
    schema,
)
from toolkit.brief.found import Found, Loc, place, repeats, shown
from toolkit.brief.model import Brief
from toolkit.errors import BriefError, Fault, raise_all

_CHECKS = (
    check_plan.campaign,
    check_factors.factors,
    check_plan.blocks,
    check_responses.responses,
    check_comparisons.comparisons,
    check_comparisons.families,
    check_best_of.best_of,
    check_plan.pilot,
    check_plan.plan,
    check_extension.extension,
    check_conditions.held,
    check_conditions.cost,
    check_conditions.scatter,
    check_sizing.sizing,
    check_order.order,
    check_booking.booking,
    check_positions.positions,
    check_received.received,
    check_covariates.covariates,
    check_oil.oil,
    check_metrology.traces,
    check_metrology.masters,
    check_metrology.reference,
    check_dyno.dyno_log,
    check_dyno.judging,
    check_old_data.old_data,
)


def check(brief: Brief) -> list[Fault]:
    """Everything that is wrong with a brief; an empty list when it is in order.

    Parameters
    ----------
    brief : Brief
        However it was made; nothing about it is taken for granted.

    Returns
    -------
    list of Fault
        ``where`` is the section and key as in campaign.toml.
    """
    tables = plain.canonical(brief)
    found = [*_foreign(brief), *_doubled(brief), *findings(tables)]
    return [Fault(place(item.loc, tables) or "the brief", item.found, item.expected, item.remedy) for item in found]


def require(brief: Brief) -> Brief:
    """The same brief when it is in order.

    Raises
    ------
    BriefError
        With every fault, one a line.
    """
    faults = check(brief)
    raise_all(BriefError, headline("the brief", len(faults)), faults)
    return brief


def headline(what: str, count: int) -> str:
    """The first line of the error."""
    return f"{what} is not in order ({count} fault{'s' if count != 1 else ''}):"


def findings(
    tables: dict[str, Any], *, refused: frozenset[Loc] = frozenset(), incomplete: frozenset[Loc] = frozenset()
) -> list[Found]:
    """Everything that is wrong with the plain tables of a brief: their form first, then what they mean.

    Parameters
    ----------
    tables : dict
        As ``plain.canonical`` or ``plain.of_toml`` give them.
    refused : set of places
        What was told to be wrong already: nothing that only follows from it is told again.
    incomplete : set of places
        Tables of which a line could not be read.
    """
    asked = [item for item in check_answers.unanswered(tables) if not _covered(item.loc, refused)]
    refused = refused | {item.loc for item in asked} | check_answers.blind(tables)
    tables = {
        key: value
        for key, value in plain.without(tables, refused).items()
        if value is not None or (key,) not in refused
    }
    form, unusable = schema.faults(tables, incomplete | refused)
    form = [item for item in form if not _covered(item.loc, refused)]
    refused = refused | unusable
    brief = plain.of_plain(plain.without(tables, refused))
    meaning = [item for one in _CHECKS for item in one(brief)]
    kept = [
        item
        for item in meaning
        if not _covered(item.loc, refused)
        and not any(_covered(loc, refused) or loc in incomplete for loc in item.rests_on)
    ]
    return _told_once([*asked, *form, *kept])


def _told_once(found: list[Found]) -> list[Found]:
    """The same, with what is wrong in many places for one reason told at the first of them."""
    made = []
    for item in found:
        alike = [one for one in found if item.once and (one.found, one.expected) == (item.found, item.expected)]
        if len(alike) > 1 and alike[0] is not item:
            continue
        more = len(alike) - 1
        words = f"{item.found} (here and in {more} more place{'s' * (more > 1)})" if more > 0 else item.found
        made.append(replace(item, found=words))
    return made


def _covered(loc: Loc, refused: frozenset[Loc]) -> bool:
    """True when a place, or something it is part of, was refused already."""
    return any(loc[:length] in refused for length in range(len(loc) + 1))


def _foreign(brief: Brief) -> list[Found]:
    """Objects of another kind than the model has, where tables of the same keys would pass for them."""
    many: list[tuple[Loc, Any, type]] = [
        (("factor",), brief.factors, model.Factor),
        (("response",), brief.responses, model.Response),
        (("comparison",), brief.comparisons, model.Comparison),
        (("best_of",), brief.best_of, model.BestOf),
        (("families",), brief.families, model.Family),
        (("held",), brief.held, model.Held),
        (("cost", "items"), getattr(brief.cost, "items", ()), model.CostItem),
        (("received",), brief.received, model.ReceivedTable),
        (("covariate",), brief.covariates, model.Covariate),
        (("oil_card",), brief.oil_cards, model.OilCard),
        (("traces",), brief.traces, model.Traces),
        (("master",), brief.masters, model.Master),
        *(
            (("factor", at, "levels"), item.levels, model.Level)
            for at, item in enumerate(_list(brief.factors))
            if isinstance(item, model.Factor)
        ),
    ]
    single: list[tuple[Loc, Any, type]] = [
        (("pilot",), brief.pilot, model.Pilot),
        (("plan",), brief.plan, model.PlanChoice),
        (("extension",), brief.extension, model.Extension),
        (("protocol",), brief.protocol, model.Protocol),
        (("cost",), brief.cost, model.Cost),
        (("scatter",), brief.scatter, model.KnownScatter),
        (("sizing",), brief.sizing, model.Sizing),
        (("order",), brief.order, model.OrderLimits),
        (("booking",), brief.booking, model.Booking),
        (("positions",), brief.positions, model.Positions),
        (("oil",), brief.oil, model.Oil),
        (("reference",), brief.reference, model.Reference),
        (("dyno_log",), brief.dyno_log, model.DynoLog),
        (("protocol", "run_time_h"), getattr(brief.protocol, "run_time_h", None), model.Held),
        *(
            (("response", at, "stations"), item.stations, model.Stations)
            for at, item in enumerate(_list(brief.responses))
            if isinstance(item, model.Response)
        ),
    ]
    made = [
        Found(loc, shown(items), f"a tuple of {kind.__name__}")
        for loc, items, kind in many
        if isinstance(items, Mapping)
    ]
    single += [((*loc, at), item, kind) for loc, items, kind in many for at, item in enumerate(_list(items))]
    return made + [
        Found(loc, shown(dict(item)), f"a {kind.__name__}") for loc, item, kind in single if isinstance(item, Mapping)
    ]


def _list(items: Any) -> Sequence[Any]:
    """Items where there is a list of them; none elsewhere."""
    return items if isinstance(items, (list, tuple)) else ()


def _doubled(brief: Brief) -> list[Found]:
    """Names that no file could hold: not text, or twice, in [held] and [families]."""
    made = []
    for section, items, what in (
        ("held", brief.held, "held variable"),
        ("families", brief.families, "family"),
    ):
        given = [getattr(item, "name", None) for item in _list(items)]
        for at, name in enumerate(given):
            if not isinstance(name, str):
                made.append(Found((section, at), f"its name is {shown(name)}", "a name in quotes"))
        names = [name for name in given if isinstance(name, str)]
        exact = [name for at, name in enumerate(names) if name in names[:at]]
        made += repeats((((section, name), name) for name in [*dict.fromkeys(exact), *exact]), what)
    return made
