"""Sentences made from results: answers, scope, method, families, sizing; they make no numbers (rank 10)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from toolkit import measured_in
from toolkit.brief.model import Brief, Factor, Response
from toolkit.decide import change_words, verdict
from toolkit.design import in_builds, incomplete_blocks, optimal, units
from toolkit.design.strata import Strata
from toolkit.model.fit import BLOCKS, Fit
from toolkit.plot import answers, combinations, look, rounding, sides
from toolkit.plot.answers import Answer
from toolkit.plot.effects import interaction_words
from toolkit.wording import joined

_UNDONE = {"part": "measured parts", "fill": "oil fill", "build": "build", "setting": "setting"}
# Letters of a reason from which on it is told once.
_LONG_REASON = 100
NO_RESIDUALS = (
    "No degree of freedom of error is left between runs, or the repeats agree to the last digit: the model goes "
    "through every value, so that there are no residuals to look at. What a picture would show is rounding."
)
_PER_RUN = {
    "mean": "the arithmetic mean of the {stations}",
    "mean_of_log": "the geometric mean of the {stations}",
    "max": "the largest of the {stations}",
    "total": "the sum of the {stations}",
    "increase": "the last oil sample less the one at zero hours",
    "end": "the last oil sample",
    "value": "the value entered for the run",
}


def answer(row: Answer) -> str:
    """One comparison in one sentence: the verdict's own, or the numbers where no verdict was asked for."""
    if row.sentence:
        return row.sentence
    if not row.estimable:
        return f"{row.name}: {row.note or 'not estimable.'}"
    return f"{sides.words(row)}."


def said_once(rows: Sequence[Answer]) -> list[str]:
    """Each comparison in one sentence; a long reason why it cannot be estimated is told by the first that has it."""
    first: dict[str, str] = {}
    made = []
    for row in rows:
        whole = answer(row)
        reason = whole.removeprefix(f"{row.name}: ")
        if row.estimable or len(reason) < _LONG_REASON or first.setdefault(reason, row.name) == row.name:
            made.append(whole)
        else:
            made.append(f"{row.name}: not estimable, for the same reason as '{first[reason]}'.")
    return made


def interaction(row: Answer, brief: Brief) -> str:
    """An interaction as people ask for it: whether one change depends on the other factor."""
    asked = next(item for item in brief.comparisons if item.name == row.name)
    *inner, others = (combinations.factor_name(brief.factor(name)) for name in asked.interaction)
    what = f"what {inner[0]} does" if len(inner) == 1 else f"how {joined(inner)} act together"
    if not row.estimable or row.low is None or row.high is None:
        return f"{interaction_words(row, asked, brief).removesuffix('.')}."
    none = 1.0 if row.ratio else 0.0
    open_still = row.low <= none <= row.high
    if row.verdict == "smaller than worthwhile":
        at_all = ", if at all, by" if open_still else ", but by"
        plain = f"{what} depends on {others}{at_all} less than would matter"
    elif open_still and change_words.EQUIVALENCE in row.sentence:
        plain = f"it is not shown that {what} depends on {others}; by equivalence alone it does so less than matters"
    elif open_still:
        plain = f"it is not shown that {what} depends on {others}, nor that it does not"
    else:
        plain = f"{what} depends on {others}"
    return f"{row.name}, in words: {plain}."


def scope(brief: Brief, strata: Strata | None) -> str:
    """How far the answers reach: what was one and the same in every run, and so is not spoken of."""
    builds = 0 if strata is None else int(strata.runs["build_id"].nunique())
    parts = ["one engine or rig and one test procedure"]
    if builds:
        parts.append("one build of it" if builds == 1 else f"{builds} builds of it")
    new = [_UNDONE[item] for item in brief.new_each_run]
    if new:
        parts.append(f"new {joined(new)} in every run, as far as recorded of one batch each")
    held = [
        f"{measured_in.label(item.name)} {item.target:g} {measured_in.shown(item.name)}".rstrip()
        for item in (*brief.held, *([brief.protocol.run_time_h] if brief.protocol.run_time_h else ()))
    ]
    if held:
        parts.append(f"{joined(held)} held constant")
    levels = "; ".join(
        f"{combinations.factor_name(factor)} {joined([level_words(factor, level) for level in factor.names])}"
        for factor in brief.factors
    )
    return (
        f"These answers come from {'; '.join(parts)}. They hold for the levels that were run ({levels}). "
        f"Nothing here speaks of other engines, other batches of parts, coating or oil, other conditions or "
        f"other levels."
    )


def level_words(factor: Factor, level: str) -> str:
    """A level with what it means: 'P1 (nitride-coated)', or '1500 r/min' for a number."""
    label = factor.label_of(level)
    unit = f"{level} {factor.measured_in}".rstrip()
    return level if label == level else unit if label == unit else f"{level} ({label})"


