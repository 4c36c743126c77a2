"""Checks of incomplete blocks and Latin squares: builds that are blocks, and what can be laid out (rank 2)."""

from __future__ import annotations

from toolkit.brief import extensions
from toolkit.brief.designs import BALANCED, FULL, INCOMPLETE, LATIN
from toolkit.brief.found import Found, Loc, number, quoted
from toolkit.brief.model import Brief
from toolkit.numeric import efficient_blocks, incomplete_blocks, latin_squares
from toolkit.numeric.incomplete_blocks import IncompleteBlocks

_WHERE: Loc = ("plan", "design")
_SIZE: Loc = ("plan", "runs_in_build")


def design(brief: Brief) -> list[Found]:
    """What is wrong with a plan of incomplete blocks, or of Latin squares."""
    made = _builds(brief) + _same_extension(brief)
    if made or brief.plan.design == LATIN:
        return made or _latin(brief)
    return _sizes(brief) or (_balanced(brief) if brief.plan.design == BALANCED else _incomplete(brief))


def runs_in_build(brief: Brief) -> int:
    """How many runs a build holds: as chosen, or as many as it lasts; 0 where neither says."""
    return brief.plan.runs_in_build or brief.most_runs_in_build or 0


def blocks_of(brief: Brief) -> IncompleteBlocks | None:
    """The blocks of the combinations, by their numbers; None where none are found."""
    make = incomplete_blocks.with_baseline if brief.plan.baseline_in_every_build else incomplete_blocks.balanced
    return make(len(brief.combinations), runs_in_build(brief))


def _builds(brief: Brief) -> list[Found]:
    """Builds that are no blocks, or hold a combination several times."""
    kind, made = brief.plan.design, []
    if brief.block_by != "build":
        words = f"{quoted(kind)} though builds are no blocks"
        made.append(Found(_WHERE, words, "builds as blocks", 'Add [blocks] with by = "build".'))
    if brief.plan.replicates > 1:
        words = f"{number(brief.plan.replicates)} in a {kind} plan"
        made.append(Found(("plan", "replicates"), words, "0 or 1", "Take more builds."))
    return made


def _same_extension(brief: Brief) -> list[Found]:
    """An extension of another kind than further builds."""
    if brief.extension is None or brief.extension.design == extensions.SAME:
        return []
    words = f"{quoted(brief.extension.design)} beside a {brief.plan.design} plan"
    return [Found(("extension", "design"), words, quoted(extensions.SAME))]


def _latin(brief: Brief) -> list[Found]:
    """A square that cannot be, or what does not go with it."""
    count, low, high = len(brief.combinations), latin_squares.FEWEST, latin_squares.MOST
    if not low <= count <= high:
        words = f"a {LATIN} for {count} {_things(brief)}"
        return [Found(_WHERE, words, f"{low} to {high}", f"Choose design = {quoted(FULL)} or {quoted(BALANCED)}.")]
    made = []
    if brief.most_runs_in_build is not None and brief.most_runs_in_build < count:
        words = f"{brief.most_runs_in_build} though a {LATIN} runs all {count} {_things(brief)} in every build"
        remedy = f"Choose design = {quoted(BALANCED)}, whose builds hold a part of them."
        made.append(Found(("blocks", "most_runs"), words, f"at least {count}", remedy))
    if brief.order is not None:
        words = f"set, though the places in the order are those of the {LATIN}"
        made.append(Found(("order",), words, "left out", "No comparison follows a drift that all builds share."))
    if brief.pilot is not None and brief.pilot.use == "block":
        words = f"'block' beside a {LATIN}, whose places its runs have no part in"
        made.append(Found(("pilot", "use"), words, "'scatter'"))
    return made


def _sizes(brief: Brief) -> list[Found]:
    """Numbers of what is compared, or of runs in a build, that no incomplete blocks have."""
    count, size = len(brief.combinations), runs_in_build(brief)
    most = incomplete_blocks.MOST_TREATMENTS
    if not 3 <= count <= most:
        words = f"{quoted(brief.plan.design)} for {count} {_things(brief)}"
        return [Found(_WHERE, words, f"3 to {most}", f"Choose design = {quoted(FULL)}.")]
    if brief.plan.baseline_in_every_build and len(brief.factors) > 1:
        words = f"true for {len(brief.factors)} factors, which have no one baseline"
        return [Found(("plan", "baseline_in_every_build"), words, "one factor, or false")]
    if not size:
        remedy = "Or say how many a build lasts: [blocks] most_runs."
        return [Found(_SIZE, "0, so it is not said how many runs a build holds", f"2 to {count - 1}", remedy)]
    if not 2 <= size < count:
        words = f"{size} for {count} {_things(brief)}"
        remedy = f"A build that holds them all is a complete block: choose design = {quoted(FULL)}." * (size >= count)
        return [Found(_SIZE, words, f"2 to {count - 1}", remedy)]
    if brief.most_runs_in_build is not None and size > brief.most_runs_in_build:
        return [Found(_SIZE, f"{size} though a build lasts {brief.most_runs_in_build}", "no more than it lasts")]
    return []


def _balanced(brief: Brief) -> list[Found]:
    """Balanced blocks that cannot be, why, and the nearest that can."""
    if blocks_of(brief) is not None:
        return []
    return [Found(_SIZE, *_none(brief, len(brief.combinations), runs_in_build(brief)))]


def _incomplete(brief: Brief) -> list[Found]:
    """Builds too few to join all that is compared, or too many to search for."""
    count, size, builds = len(brief.combinations), runs_in_build(brief), brief.plan.builds
    low, most = efficient_blocks.fewest(count, size), incomplete_blocks.MOST_BLOCKS
    if not builds or low <= builds <= most:
        return []
    words = f"{number(builds)} builds of {size} of {count} {_things(brief)}"
    if builds < low:
        words += ", which do not join all of them and leave an error"
    return [Found(("plan", "builds"), words, f"{low} to {most}")]


def _none(brief: Brief, count: int, size: int) -> tuple[str, str, str]:
    """That no blocks of a size are found: why, what is expected, and the nearest that can be."""
    beside = int(brief.plan.baseline_in_every_build)
    of, part = count - beside, size - beside
    most = incomplete_blocks.MOST_BLOCKS
    fewest, replications, _ = incomplete_blocks.smallest(of, part)
    why = incomplete_blocks.impossible(of, part, fewest)
    words = f"{size} of {count} {_things(brief)} in a build" + " beside the baseline" * beside
    if fewest > most:
        words += f": every two as often together takes {fewest} builds, more than {most}"
    else:
        words += f": none found of up to {most} builds"
        words += f" ({why})" if why else f" (counting would allow {fewest}, each in {replications} of them)"
    sizes = sorted((one for one in range(2, count) if one != size), key=lambda one: (abs(one - size), one))
    make = incomplete_blocks.with_baseline if beside else incomplete_blocks.balanced
    near = [(one, found) for one in sizes if (found := make(count, one)) is not None][:2]
    told = " or ".join(f"{one} ({len(found.blocks)} builds)" for one, found in sorted(near, key=lambda item: item[0]))
    remedy = "" if told else "Take levels out. "
    if not beside:
        low = efficient_blocks.fewest(count, size)
        remedy += f"Or choose design = {quoted(INCOMPLETE)}: {low} builds or more, the most efficient that is found."
    return words, told or "fewer levels", remedy.strip()


def _things(brief: Brief) -> str:
    """What is run in a build: levels of one factor, or combinations."""
    return "levels" if len(brief.factors) == 1 else "combinations"
