"""Checks of the chosen design: what its factors, runs and builds must be, and what cannot be at all (rank 2)."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from toolkit.brief import arrays, check_blocked, check_optimal, check_plots, designs, plots
from toolkit.brief.found import Found, Loc, number, quoted
from toolkit.brief.model import UNDONE, Brief, PlanChoice
from toolkit.errors import ModelError, listing, nearest
from toolkit.numeric import fraction_classes, fractions, screening, surfaces

_WHERE: Loc = ("plan", "design")
# A level may lie this far from where the design wants it, in coded units.
_NEAR = 0.01
# Of more interactions that are to be kept clear no largest part is looked for.
_MOST_PARTS = 8


def design(brief: Brief) -> list[Found]:
    """What is wrong with the chosen design and with the keys that go with it."""
    given = brief.plan
    if given.design is None:
        return []
    if given.design not in designs.DESIGNS:
        return [Found(_WHERE, quoted(given.design), listing(designs.DESIGNS), nearest(given.design, designs.DESIGNS))]
    made = _foreign_keys(given) + _numbers(given) + _pairs_known(brief) + _taken_as_nil(brief)
    if given.design == designs.FULL or not _whole(brief):
        return made
    if given.design == designs.OPTIMAL:
        return made + (_blocks(brief) or check_optimal.design(brief))
    made += _units(brief) + _factors(brief) + _blocks(brief)
    if given.design in designs.IN_BUILDS:
        return made or check_blocked.design(brief)
    if made:
        return made
    if given.design == designs.FRACTION:
        return _fraction(brief)
    if given.design == designs.PLACKETT_BURMAN:
        made = _plackett_burman(brief)
    elif given.design in designs.SECOND_ORDER:
        made = _surface(brief)
    return made + _interactions_asked(brief)


def _whole(brief: Brief) -> bool:
    """True when nothing of the factors, the comparisons and the plan was refused before."""
    factors = [item for item in brief.factors if item is not None]
    return (
        len(factors) == len(brief.factors)
        and all(item.name and item.undo in UNDONE and item.levels and None not in item.levels for item in factors)
        and all(item is not None and item.interaction is not None for item in brief.comparisons)
        and None not in vars(brief.plan).values()
        and all(name in brief.factor_names for item in brief.comparisons for name in item.interaction)
    )


def _foreign_keys(given: PlanChoice) -> list[Found]:
    """Keys of another design."""
    usual = PlanChoice()
    made = []
    for key, takes in designs.KEYS.items():
        value = getattr(given, key)
        if value is not None and value != getattr(usual, key) and given.design not in takes:
            words = f"set, though design = {quoted(given.design)} has no use for it"
            remedy = f"Delete it, or choose design = {listing(takes)}."
            made.append(Found(("plan", key), words, "left out", remedy))
    return made


def _numbers(given: PlanChoice) -> list[Found]:
    """Numbers out of range."""
    made = []
    most = check_optimal.MOST_RUNS if given.design == designs.OPTIMAL else 64
    ranges = (("runs", 0, most), ("resolution", 0, 15), ("split_over", 1, 32), ("interactions_up_to", 0, 15))
    for key, low, high in (*ranges, ("runs_in_build", 0, 64)):
        value = getattr(given, key)
        if value is not None and not low <= value <= high:
            made.append(Found(("plan", key), number(value), f"a whole number from {low} to {high}"))
    if given.axial and given.axial not in surfaces.KINDS:
        made.append(Found(("plan", "axial"), quoted(given.axial), listing(surfaces.KINDS)))
    return made


def _pairs_known(brief: Brief) -> list[Found]:
    """Interactions to keep clear that are none."""
    made = []
    names = [item.name for item in brief.factors if item is not None and item.name]
    for at, pair in enumerate(brief.plan.keep_clear or ()):
        if pair is None or any(name is None for name in pair):
            continue
        loc: Loc = ("plan", "keep_clear", at)
        if len(pair) != 2 or len(set(pair)) != 2:
            made.append(Found(loc, f"{len(pair)} names: {' × '.join(pair)}", "two different factors"))
        made += [Found(loc, f"{quoted(name)} is no factor", listing(names)) for name in pair if name not in names]
    return made


def _taken_as_nil(brief: Brief) -> list[Found]:
    """Interactions that are asked for, or to be kept clear, and taken as nil."""
    most = brief.plan.interactions_up_to
    if not most or most < 0:
        return []
    asked = [
        (("comparison", at, "interaction"), item.interaction)
        for at, item in enumerate(brief.comparisons)
        if item is not None
    ]
    asked += [(("plan", "keep_clear", at), pair) for at, pair in enumerate(brief.plan.keep_clear or ())]
    return [
        Found(
            loc,
            f"an interaction of {len(names)} factors, though [plan] interactions_up_to = {most} takes it as nil",
            f"interactions of up to {most} factors" if most > 1 else "no interaction",
            "Raise interactions_up_to, or delete one of the two.",
        )
        for loc, names in asked
        if names and len(names) > most
    ]


def _units(brief: Brief) -> list[Found]:
    """A factor that is not new in every run."""
    held = [item for item in brief.factors if item.undo != "setting" and item.undo not in brief.new_each_run]
    if not held or plots.used(brief):
        return []
    words = f"{quoted(brief.plan.design)} though factor {quoted(held[0].name)} is changed with the {held[0].undo}"
    remedy = f'Put "{held[0].undo}" into new_each_run, or choose the full factorial.'
    return [Found(_WHERE, words, "factors that can change from run to run", remedy)]


def _factors(brief: Brief) -> list[Found]:
    """Too many or too few factors, or other levels than the design has."""
    kind = brief.plan.design
    count = len(brief.factors)
    low, high = designs.FEWEST_FACTORS[kind], designs.MOST_FACTORS[kind]
    if not low <= count <= high:
        words = f"{quoted(kind)} for {count} factor{'s' * (count != 1)}"
        return [Found(_WHERE, words, f"{low} to {high} factors", _instead(brief, count))]
    if kind in designs.TWO_LEVEL:
        odd = [item for item in brief.factors if len(item.levels) != 2]
        remedy = (
            "For factors of two and three levels there is the 18-run array, for numbers the three-level designs; any "
            "other mixture is searched for by design = 'optimal'."
        )
        return _levels(brief, odd, "two levels", remedy)
    if kind in designs.IN_BUILDS:
        return []
    if kind == designs.EIGHTEEN:
        two = [item for item in brief.factors if len(item.levels) == 2]
        odd = [item for item in brief.factors if len(item.levels) not in (2, 3)]
        made = _levels(brief, odd, "two or three levels", "Take levels out, or choose design = 'optimal'.")
        three = count - len(two)
        if not made and (len(two) > 1 or not 1 <= three <= 7):
            words = f"{len(two)} factors of two levels and {three} of three"
            remedy = (
                "Give a factor a third level, or choose design = 'optimal' or the full factorial (`wearbook size` "
                "tells their runs)."
            )
            made.append(Found(_WHERE, words, "one factor of two levels at most, one to seven of three", remedy))
        return made
    return _steps(brief)


def _instead(brief: Brief, count: int) -> str:
    """Another design for so many factors, where there is one."""
    sizes = {len(item.levels) for item in brief.factors}
    wanted = designs.TWO_LEVEL if sizes == {2} else (designs.FULL,)
    fits = [one for one in wanted if designs.FEWEST_FACTORS[one] <= count <= designs.MOST_FACTORS[one]]
    return f"Choose design = {listing(fits)}." if fits else "Take other factors, or fewer."


def _levels(brief: Brief, odd: list[Any], expected: str, remedy: str) -> list[Found]:
    """Factors with another number of levels than the design has."""
    return [
        Found(
            ("factor", brief.factors.index(item), "levels"),
            f"{len(item.levels)} levels in a {brief.plan.design} plan",
            expected,
            remedy,
        )
        for item in odd
    ]


def _steps(brief: Brief) -> list[Found]:
    """Numeric levels where the design wants them."""
    kind = brief.plan.design
    if kind == designs.COMPOSITE and not brief.plan.axial:
        return [Found(("plan", "axial"), "left out", listing(surfaces.KINDS))]
    try:
        steps = arrays.steps_of(brief)
    except ModelError:
        # Told by _surface with its own words.
        return []
    made = []
    for at, item in enumerate(brief.factors):
        loc: Loc = ("factor", at, "levels")
        if kind == designs.THREE_LEVELS and not item.numeric and len(item.levels) == 3:
            remedy = "The middle level must lie half-way: give numbers."
            made.append(Found(loc, "names", f"three numbers in a {kind} plan", remedy))
        elif not item.numeric:
            made.append(Found(loc, "names", f"{len(steps)} numbers in a {kind} plan"))
        elif len(item.levels) != len(steps):
            words = f"{len(item.levels)} levels in a {kind} plan"
            made.append(Found(loc, words, f"{len(steps)} levels", _would_be(item, steps)))
        elif max(abs(one - other) for one, other in zip(arrays.coded(item), steps, strict=True)) > _NEAR:
            words = f"levels at {', '.join(f'{value:.3g}' for value in arrays.coded(item))} in coded units"
            expected = ", ".join(f"{value:.4g}" for value in steps)
            made.append(Found(loc, words, expected, _would_be(item, steps)))
    return made


def _would_be(factor: Any, steps: tuple[float, ...]) -> str:
    """The levels a factor would have, keeping its middle and its low and high setting."""
    values = sorted(float(level.value) for level in factor.levels)
    low, high = (values[1], values[-2]) if len(values) == 5 else (values[0], values[-1])
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    return f"Write levels = [{', '.join(f'{middle + half * step:.6g}' for step in steps)}]."


def _blocks(brief: Brief) -> list[Found]:
    """Sets spread over builds that are no blocks."""
    if plots.used(brief):
        return check_plots.blocks(brief)
    over = brief.plan.split_over
    if over > 1 and brief.block_by != "build":
        words = f"{over} though builds are no blocks"
        return [Found(("plan", "split_over"), words, "1", 'Add [blocks] with by = "build".')]
    return []


def _fraction(brief: Brief) -> list[Found]:
    """A two-level fraction that cannot be, with the nearest that can."""
    count, runs = len(brief.factors), brief.plan.runs
    if not runs:
        fit = [one for one in fraction_classes.BASICS if count < one <= 2**count]
        return [Found(("plan", "runs"), "0, so the size of the fraction is not chosen", " or ".join(map(str, fit)))]
    try:
        least = fractions.minimum_aberration(count, runs)
        if plots.used(brief) and (wrong := check_plots.units(brief)):
            return wrong
        found = arrays.fraction_of(brief)
    except ModelError as problem:
        line = str(problem).split("runs: ")[-1].rstrip(".")
        what, _, expected = line.partition("; expected ")
        return [Found(("plan", "runs"), what, expected or "4, 8, 16, 32 or 64")]
    asked = brief.plan.resolution
    if least.resolution is not None and asked > least.resolution:
        return [_no_resolution(count, runs, asked, least.resolution)]
    if found is None:
        return [check_plots.not_found(brief) if plots.used(brief) else _not_kept(brief)]
    if found.resolution is not None and asked > found.resolution and plots.used(brief):
        return [check_plots.resolution(brief, found.resolution)]
    if found.resolution is not None and asked > found.resolution:
        words = f"{asked}, but what is to be kept leaves resolution {found.resolution} in {runs} runs"
        remedy = "Or keep fewer interactions clear."
        return [Found(("plan", "resolution"), words, f"{found.resolution} or less", remedy)]
    return ([] if plots.used(brief) else _split(brief, found)) + _long_asked(brief, found)


def _long_asked(brief: Brief, found: fractions.Fraction) -> list[Found]:
    """Comparisons of interactions of three factors and more, which a fraction tells under a shorter name if at all."""
    made = []
    for at, item in enumerate(brief.comparisons):
        if len(item.interaction) > 2 and found.words:
            words = f"{' × '.join(item.interaction)} in a fraction, where it shares its contrast with other effects"
            remedy = "Ask for interactions of two, or choose the full factorial."
            made.append(Found(("comparison", at, "interaction"), words, "two factors", remedy))
    return made


def _no_resolution(count: int, runs: int, asked: int, best: int) -> Found:
    """That a resolution cannot be, why, and what can."""
    terms = 1 + count + (count * (count - 1) // 2 if asked >= 5 else 0)
    why = f"the mean, {count} main effects" + (f" and {terms - 1 - count} interactions of two" if asked >= 5 else "")
    reason = f" ({why} are {terms} terms)" if terms > runs else " (every kind of such fractions was gone through)"
    more = fractions.smallest(count, asked)
    nearest = f"{more} runs give it" if more else "no fraction of 64 runs gives it"
    words = f"{asked} for {count} factors in {runs} runs, which cannot be{reason}"
    return Found(("plan", "resolution"), words, f"{best} at most", f"Take resolution = {best}; {nearest}.")


def _not_kept(brief: Brief) -> Found:
    """That no fraction keeps what is to be kept, why, and what can be kept."""
    count, runs = len(brief.factors), brief.plan.runs
    clear, asked = arrays.kept_pairs(brief), arrays.asked_pairs(brief)
    names = brief.factor_names
    every = sorted({*clear, *asked})
    terms = 1 + count + len(every)
    kinds = len(fraction_classes.classes(runs, factors=count))
    why = (
        f"with the mean and the main effects they are {terms} terms"
        if terms > runs
        else f"all {kinds} kinds of such fractions were gone through"
        if runs <= fraction_classes.PROVED
        else "none was found"
    )
    told = ", ".join(f"{names[one]} × {names[other]}" for one, other in every)
    words = f"no fraction of {count} factors in {runs} runs keeps {told} apart ({why})"
    more = next(
        (
            size
            for size in fraction_classes.BASICS
            if runs < size <= 2**count and fractions.keeping(count, size, clear, apart=asked) is not None
        ),
        None,
    )
    part = _largest_part(count, runs, clear)
    remedy = f"{more} runs do." if more else ""
    if part:
        remedy += f" In {runs} runs {', '.join(f'{names[one]} × {names[other]}' for one, other in part)} can be clear."
    loc: Loc = ("plan", "keep_clear") if clear else ("plan", "runs")
    return Found(loc, words, "fewer interactions, or more runs", remedy.strip())


def _largest_part(count: int, runs: int, clear: tuple[fractions.Pair, ...]) -> tuple[fractions.Pair, ...]:
    """The most of the interactions that can be clear at a time; none where there are too many to go through."""
    for size in range(len(clear) - 1, 0, -1) if len(clear) <= _MOST_PARTS else ():
        for part in combinations(clear, size):
            if fractions.keeping(count, runs, part) is not None:
                return part
    return ()


def _split(brief: Brief, found: fractions.Fraction) -> list[Found]:
    """A fraction that cannot be spread over so many builds."""
    from toolkit.numeric import fraction_blocks

    over = brief.plan.split_over
    if over == 1:
        return []
    try:
        fraction_blocks.in_blocks(found, over, keep=(*arrays.kept_pairs(brief), *arrays.asked_pairs(brief)))
    except ModelError as problem:
        what, _, expected = str(problem).split("blocks: ")[-1].rstrip(".").partition("; expected ")
        return [Found(("plan", "split_over"), what.replace("blocks", "builds"), expected.replace("blocks", "builds"))]
    return []


def _plackett_burman(brief: Brief) -> list[Found]:
    """Runs that a Plackett-Burman plan does not have."""
    runs, count = brief.plan.runs, len(brief.factors)
    fit = [one for one in screening.PLACKETT_BURMAN if one > count]
    if runs and runs not in fit:
        words = f"{runs} for {count} factors"
        remedy = "16 runs are a two-level fraction." if runs == 16 else ""
        return [Found(("plan", "runs"), words, " or ".join(map(str, fit)), remedy)]
    return []


def _surface(brief: Brief) -> list[Found]:
    """A response-surface plan that cannot be laid out."""
    over = brief.plan.split_over
    count = len(brief.factors)
    if brief.plan.design == designs.COMPOSITE and over > 1 and brief.plan.axial != surfaces.BLOCKED:
        words = f"{over} in a {brief.plan.axial} plan"
        remedy = f"Choose axial = '{surfaces.BLOCKED}': its axial runs are a build of their own."
        return [Found(("plan", "split_over"), words, "1", remedy)]
    if brief.plan.design == designs.COMPOSITE and over == 1 and brief.plan.axial == surfaces.BLOCKED:
        words = f"1 in a plan of {surfaces.BLOCKED}"
        return [Found(("plan", "split_over"), words, "2 or more: the cube in one build or more, the axial runs in one")]
    possible = surfaces.BOX_BEHNKEN_BLOCKS.get(count)
    if brief.plan.design == designs.BOX_BEHNKEN and over not in (1, possible):
        return [Found(("plan", "split_over"), number(over), f"1 or {possible}" if possible != 1 else "1")]
    try:
        arrays.surface_of(brief)
    except ModelError as problem:
        line = str(problem).split("\n  ")[-1].rstrip(".")
        what, _, expected = line.partition("; expected ")
        return [Found(("plan", "split_over"), what, expected.replace("blocks", "builds"))]
    return []


def _interactions_asked(brief: Brief) -> list[Found]:
    """Comparisons of interactions that a screening plan cannot tell."""
    if brief.plan.design in designs.SECOND_ORDER:
        return []
    kept = {frozenset(pair) for pair in brief.plan.keep_clear}
    made = []
    for at, item in enumerate(brief.comparisons):
        if item.interaction and frozenset(item.interaction) not in kept:
            told = " × ".join(item.interaction)
            words = f"{told} in a {brief.plan.design} plan, which mixes interactions with others"
            remedy = f"Choose design = '{designs.FRACTION}' and name it in keep_clear."
            made.append(Found(("comparison", at, "interaction"), words, "main effects", remedy))
    return made