def method(fit: Fit, brief: Brief) -> list[str]:
    """How the answers were made, in sentences: run value, model, errors with their df, intervals."""
    lines = [run_value(fit.response)]
    lines += _layout(fit.strata)
    for stratum, (square, df) in fit.mean_squares.items():
        lines.append(_error(fit, stratum, square, df))
    below = f"{fit.response.name}_below_limit"
    by = (
        "tests from the likelihood of values some of which are only known to lie below a limit (intervals where its "
        "ratio stays below that of t, p by drawn campaigns)"
        if below in fit.runs and fit.runs[below].any()
        else "two-sided tests by t on the df of the error of each comparison"
    )
    lines.append(
        f"Intervals at {answers.level_text(brief.conf_level)} and {by}. Comparisons are differences of equally "
        f"weighted means" + (", given as ratios." if fit.response.scale == "log" else ".")
    )
    # That builds are blocks was said above.
    notes = [note for note in fit.notes if note and note != BLOCKS]
    return [*lines, *(f"{look.capital(note)}." if not note.endswith(".") else look.capital(note) for note in notes)]


def _layout(laid: Strata) -> list[str]:
    """How the runs lie in builds, parts and fills, in sentences."""
    made = []
    kind = "incomplete " if incomplete_blocks.used(laid.brief) else "" if optimal.used(laid.brief) else "complete "
    if laid.blocked:
        made.append(f"Builds are {kind}blocks, taken out as fixed: levels are compared within builds.")
    made += [told for told in (in_builds.sentence(laid.brief), optimal.sentence(laid.brief)) if told]
    for unit in laid.units[:-1]:
        name = units.NAMES[unit]
        if unit == units.RUN and not laid.stratum(unit).terms:
            made.append("Every run holds all that is compared: positions are compared within runs.")
            continue
        finer = laid.units[laid.units.index(unit) + 1 :]
        within = "runs" if laid.finest == units.RUN else " and ".join(units.PLURALS[item] for item in finer)
        made.append(
            f"{look.capital(units.PLURALS[unit])} are the units of the factors changed with the {name} (whole plots); "
            f"the other factors are judged by the {within} within {units.PLURALS[unit]}."
        )
    if laid.finest == units.POSITION:
        made.append(
            "Positions are the units of the factors whose levels run side by side, by Latin squares over the runs; "
            "their own differences are taken out as fixed."
        )
    return made or ["Runs in random order, not blocked."]


def run_value(response: Response) -> str:
    """How one number was made of each run."""
    stations = ""
    if response.stations is not None:
        wear = (
            f", {response.stations.states[-1]} less {response.stations.states[0]}" if response.stations.states else ""
        )
        each = f", {response.stations.readings} readings each" if response.stations.readings > 1 else ""
        stations = f"{response.stations.count} {response.stations.kind}s{wear}{each}"
    made = _PER_RUN[response.per_run].format(stations=stations)
    label = measured_in.label(response.name)
    text = f"The run value of {label} is {made}."
    if response.stations is not None:
        kind = look.capital(response.stations.kind)
        text += f" {kind}s and readings are sub-samples of a run, never replicates."
    return text


def families(brief: Brief) -> str:
    """Which comparisons are judged together, and how their intervals are adjusted."""
    level = answers.level_text(brief.conf_level)
    lines = []
    for family in brief.families:
        names = [item.name for item in brief.comparisons if item.family == family.name]
        if not names:
            continue
        how = {
            "none": f"each judged by its own {level} interval, not adjusted for their number",
            "multivariate_t": f"{level} intervals that hold for all of them together (multivariate t)",
            "holm": f"p values adjusted by Holm's steps, intervals at {level} for all together (Bonferroni)",
        }[family.adjust]
        promise = {
            "each": "",
            "any": "; at least one of them was asked for, and the sizing told the chance of each by itself",
            "all": "; all of them were asked for, and the sizing told the chance of each by itself",
        }[family.promise]
        lines.append(f"Family '{family.name}' ({joined(names)}): {how}{promise}.")
    alone = [item.name for item in brief.comparisons if brief.family_of(item) is None]
    if alone:
        lines.append(f"Judged alone, each by its own {level} interval: {joined(alone)}.")
    return " ".join(lines)


def sizing(summary: Mapping[str, Any] | None, brief: Brief) -> str:
    """What the sealed plan promised before its runs were made; why that cannot be told otherwise."""
    option = (summary or {}).get("option")
    if not option:
        told = (summary or {}).get("sentence")
        return (
            f"{told}"
            if told
            else ("No sizing was sealed with the plan, so nothing tells what these runs were expected to show.")
        )
    return (
        f"{planned(summary, brief)} Chances told before the runs are averages over the doubt in the scatter known "
        f"then; asked were {100 * brief.power:.3g} %."
    )


def planned(summary: Mapping[str, Any] | None, brief: Brief) -> str:
    """What the sealed plan takes: runs, hours, money; empty where no sizing was sealed."""
    option = (summary or {}).get("option")
    if not option:
        return ""
    price = f", {option['cost']:,.0f} {brief.cost.currency}".rstrip() if option.get("cost") else ""
    hours = f", {option['hours']:,.0f} h" if option.get("hours") else ""
    return f"Sealed plan: {option['name']}, {option['runs']} runs{hours}{price} with the expected repeats."


