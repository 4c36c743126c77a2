"""Checks of [oil] and of the cards of the oils (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from typing import Any

from toolkit.brief.covariate import metal_in_oil
from toolkit.brief.found import Found, Loc, number, quoted, repeats, text, within
from toolkit.brief.model import Brief
from toolkit.brief.oil import PRECISIONS, SUMP_VISCOSITY, OilCard
from toolkit.errors import listing, nearest

_ELEMENT = "an element of the oil, such as 'fe_ppm'"
_MOST_COMBINATIONS = 4096


def oil(brief: Brief) -> list[Found]:
    """What is wrong with [oil], the cards, and the responses that rest on them."""
    return [*_section(brief), *_cards(brief), *_balance(brief)]


def _section(brief: Brief) -> list[Found]:
    """What is wrong with [oil]."""
    asked = brief.oil
    if asked is None:
        return []
    loc: Loc = ("oil",)
    made = within((*loc, "fill_kg"), asked.fill_kg, lambda v: v > 0, "a number above 0")
    made += within((*loc, "liquid_share"), asked.liquid_share, lambda v: 0 <= v <= 1, "a number from 0 to 1")
    made += within(
        (*loc, "most_carry_over_pct"), asked.most_carry_over_pct, lambda v: 0 < v < 100, "more than 0 and less than 100"
    )
    held = [card.new_ppm for card in brief.oil_cards if card is not None and card.new_ppm is not None]
    if asked.marker:
        made += _element((*loc, "marker"), asked.marker)
        levels = {figures.get(asked.marker) for figures in held}
        if metal_in_oil(asked.marker) and (None in levels or len(levels) < 2):
            what = f"{quoted(asked.marker)} tells the oils of [[oil_card]] not apart"
            expected = "an element in new_ppm of every card, and not the same in all"
            made.append(Found((*loc, "marker"), what, expected, rests_on=(("oil_card",),)))
    needing = [key for key in ("most_carry_over_pct", "zero_from_carry_over") if getattr(asked, key)]
    if asked.marker == "":
        made += [Found((*loc, key), "no marker", 'marker = "mo_ppm" or the like') for key in needing]
    made += _figures((*loc, "most_rise_ppm"), asked.most_rise_ppm, above=True)
    made += [*_sources(brief), *_viscosity(brief)]
    for name, limits in (asked.precision or {}).items():
        at: Loc = (*loc, "precision", name)
        made += _element(at, name)
        for kind, pair in (limits or {}).items():
            if kind not in PRECISIONS:
                made.append(Found((*at, kind), quoted(str(kind)), listing(PRECISIONS), nearest(str(kind), PRECISIONS)))
            elif pair is not None and not (len(pair) == 2 and pair[0] > 0 and 0 <= pair[1] <= 2):
                shown = ", ".join(number(item) for item in pair)
                expected = "[a, b] of a limit a * X ** b: a above 0, b from 0 to 2"
                made.append(Found((*at, kind), f"[{shown}]", expected))
    return made


def _sources(brief: Brief) -> list[Found]:
    """What is wrong with the metal that a unit of wear gives, and with the band of its recovery."""
    asked = brief.oil
    if asked is None:
        return []
    loc: Loc = ("oil", "mg_per_unit")
    names = [item.name for item in brief.responses if item is not None and item.name is not None]
    made: list[Found] = []
    for element, sources in (asked.mg_per_unit or {}).items():
        made += _element((*loc, element), element)
        for name, value in (sources or {}).items():
            if name not in names or metal_in_oil(name):
                others = [item for item in names if not metal_in_oil(item)]
                expected = f"a response of wear: {listing(others)}" if others else "a response of wear"
                what = f"{quoted(name)} is {'metal in the oil' if name in names else 'no response'}"
                rests = (("response",),)
                made.append(Found((*loc, element, name), what, expected, nearest(name, others), rests_on=rests))
            made += within((*loc, element, name), value, lambda v: v > 0, "a number above 0")
    band = asked.recovery_band
    if band is not None and not (len(band) == 2 and 0 < band[0] < band[1]):
        shown = ", ".join(number(item) for item in band)
        made.append(Found(("oil", "recovery_band"), f"[{shown}]", "two numbers above 0, the lower first"))
    return made


def _viscosity(brief: Brief) -> list[Found]:
    """What is wrong with the temperature that the covariate of viscosity is worked out at."""
    if brief.oil is None or not brief.oil.viscosity_at:
        return []
    loc: Loc = ("oil", "viscosity_at")
    name = brief.oil.viscosity_at
    warm = [item.name for item in brief.held if item is not None and item.name and item.name.endswith("_degC")]
    made = []
    if name not in warm:
        expected = listing(warm) if warm else "a variable of [held] that ends in _degC"
        made.append(Found(loc, f"{quoted(name)} is no held temperature", expected, rests_on=(("held",),)))
    cards = [card for card in brief.oil_cards if card is not None]
    if not cards or any(card.kv40_mm2_s is None or card.kv100_mm2_s is None for card in cards):
        what = "cards without viscosities"
        made.append(Found(loc, what, "kv40_mm2_s and kv100_mm2_s in every [[oil_card]]", rests_on=(("oil_card",),)))
    if SUMP_VISCOSITY not in [item.name for item in brief.covariates if item is not None]:
        expected = f"a [[covariate]] with the name {quoted(SUMP_VISCOSITY)}"
        made.append(Found(loc, "nothing that it is worked out for", expected, rests_on=(("covariate",),)))
    return made


def _cards(brief: Brief) -> list[Found]:
    """What is wrong with the cards."""
    given = [(at, card) for at, card in enumerate(brief.oil_cards) if card is not None]
    made = repeats(((("oil_card", at, "name"), card.name) for at, card in given if card.name), "oil card")
    for at, card in given:
        loc: Loc = ("oil_card", at)
        made += text((*loc, "name"), card.name, 60)
        made += _where(brief, (*loc, "where"), card)
        made += _figures((*loc, "new_ppm"), card.new_ppm, above=False)
        made += within((*loc, "within_pct"), card.within_pct, lambda v: 0 < v < 100, "more than 0 and less than 100")
        for key in ("kv40_mm2_s", "kv100_mm2_s"):
            made += within((*loc, key), getattr(card, key), lambda v: v >= 2.0, "2 mm²/s or more")
        cold, hot = card.kv40_mm2_s, card.kv100_mm2_s
        if (cold is None) != (hot is None):
            lone = "kv100_mm2_s" if cold is None else "kv40_mm2_s"
            other = "kv40_mm2_s" if cold is None else "kv100_mm2_s"
            made.append(Found((*loc, lone), f"without {other}", "both", rests_on=((*loc, other),)))
        elif cold is not None and hot is not None and not cold > hot:
            made.append(Found((*loc, "kv40_mm2_s"), f"{number(cold)}, not above kv100_mm2_s", "the thicker at 40 °C"))
    return made + _twice(brief, given)


def _where(brief: Brief, loc: Loc, card: OilCard) -> list[Found]:
    """What is wrong with the levels that are run with an oil."""
    made = []
    factors = {item.name: item for item in brief.factors if item is not None and item.name is not None}
    for name, level in (card.where or {}).items():
        if name not in factors:
            expected = listing(list(factors)) if factors else "a factor of the brief"
            made.append(
                Found((*loc, name), f"{quoted(name)} is no factor", expected, nearest(name, list(factors)),
                      rests_on=(("factor",),))
            )  # fmt: skip
            continue
        levels = [item.name for item in factors[name].levels or () if item is not None]
        if level is not None and level not in levels:
            known = listing(levels) if levels else "a level of the factor"
            rests = (("factor", list(factors).index(name), "levels"),)
            made.append(Found((*loc, name), quoted(str(level)), known, nearest(str(level), levels), rests_on=rests))
    return made


def _twice(brief: Brief, given: list[tuple[int, OilCard]]) -> list[Found]:
    """Cards that claim the same combination as an earlier one."""
    names = sorted({name for _, card in given for name in card.where or {}})
    levels = [[level.name for level in item.levels] for item in brief.factors
              if item is not None and item.name in names and item.levels and None not in item.levels]  # fmt: skip
    made: list[Found] = []
    count = 1
    for one in levels:
        count *= len(one)
    if len(levels) != len(names) or count > _MOST_COMBINATIONS:
        return made
    order = [item.name for item in brief.factors if item is not None and item.name in names]
    seen: set[tuple[int, int]] = set()
    for combination in product(*levels):
        chosen: Mapping[str, Any] = dict(zip(order, combination, strict=True))
        fitting = [at for at, card in given if all(chosen[name] == level for name, level in (card.where or {}).items())]
        for later in fitting[1:]:
            if (fitting[0], later) in seen:
                continue
            seen.add((fitting[0], later))
            first = next(card.name for at, card in given if at == fitting[0])
            made.append(Found(("oil_card", later, "where"), f"the same runs as {quoted(str(first))}", "one card a run"))
    return made


def _balance(brief: Brief) -> list[Found]:
    """Responses made by the balance without what it needs."""
    made = []
    for at, item in enumerate(brief.responses):
        if item is None or item.per_run != "balance" or item.name is None:
            continue
        loc: Loc = ("response", at, "per_run")
        if brief.oil is None or (brief.oil.liquid_share is None):
            rests = (("oil",), ("oil", "liquid_share"))
            what = "'balance' without fill_kg and liquid_share in [oil]"
            made.append(
                Found(loc, what, "both: how much oil there is, and what consumed oil takes along", rests_on=rests)
            )
        cards = [card for card in brief.oil_cards if card is not None]
        if not cards or any(item.name not in (card.new_ppm or {}) for card in cards):
            what = f"'balance' without {item.name} of the new oil"
            made.append(Found(loc, what, "new_ppm in every [[oil_card]] to name it", rests_on=(("oil_card",),)))
    return made


def _element(loc: Loc, name: str) -> list[Found]:
    """The name of something that is no element of the oil."""
    return [] if metal_in_oil(name) else [Found(loc, quoted(name), _ELEMENT)]


def _figures(loc: Loc, figures: Mapping[str, float] | None, *, above: bool) -> list[Found]:
    """What is wrong with a table of concentrations."""
    made = []
    for name, value in (figures or {}).items():
        made += _element((*loc, name), name)
        good = (lambda v: v > 0) if above else (lambda v: v >= 0)
        made += within((*loc, name), value, good, "a number above 0" if above else "0 or a number above 0")
    return made
