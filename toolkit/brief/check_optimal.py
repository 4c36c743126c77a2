"""Checks of an optimal design: its model, its runs and whole plots, and the nearest that can (rank 2)."""

from __future__ import annotations

import math

from toolkit.brief import check_factors, check_restrictions, optimal
from toolkit.brief.designs import FEWEST_FACTORS, MOST_FACTORS, OPTIMAL
from toolkit.brief.found import Found, Loc, number, quoted, word
from toolkit.brief.model import Brief
from toolkit.numeric.exchange import CRITERIA

# The most runs of one set that are searched for.
MOST_RUNS = 128
_NAMES = {"build": "build", "part": "set of parts", "fill": "fill"}
_PLURALS = {"build": "builds", "part": "sets of parts", "fill": "fills"}


def design(brief: Brief) -> list[Found]:
    """What is wrong with an optimal design: every fault of its keys, or what cannot be searched for."""
    made = _words(brief) + _factors(brief) + _interactions(brief) + check_restrictions.stated(brief)
    made += _plots(brief) + _numbers(brief) + _asked(brief) + _blocks(brief)
    return made or check_restrictions.left(brief) or _runs(brief)


def fewest(brief: Brief) -> int:
    """The fewest runs of a set that tell every term in its builds, repeats beside them."""
    blocks = brief.plan.split_over - 1 if brief.block_by == "build" and "build" not in optimal.plots_of(brief) else 0
    return optimal.space(brief).parameters + blocks + brief.plan.repeat_points


def _words(brief: Brief) -> list[Found]:
    """Words that are none, and keys that do not go with an optimal design."""
    given = brief.plan
    made = word(("plan", "criterion"), given.criterion, CRITERIA)
    made += word(("plan", "model"), given.model, optimal.MODELS)
    if given.interactions_up_to:
        words = f"{number(given.interactions_up_to)} though an optimal design states its model"
        made.append(Found(("plan", "interactions_up_to"), words, "left out", "Say it by [plan] model."))
    if given.model == optimal.MAIN_EFFECTS and given.nil_interactions:
        words = "set though the model holds main effects and the interactions named only"
        made.append(Found(("plan", "nil_interactions"), words, "left out", "Name in [plan] interactions what is told."))
    return made


def _factors(brief: Brief) -> list[Found]:
    """Too many factors."""
    low, high = FEWEST_FACTORS[OPTIMAL], MOST_FACTORS[OPTIMAL]
    if low <= len(brief.factors) <= high:
        return []
    words = f"{quoted(OPTIMAL)} for {len(brief.factors)} factors"
    return [Found(("plan", "design"), words, f"{low} to {high} factors", "Take fewer factors.")]


def _interactions(brief: Brief) -> list[Found]:
    """Interactions of the model that are none, stand twice, or are in it anyway."""
    made, seen = [], []
    for at, pair in enumerate(brief.plan.interactions):
        loc: Loc = ("plan", "interactions", at)
        if len(pair) != 2 or len(set(pair)) != 2:
            made.append(Found(loc, f"{len(pair)} names: {' × '.join(pair)}", "two different factors"))
        unknown = [item for name in pair for item in check_factors.known_factor(brief, name, loc)]
        made += unknown
        if set(pair) in seen:
            made.append(Found(loc, f"{' × '.join(pair)} stands twice", "each interaction once", "Delete one of them."))
        seen.append(set(pair))
    if brief.plan.interactions and brief.plan.model in (optimal.TWO_FACTOR, optimal.QUADRATIC):
        words = f"set though model = {quoted(brief.plan.model)} holds every interaction of two"
        made.append(
            Found(
                ("plan", "interactions"),
                words,
                "left out",
                f"Delete it, or write model = {quoted(optimal.MAIN_EFFECTS)}.",
            )
        )
    return made