def scatter(summary: Mapping[str, Any] | None, fit: Fit) -> str:
    """The scatter between runs (or positions of a run) planned with, and as found; empty when none was sealed."""
    response, finest = fit.response, fit.strata.finest
    lines = [line for line in (summary or {}).get("scatter", []) if line.get("response") == response.name]
    used = next((line for line in lines if line.get("used") is True and line.get("stratum") == finest), None)
    square, df = fit.mean_squares[finest]
    if used is None or used.get("sd") is None or square is None:
        return ""
    basis = f"{used['source']}, {used['df']:.3g} df" if used.get("df") else str(used["source"])
    most = "at most " if used.get("bound") is True else ""
    return (
        f"{'Run-to-run SD' if finest == units.RUN else 'SD of positions within runs'}: planned with "
        f"{most}{_sd(used['sd'], response)} ({basis}), found {_sd(math.sqrt(square), response)} ({df} df)."
    )


def promised(summary: Mapping[str, Any] | None, rows: Sequence[Answer], response: Response) -> list[tuple[str, ...]]:
    """For each comparison: the true change assumed, the chance promised, and the interval obtained.

    Rows of name, assumed change, chance to be shown, smallest change that would be shown, change found.
    """
    option = (summary or {}).get("option") or {}
    claims = {
        claim["comparison"]: claim
        for claim in option.get("claims", [])
        if claim.get("response") == response.name and claim.get("comparison")
    }
    sign = rounding.MINUS if response.better == "smaller" else "+"
    made = []
    for row in rows:
        claim = claims.get(row.name)
        if claim is None:
            continue
        ratio, change = claim.get("detectable_ratio"), claim.get("detectable_change")
        if row.ratio and ratio is not None:
            found = answers.per_cent(ratio, None)
        elif change is not None:
            found = f"{sign}{rounding.significant(abs(change))} {row.unit}".rstrip()
        else:
            found = "–"
        assumed, chance = claim.get("assumed_change"), claim.get("assurance")
        made.append(
            (
                row.name,
                "–" if assumed is None else f"{sign}{abs(assumed):.4g} {row.unit}".rstrip(),
                _chance(chance),
                found,
                f"{row.change} ({row.interval})" if row.estimable else row.change,
            )
        )
    return made


def _chance(chance: float | None) -> str:
    """A chance in whole per cent, never rounded onto 0 or 100."""
    if chance is None:
        return "–"
    whole = f"{100 * chance:.0f}"
    return "over 99 %" if whole == "100" else "under 1 %" if whole == "0" else f"{whole} %"


def with_and_without(frame: Any, brief: Brief, *, interim: str = "") -> str:
    """Whether leaving out flagged runs, or taking in void ones, changes a verdict.

    While runs are pending (``interim``: how far they are) nothing is said to be shown either way.
    """
    labels = frame["runs"].tolist()
    others = list(dict.fromkeys(label for label in labels if label != labels[0]))
    if not others:
        return "No run was flagged and no void run has a value, so there is only one analysis."
    if interim:
        return f"Interim, {interim}: the estimates {joined(others)} stand below; nothing is claimed from them yet."
    named = list(zip(labels, frame["comparison"], verdict.verdicts(frame, brief)["verdict"], strict=True))
    first = {name: found for label, name, found in named if label == labels[0]}
    moved = [f"{name} ({label})" for label, name, found in named if label != labels[0] and found != first[name]]
    if not moved:
        return f"The verdict on every comparison is the same {joined(others)}."
    return f"The verdict changes for {joined(moved)}: look at those runs before deciding."


def unit_words(row: Mapping[str, Any], brief: Brief) -> str:
    """A run in words: 'R04 (pin P1, oil O0, build B1)'."""
    return f"{row['run_id']} ({combinations.name(brief, row)}, build {row['build_id']})"


def _error(fit: Fit, stratum: str, square: float | None, df: int) -> str:
    """The error of one stratum with its df and its SD."""
    coarser = ["builds"] if fit.strata.blocked else []
    coarser += [units.PLURALS[unit] for unit in fit.strata.units[: fit.strata.units.index(stratum)]]
    where = f"{units.PLURALS[stratum]} within {coarser[-1]}" if coarser else units.PLURALS[stratum]
    if square is None:
        return f"Error between {where}: 0 df, so nothing can be judged by it."
    of = ", of ln (about the coefficient of variation)" if fit.response.scale == "log" else ""
    return f"Error between {where}: {df} df, SD of a run value {_sd(math.sqrt(square), fit.response)}{of}."


def _sd(sd: float, response: Response) -> str:
    """An SD as text: in per cent on the log scale, else in the response's unit."""
    percent = response.scale == "log"
    return f"{rounding.significant(100.0 * sd if percent else sd)} {'%' if percent else response.measured_in}".rstrip()
