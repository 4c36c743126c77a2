"""Checks of two-level fractions whose factors are changed with builds, parts or fills (rank 2)."""

from __future__ import annotations

from toolkit.brief import arrays, plots
from toolkit.brief.found import Found, Loc, number, quoted
from toolkit.brief.model import Brief
from toolkit.errors import ModelError
from toolkit.numeric.fraction_classes import BASICS
from toolkit.wording import joined

_WHERE: Loc = ("plan", "design")
_MANY = {"build": "builds", "part": "sets of parts", "fill": "fills"}


def blocks(brief: Brief) -> list[Found]:
    """Units in which every run would be the same, sets over blocks, and centre points."""
    chain = plots.chain(brief)
    made = []
    if max(plots.layers(brief)) < len(chain) - 1:
        last = chain[-2]
        words = f"every factor is changed with the {last} or what holds it, so that the runs of a {last} are the same"
        remedy = f'Put "{last}" into new_each_run, or choose the full factorial.'
        made.append(Found(_WHERE, words, "a factor that changes from run to run", remedy))
    if brief.plan.split_over > 1 and chain[0] != "build":
        words = f"{brief.plan.split_over} where a {chain[0]} is kept over several runs"
        made.append(Found(("plan", "split_over"), words, "1", "A build, or a randomisation, holds the whole set."))
    if brief.plan.centre_points > 0:
        kept = [item.name for item, layer in zip(brief.factors, plots.layers(brief), strict=True) if layer == 0]
        words = f"{number(brief.plan.centre_points)} where {joined(kept)} is changed with the {chain[0]}"
        remedy = "Make a plan without them: its coarser units are compared with units of their own kind."
        made.append(Found(("plan", "centre_points"), words, "0", remedy))
    return made


def units(brief: Brief) -> list[Found]:
    """Numbers of builds, parts or fills in a set that cannot be."""
    try:
        plots.fraction_of(brief, (), ())
    except ModelError:
        pass
    else:
        return []
    chain, layers, basics = plots.chain(brief), plots.layers(brief), BASICS[brief.plan.runs]
    own = layers.count(0)
    most = min(own, basics - (len(chain) - 1))
    fit = " or ".join(str(1 << power) for power in range(1, most + 1))
    if brief.plan.split_over > 1 and fit:
        words = f"{brief.plan.split_over} builds for {own} factors changed with them, in {brief.plan.runs} runs"
        remedy = "Left out: all combinations of these factors, or as many as the runs hold."
        return [Found(("plan", "split_over"), words, fit, remedy)]
    told = joined([_MANY[unit] for unit in chain[:-1]])
    words = f"{brief.plan.runs}, too few to hold {told} of several runs each"
    return [Found(("plan", "runs"), words, " or ".join(str(size) for size in BASICS if size > brief.plan.runs))]


def not_found(brief: Brief) -> Found:
    """That no fraction in units keeps what is to be kept, and what does."""
    clear, asked = arrays.kept_pairs(brief), arrays.asked_pairs(brief)
    chain, sizes = plots.chain(brief), plots.units_of_set(brief)
    told = joined([f"{size} {_MANY[unit]}" for size, unit in zip(sizes, chain, strict=False)])
    names = brief.factor_names
    pairs = ", ".join(f"{names[one]} × {names[other]}" for one, other in sorted({*clear, *asked}))
    what = f"keeps {pairs} apart" if pairs else "keeps every main effect apart"
    words = f"no fraction of {len(names)} factors in {brief.plan.runs} runs and {told} {what}"
    loc: Loc = ("plan", "keep_clear") if clear else ("plan", "runs")
    return Found(loc, words, "more runs" + (", or fewer interactions" if pairs else ", or more builds of fewer runs"))


def resolution(brief: Brief, found: int) -> Found:
    """That the units leave a lower resolution than is asked for."""
    chain, sizes = plots.chain(brief), plots.units_of_set(brief)
    told = joined([f"{size} {_MANY[unit]}" for size, unit in zip(sizes, chain, strict=False)])
    words = f"{brief.plan.resolution}, but {told} in {brief.plan.runs} runs leave resolution {found}"
    remedy = f"Take resolution = {found}, more runs, or put {quoted(chain[0])} into new_each_run."
    return Found(("plan", "resolution"), words, f"{found} or less", remedy)
