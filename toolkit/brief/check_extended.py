"""Checks of the runs that tell more than the main phase: fold-overs, axial points, runs that free effects (rank 2).

Each refusal names the nearest that can be.
"""

from __future__ import annotations

from itertools import combinations

from toolkit.brief import arrays, axial_points, check_designs, check_plan, designs, extensions
from toolkit.brief.found import Found, Loc, number, quoted
from toolkit.brief.model import UNDONE, Brief
from toolkit.errors import listing
from toolkit.numeric.fractions import Fraction

_WHERE: Loc = ("extension", "design")
# Below nought a level of anything but a temperature cannot be set.
_BELOW_NOUGHT = ("_degC",)


def layout(brief: Brief, undo: tuple[Loc, ...]) -> list[Found]:
    """Units of several runs, which runs of these kinds would not hold evenly."""
    given = brief.extension
    if given.design not in extensions.KINDS or given.design == extensions.SAME:
        return []
    held = [
        item
        for item in brief.factors
        if item is not None and item.undo in ("part", "fill") and item.undo not in (brief.new_each_run or ())
    ]
    if not held:
        return []
    words = f"{quoted(given.design)} though factor {quoted(held[0].name or '')} is kept with its {held[0].undo}"
    remedy = (
        f"Each {held[0].undo} of such runs would hold another part of the combinations than those of the main phase. "
        f"Further sets as they were are design = '{extensions.SAME}'."
    )
    return [Found(_WHERE, words, "factors that change from run to run", remedy, rests_on=undo)]


def deep(brief: Brief) -> list[Found]:
    """What can only be told once the plan and the keys of the extension are in order."""
    given = brief.extension
    if given.design not in extensions.JOINED or not _whole(brief) or check_plan.plan(brief):
        return []
    if given.design == extensions.AXIAL:
        return _axial(brief)
    kind = brief.plan.design
    if kind not in designs.TWO_LEVEL:
        remedy = (
            f"It holds every combination already: repeat them with design = '{extensions.SAME}'."
            if kind == designs.FULL
            else f"Only two-level plans are folded or freed; design = '{extensions.SAME}' makes the set again."
        )
        return [Found(_WHERE, f"{quoted(given.design)} of {_a(kind)} plan", listing(designs.TWO_LEVEL), remedy)]
    made = _builds(brief)
    if given.design == extensions.SEMIFOLD and not given.half:
        name = brief.factors[-1].name
        remedy = f'Write half = {{ {name} = "{brief.factors[-1].names[1]}" }}, for example.'
        made.append(Found(("extension", "half"), "left out of a semifold", "a level of one factor", remedy))
    if kind != designs.FRACTION:
        return made + (_named(brief) if given.design == extensions.FREEING else [])
    found = arrays.fraction_of(brief)
    if found is None or not found.words:
        words = f"{quoted(given.design)} of a plan that holds every combination"
        remedy = f"Nothing is aliased in it: repeat it with design = '{extensions.SAME}'."
        return [*made, Found(_WHERE, words, "a plan that runs a part of the combinations", remedy)]
    if given.design == extensions.FREEING:
        return made + (_named(brief) or _freed(brief, found))
    return made + _folded(brief, found)


def _a(kind: str) -> str:
    """The word of a design with its article."""
    return f"{'an' if kind == designs.OPTIMAL else 'a'} {kind}"


def _whole(brief: Brief) -> bool:
    """True when nothing of the factors, the plan and the extension was refused before."""
    return (
        all(
            item is not None and item.name and item.undo in UNDONE and item.levels and None not in item.levels
            for item in brief.factors
        )
        and all(item is not None and item.interaction is not None for item in brief.comparisons)
        and None not in vars(brief.plan).values()
        and all(value is not None for key, value in vars(brief.extension).items() if key != "detectable_ratio")
        and brief.block_by in (None, "build")
        and not check_designs.design(brief)
    )


def _builds(brief: Brief) -> list[Found]:
    """Builds that do not hold whole mirror images of the set."""
    given, over = brief.extension, brief.plan.split_over
    if given.design not in (extensions.FOLD, extensions.SEMIFOLD) or not given.builds % over:
        return []
    words = f"{number(given.builds)}, though one set is spread over {over} builds"
    below = given.builds - given.builds % over
    return [
        Found(("extension", "builds"), words, f"{f'{below} or ' if below else ''}{below + over}")
    ]


