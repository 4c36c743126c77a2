"""Checks of [dyno_log]: channels that are there, units that convert, rules that can be met (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from collections.abc import Mapping

from toolkit import measured_in
from toolkit.brief import check_names
from toolkit.brief.covariate import RUN_ORDER
from toolkit.brief.dyno_log import CHARGING, DECIMALS, FIGURES, FORMS, OF_SWEEPS, SEPARATORS, TIMES, DynoLog
from toolkit.brief.found import Found, Loc, number, quoted, text, within, word
from toolkit.brief.model import Brief
from toolkit.errors import listing, nearest

MOST = 60
_AT: Loc = ("dyno_log",)
_PRESSURES = ("mbar", "kPa", "bar")


def dyno_log(brief: Brief) -> list[Found]:
    """What is wrong with [dyno_log]."""
    asked = brief.dyno_log
    if asked is None:
        return []
    made = _file(asked)
    made += within((*_AT, "longest_step_s"), asked.longest_step_s, lambda v: v > 0, "more than 0 seconds")
    made += within((*_AT, "review_deviation_pct"), asked.review_deviation_pct, lambda v: v > 0, "more than 0")
    return [*made, *_sweeps(asked), *_steady(asked), *_standard(asked), *_gives(brief, asked)]


def given(brief: Brief) -> dict[str, str]:
    """Column of the runs to what a recording gives it, those that may be given alone."""
    asked = brief.dyno_log
    return {} if asked is None else {name: what for name, what in asked.gives.items() if name in _may_be_given(brief)}


def _file(asked: DynoLog) -> list[Found]:
    """What is wrong with how a file is said to be written."""
    made = text((*_AT, "time"), asked.time, 200)
    made += word((*_AT, "time_in"), asked.time_in, TIMES)
    made += word((*_AT, "decimal"), asked.decimal, DECIMALS)
    if asked.separator is not None and asked.separator not in SEPARATORS:
        made.append(Found((*_AT, "separator"), quoted(asked.separator), '",", ";" or "\\t"'))
    elif asked.separator == "," and asked.decimal == "comma":
        what = "cells parted by commas, and decimal commas in them"
        made.append(Found((*_AT, "decimal"), what, 'separator = ";" or "\\t"', rests_on=((*_AT, "separator"),)))
    columns = asked.columns
    if columns is None:
        return made
    if not 1 <= len(columns) <= MOST:
        made.append(Found((*_AT, "columns"), f"{len(columns)} columns", f"from 1 to {MOST}"))
    headings: dict[str, str] = {} if asked.time is None else {asked.time: "time"}
    for name, heading in columns.items():
        here = (*_AT, "columns", name)
        made += check_names.column(here, name, "channel")
        made += text(here, heading, 200)
        if heading is not None and heading in headings:
            words = f"the heading {quoted(heading)} is also that of {headings[heading]}"
            made.append(Found(here, words, "each heading once"))
        elif heading is not None:
            headings[heading] = name
    for name, unit in (asked.measured_in or {}).items():
        here = (*_AT, "measured_in", name)
        if name not in columns:
            known = listing(list(columns)) if columns else "a channel of columns"
            what = f"{quoted(name)} is not among columns"
            made.append(Found(here, what, known, nearest(name, list(columns)), rests_on=((*_AT, "columns"),)))
        elif unit is not None and measured_in.suffix_of(name) is None:
            made.append(Found(here, f"{quoted(name)} is measured in nothing", "a channel whose name ends in its unit"))
        elif unit is not None:
            why = measured_in.not_converted(unit, name)
            if why is not None:
                made.append(Found(here, quoted(unit), f"a unit that converts to {measured_in.shown(name)}", why))
    return made


def _channel(asked: DynoLog, loc: Loc, name: str | None, units: tuple[str, ...] = ()) -> list[Found]:
    """What is wrong with a channel that a rule names."""
    columns = asked.columns
    if name is None or columns is None:
        return []
    if name not in columns:
        rests = ((*_AT, "columns"), *((*_AT, "columns", other) for other in columns))
        known = listing(list(columns)) if columns else "a channel of columns"
        return [Found(loc, f"{quoted(name)} is not among columns", known, nearest(name, list(columns)), rests)]
    if units and measured_in.suffix_of(name) not in units:
        return [Found(loc, quoted(name), f"a channel that ends in {listing([f'_{unit}' for unit in units])}")]
    return []


def _sweeps(asked: DynoLog) -> list[Found]:
    """What is wrong with what counts as a sweep."""
    rule, at = asked.sweeps, (*_AT, "sweeps")
    if rule is None:
        return []
    made = _channel(asked, (*at, "speed"), rule.speed, ("rpm",))
    made += _channel(asked, (*at, "torque"), rule.torque, ("Nm",)) + _channel(asked, (*at, "load"), rule.load)
    for key in ("low_rpm", "full_load", "shortest_s", "step_rpm"):
        made += within((*at, key), getattr(rule, key), lambda v: v > 0, "more than 0")
    low, high, window = rule.low_rpm, rule.high_rpm, rule.window_rpm
    if low is not None and high is not None and not low < high:
        made.append(Found((*at, "high_rpm"), number(high), f"more than low_rpm, {number(low)}", rests_on=(at,)))
    elif window is not None and None not in (low, high, *window) and not low <= window[0] < window[1] <= high:
        shown = f"[{number(window[0])}, {number(window[1])}]"
        made.append(Found((*at, "window_rpm"), shown, f"a range within {number(low)} to {number(high)}"))
    elif window is not None and rule.step_rpm and None not in window and window[1] - window[0] < rule.step_rpm:
        made.append(Found((*at, "step_rpm"), number(rule.step_rpm), "at most as wide as window_rpm"))
    made += within((*at, "leave_out"), rule.leave_out, lambda v: v >= 0, "0 or more")
    made += within((*at, "asked"), rule.asked, lambda v: v >= 0, "0 or more")
    if rule.asked and rule.leave_out is not None and 0 < rule.asked <= rule.leave_out:
        made.append(Found((*at, "asked"), number(rule.asked), f"more than are left out ({number(rule.leave_out)})"))
    return made


def _steady(asked: DynoLog) -> list[Found]:
    """What is wrong with when the engine runs steadily."""
    rule, at = asked.steady, (*_AT, "steady")
    if rule is None:
        return []
    made = within((*at, "settle_s"), rule.settle_s, lambda v: v >= 0, "0 or more seconds")
    if rule.within is not None and not rule.within:
        made.append(Found((*at, "within"), "no channel", "one at least: { speed_rpm = [1400, 3600] }"))
    for name, pair in (rule.within or {}).items():
        made += _channel(asked, (*at, "within", name), name)
        if pair is not None and None not in pair and not (len(pair) == 2 and pair[0] < pair[1]):
            shown = ", ".join(number(item) for item in pair)
            made.append(Found((*at, "within", name), f"[{shown}]", "two numbers, the lower first"))
    return made


def _standard(asked: DynoLog) -> list[Found]:
    """What is wrong with the correction to standard conditions."""
    rule, at = asked.standard, (*_AT, "standard")
    if rule is None:
        return []
    made = word((*at, "form"), rule.form, FORMS)
    if rule.charging is not None and rule.charging not in CHARGING:
        near = nearest(rule.charging, CHARGING)
        remedy = near or "An engine whose control makes up for the weather is not corrected: delete the rule."
        made.append(Found((*at, "charging"), quoted(rule.charging), listing(CHARGING), remedy))
    elif rule.form in FORMS[:2] and rule.charging not in (None, CHARGING[0]):
        what = f"{quoted(rule.charging)} with {rule.form}"
        made.append(Found((*at, "charging"), what, f"'{CHARGING[0]}'", "Boosted engines are not corrected by it."))
    made += _channel(asked, (*at, "pressure"), rule.pressure, _PRESSURES)
    made += _channel(asked, (*at, "temperature"), rule.temperature, ("degC",))
    made += _channel(asked, (*at, "humidity"), rule.humidity, ("pct",))
    made += within((*at, "fuel_mg_per_L"), rule.fuel_mg_per_L, lambda v: v > 0, "more than 0")
    if rule.form == FORMS[2] and rule.fuel_mg_per_L is None:
        made.append(Found((*at, "form"), f"'{rule.form}' without fuel_mg_per_L", "both"))
    if asked.sweeps is None:
        made.append(Found(at, "nothing that is at full load", "sweeps beside it", rests_on=((*_AT, "sweeps"),)))
    return made


def _may_be_given(brief: Brief) -> tuple[str, ...]:
    """The columns of the runs that a recording may give, held variables apart."""
    responses = [item.name for item in brief.responses if item is not None and item.name and item.source == "runs"]
    covariates = [item.name for item in brief.covariates if item is not None and item.name not in (None, RUN_ORDER)]
    held = [item.name for item in brief.held if item is not None]
    length = [] if brief.protocol.run_time_h is None else ["run_time_h"]
    every = [*length, *responses, *covariates, *(brief.protocol.max or {})]
    return tuple(dict.fromkeys(name for name in every if name not in held))


def _gives(brief: Brief, asked: DynoLog) -> list[Found]:
    """What is wrong with the columns that are taken from recordings."""
    made: list[Found] = []
    allowed = _may_be_given(brief)
    sources = [*FIGURES, *(asked.columns or {})]
    for name, what in (asked.gives or {}).items():
        here = (*_AT, "gives", name)
        rests = (("response",), ("covariate",), ("protocol", "max"), ("held",))
        if name in [item.name for item in brief.held if item is not None]:
            told = f"{quoted(name)} is held: the channel of its own name gives it"
            made.append(Found(here, told, "the name among columns", "Delete the line.", rests))
        elif name not in allowed:
            told = f"a response of runs.csv, a covariate or a bound of the protocol: {listing(allowed)}"
            expected = told if allowed else "a response of runs.csv, a covariate or a bound of the protocol"
            made.append(Found(here, quoted(name), expected, nearest(name, allowed), rests))
        if what is None or asked.columns is None:
            continue
        if what not in sources:
            made.append(Found(here, quoted(what), listing(sources), nearest(what, sources), ((*_AT, "columns"),)))
            continue
        unit = FIGURES.get(what) or measured_in.suffix_of(what)
        if name in allowed and measured_in.suffix_of(name) != unit:
            shown = measured_in.SUFFIXES.get(unit or "", "nothing")
            made.append(Found(here, f"{quoted(what)} is measured in {shown}", f"a column that ends in _{unit}"))
        if what in OF_SWEEPS and asked.sweeps is None:
            made.append(Found(here, f"{quoted(what)} without sweeps", "the rule of the sweeps beside it",
                              rests_on=((*_AT, "sweeps"),)))  # fmt: skip
    return made


def judging(brief: Brief) -> list[Found]:
    """What is wrong with who judges runs, and with bounds beyond which a run says nothing."""
    made = []
    bounds: Mapping[str, float] = brief.protocol.max or {}
    for at, name in enumerate(brief.protocol.not_interpretable or ()):
        if name is not None and name not in bounds:
            expected = listing(list(bounds)) if bounds else "a bound of max"
            rests = (("protocol", "max"),)
            here = ("protocol", "not_interpretable", at)
            made.append(Found(here, f"{quoted(name)} is no bound", expected, nearest(name, list(bounds)), rests))
    if brief.protocol.judged_by:
        made += text(("protocol", "judged_by"), brief.protocol.judged_by, 60)
    return made