def _plots(brief: Brief) -> list[Found]:
    """Numbers of whole plots that are missing, that no factor asks for, or that do not divide."""
    held, given, runs = optimal.plots_of(brief), brief.plan.plots, brief.plan.runs
    made: list[Found] = []
    for unit in given:
        if unit not in optimal.UNITS:
            made.append(Found(("plan", "plots", unit), f"{quoted(unit)} is no unit", "'build', 'part' or 'fill'"))
        elif unit not in held:
            words = f"{quoted(unit)} though no factor is kept with the {unit}"
            made.append(Found(("plan", "plots", unit), words, "units of factors that are kept over several runs"))
    above, name_above = (1, "set") if "build" in held else (brief.plan.split_over, "build")
    for unit, names in held.items():
        loc: Loc = ("plan", "plots", unit)
        count = given.get(unit)
        if count is None:
            words = f"left out, though factor {quoted(names[0])} is kept over several runs with the {unit}"
            remedy = f"Write plots = {{ {unit} = 8 }}, for example; or put {quoted(unit)} into new_each_run."
            made.append(Found(("plan", "plots"), words, f"how many {_PLURALS[unit]} one set has", remedy))
            continue
        if not 2 <= count <= MOST_RUNS:
            made.append(Found(loc, number(count), f"a whole number from 2 to {MOST_RUNS}"))
            continue
        if count % above:
            fit = f"{max(count - count % above, above)} or {count - count % above + above}"
            words = (
                f"{count} {_PLURALS[unit]} cannot be spread evenly over {above} {_PLURALS.get(name_above, 'builds')}"
            )
            made.append(Found(loc, words, f"a multiple of {above}", f"Take {fit}."))
        elif runs and runs % count:
            low, high = runs - runs % count, runs - runs % count + count
            words = f"{runs} runs cannot be spread evenly over {count} {_PLURALS[unit]}"
            known = brief.plan.model in optimal.MODELS and all(len(pair) == 2 for pair in brief.plan.interactions)
            least = max(units_needed(brief, unit) if known else 2, 2)
            fits = [one for one in range(least, runs // 2 + 1) if runs % one == 0 and one % above == 0]
            nearest = min(fits, key=lambda one: abs(one - count), default=None)
            remedy = f"Take runs = {f'{low} or ' if low else ''}{high}"
            remedy += f", or {nearest} {_PLURALS[unit]}." if nearest else "."
            made.append(Found(loc, words, f"a number that divides {runs}", remedy))
        else:
            made += _enough(brief, unit, count)
        above, name_above = count, unit
    return made


def units_needed(brief: Brief, unit: str) -> int:
    """The fewest units of a kind that tell what is judged between them, with one more for their error."""
    place = {unit: at for at, unit in enumerate((*optimal.UNITS, "run"))}
    of = {
        item.name: item.undo if item.name in optimal.plots_of(brief).get(item.undo, ()) else "run"
        for item in brief.factors
    }
    own = tuple(
        term
        for term in optimal.terms(brief)
        if all(name in of for name in term) and max(place[of[name]] for name in term) <= place[unit]
    )
    needed = optimal.space(brief, asked=own).parameters + 1
    if "build" not in optimal.plots_of(brief) and brief.block_by == "build":
        needed += brief.plan.split_over - 1
    return needed


def _enough(brief: Brief, unit: str, count: int) -> list[Found]:
    """Fewer whole plots than are needed."""
    if brief.plan.model not in optimal.MODELS or any(len(pair) != 2 for pair in brief.plan.interactions):
        return []
    needed = units_needed(brief, unit)
    if count >= needed:
        return []
    words = (
        f"{count} {_PLURALS[unit]} for {needed - 1} parameters that are told between them, which leaves nothing to "
        f"judge these by"
    )
    return [Found(("plan", "plots", unit), words, f"{needed} at least")]


def _numbers(brief: Brief) -> list[Found]:
    """Numbers out of range."""
    given, made = brief.plan, []
    if given.repeat_points < 0:
        made.append(Found(("plan", "repeat_points"), number(given.repeat_points), "a whole number from 0 up"))
    elif (most := _most_repeats(brief)) is not None and given.repeat_points > most:
        unit = list(optimal.plots_of(brief))[-1]
        words = f"{number(given.repeat_points)}, though a run and its repeat lie in one {_NAMES[unit]}, "
        words += f"of {_held(brief)}"
        remedy = f"Take fewer {_PLURALS[unit]}, or more sets (builds or replicates), which repeat everything."
        made.append(Found(("plan", "repeat_points"), words, f"{most} at most" if most else "0", remedy))
    elif given.runs and given.repeat_points > given.runs // 2:
        words = f"{number(given.repeat_points)} of {given.runs} runs"
        remedy = "Take more sets (builds or replicates) where everything is to be repeated."
        made.append(Found(("plan", "repeat_points"), words, f"{given.runs // 2} at most", remedy))
    if not math.isfinite(given.variance_ratio) or given.variance_ratio < 0.0:
        made.append(Found(("plan", "variance_ratio"), number(given.variance_ratio), "a number, 0 or more"))
    elif given.variance_ratio != 1.0 and not optimal.plots_of(brief):
        words = f"{number(given.variance_ratio)} though no factor is kept over several runs"
        made.append(Found(("plan", "variance_ratio"), words, "left out", "Delete it."))
    return made


def _held(brief: Brief) -> str:
    """How many runs the finest units of a set hold, in words."""
    each = brief.plan.runs // brief.plan.plots[list(optimal.plots_of(brief))[-1]]
    return f"{each} run{'s' * (each != 1)} each"


def _most_repeats(brief: Brief) -> int | None:
    """How many runs of a set can repeat another one of the same unit; None where nothing is kept, or not yet known."""
    kinds = list(optimal.plots_of(brief))
    count = brief.plan.plots.get(kinds[-1], 0) if kinds else 0
    return count * (brief.plan.runs // count // 2) if count > 0 and brief.plan.runs else None


def _asked(brief: Brief) -> list[Found]:
    """Comparisons of interactions that are not in the stated model, and so would not be told."""
    if brief.plan.model not in optimal.MODELS:
        return []
    held = [frozenset(term) for term in optimal.terms(brief)]
    made = []
    for at, item in enumerate(brief.comparisons):
        if item.interaction and frozenset(item.interaction) not in held:
            told = " × ".join(item.interaction)
            words = f"{told}, which is not in the model of the optimal design"
            listed = ", ".join(f'"{name}"' for name in item.interaction)
            remedy = (
                f"Add [{listed}] to [plan] interactions."
                if len(item.interaction) == 2
                else "Ask for interactions of two."
            )
            made.append(Found(("comparison", at, "interaction"), words, "an interaction of the model", remedy))
    return made


def _blocks(brief: Brief) -> list[Found]:
    """Sets that cannot be spread evenly over builds."""
    over, runs = brief.plan.split_over, brief.plan.runs
    if over > 1 and "build" in optimal.plots_of(brief):
        words = f"{over} though builds are units of a factor"
        return [Found(("plan", "split_over"), words, "1", "Say by plots = { build = ... } how many one set has.")]
    if over > 1 and brief.block_by == "build" and runs and (runs % over or runs // over < 2):
        fit = [one for one in range(1, runs // 2 + 1) if runs % one == 0]
        nearest = min(fit, key=lambda one: abs(one - over), default=1)
        words = f"{runs} runs cannot be spread evenly over {over} builds of two runs or more"
        higher = max(runs - runs % over + over, 2 * over)
        return [
            Found(
                ("plan", "split_over"), words, f"a number that divides {runs}", f"Take {nearest}, or runs = {higher}."
            )
        ]
    return []


def _runs(brief: Brief) -> list[Found]:
    """More terms than runs, or no number of runs."""
    runs, least = brief.plan.runs, fewest(brief)
    loc: Loc = ("plan", "runs")
    if least > MOST_RUNS:
        words = f"{least} parameters"
        return [
            Found(("plan", "model"), words, f"{MOST_RUNS} at most", "Name fewer interactions, or take fewer levels.")
        ]
    if not runs:
        remedy = f"{least + max(4, least // 4)} leave some degrees of freedom for the error."
        return [Found(loc, "0, so the number of runs is not chosen", f"{least} at least", remedy)]
    if runs < least:
        repeats = brief.plan.repeat_points
        why = f"{optimal.space(brief).parameters} parameters ({_parts(brief)})"
        why += f", {brief.plan.split_over} builds" if brief.plan.split_over > 1 else ""
        why += f" and {repeats} runs that repeat others" if repeats else ""
        words = f"{runs} for {why}"
        return [Found(loc, words, f"{least} at least", _smaller(brief, runs))]
    return []


def _parts(brief: Brief) -> str:
    """What the parameters of the model are, in words."""
    found = optimal.terms(brief)
    main = optimal.space(brief, asked=tuple(term for term in found if len(term) == 1)).parameters - 1
    rest = optimal.space(brief).parameters - 1 - main
    return f"the mean, {main} of main effects" + (f", {rest} of interactions" if rest else "")


def _smaller(brief: Brief, runs: int) -> str:
    """A smaller model that so many runs tell, where there is one."""
    main = optimal.space(brief, asked=tuple((name,) for name in brief.factor_names)).parameters
    if len(optimal.terms(brief)) > len(brief.factors) and main + brief.plan.repeat_points <= runs:
        return f"Main effects alone are {main} parameters, which {runs} runs tell."
    return "Take more runs, or fewer factors or levels."