def _folded(brief: Brief, found: Fraction) -> list[Found]:
    """A fold-over that runs the same combinations again."""
    given, names = brief.extension, brief.factor_names
    swapped = {names.index(name) for name in given.swap} or set(range(len(names)))
    if any(len(swapped.intersection(word)) % 2 for word in found.words):
        return []
    one = names[found.words[0][0]]
    what = " and ".join(given.swap) if given.swap else "every factor"
    words = f"{what} swapped gives the combinations that the main phase ran already"
    remedy = f'Write swap = ["{one}"], which frees {one} and all its interactions of two.'
    return [Found(("extension", "swap"), words, "factors whose swap gives other combinations", remedy)]


def _named(brief: Brief) -> list[Found]:
    """No effect to free."""
    if brief.extension.free:
        return []
    remedy = 'Name one effect of each alias chain, such as free = [["pin", "oil"]].'
    return [Found(("extension", "free"), "no effect named", "the effects to be told apart", remedy)]


def _freed(brief: Brief, found: Fraction) -> list[Found]:
    """Effects that stand clear already."""
    names, made = brief.factor_names, []
    effects = [one for size in (1, 2) for one in combinations(range(found.factors), size)]
    for at, given in enumerate(brief.extension.free):
        own = tuple(sorted(names.index(name) for name in given))
        alike = [one for one in effects if one != own and _column(found, one) == _column(found, own)]
        if not alike:
            words = f"{' × '.join(given)} is aliased with no main effect and no interaction of two"
            chains = _chains(found, names)
            expected = f"effects of these chains: {'; '.join(chains[:3])}" if chains else "no [extension] of this kind"
            made.append(Found(("extension", "free", at), words, expected))
    return made


def _chains(found: Fraction, names: tuple[str, ...]) -> list[str]:
    """The alias chains of main effects and interactions of two, in words."""
    held: dict[int, list[str]] = {}
    for size in (1, 2):
        for one in combinations(range(found.factors), size):
            held.setdefault(_column(found, one), []).append(" × ".join(names[at] for at in one))
    return [" = ".join(chain) for chain in held.values() if len(chain) > 1]


def _column(found: Fraction, effect: tuple[int, ...]) -> int:
    """The column of an effect."""
    made = 0
    for at in effect:
        made ^= found.columns[at]
    return made


def _axial(brief: Brief) -> list[Found]:
    """Axial points that cannot be."""
    given, kind = brief.extension, brief.plan.design
    if kind not in (designs.FULL, designs.FRACTION):
        words = f"{quoted(given.design)} beside {_a(kind)} plan"
        return [Found(_WHERE, words, f"'{designs.FULL}' or '{designs.FRACTION}' of numbers at two levels")]
    made = []
    for at, item in enumerate(brief.factors):
        if not item.numeric or len(item.levels) != 2:
            words = "names" if not item.numeric else f"{len(item.levels)} levels"
            loc: Loc = ("factor", at, "levels")
            remedy = f"Without numbers there is no axial point: design = '{extensions.SAME}' makes further runs."
            made.append(Found(loc, f"{words}, though [extension] adds axial points", "two numbers", remedy))
    if not 2 <= len(brief.factors) <= 7:
        made.append(Found(_WHERE, f"{quoted(given.design)} for {len(brief.factors)} factors", "2 to 7 factors"))
    if given.axial not in extensions.DISTANCES:
        found = quoted(given.axial) if given.axial else "left out"
        made.append(Found(("extension", "axial"), found, listing(extensions.DISTANCES)))
    if not given.centre_points and not brief.plan.centre_points:
        words = "0, and the main phase has none: squares could not be told from the difference between the phases"
        made.append(Found(("extension", "centre_points"), words, "1 or more"))
    if made or not axial_points.cube_runs(brief):
        return made
    return _outside(brief)


def _outside(brief: Brief) -> list[Found]:
    """Axial levels below nought of what has no values there."""
    made = []
    for at, item in enumerate(brief.factors):
        low = min(float(level.value) for level in item.levels)
        edge = min(float(name) for name in axial_points.levels(brief, item))
        if low >= 0.0 > edge and not item.name.endswith(_BELOW_NOUGHT):
            words = f"the axial points of {quoted(item.name)} would lie at {number(edge)}, below nought"
            remedy = f"Write axial = '{extensions.DISTANCES[0]}': it keeps to the levels of the main phase."
            made.append(Found(("extension", "axial"), words, "levels that can be set", remedy, rests_on=(
                ("factor", at, "levels"),)))  # fmt: skip
    return made

