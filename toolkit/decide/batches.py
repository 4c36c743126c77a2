"""Batches of further runs that could be made, and the units they would be made in (rank 7)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import PHASES, Brief
from toolkit.design import base, incomplete_blocks, strata, units
from toolkit.design.strata import Strata

NEW_BUILD = "a new build"


def candidates(brief: Brief, laid: Strata) -> list[tuple[str, list[dict[str, str]]]]:
    """Batches of further runs to try, with the build they would be run in.

    Checked against: tests/unit/decide/test_next_runs.py.
    """
    if by_position.divided(brief):
        names = [item.name for item in by_position.of_whole_runs(brief)]
        every = [dict(zip(names, chosen, strict=True)) for chosen in by_position.run_combinations(brief)]
    else:
        every = [dict(zip(brief.factor_names, chosen, strict=True)) for chosen in base.lines(brief)]
    if units.kept(brief):
        # No amendment makes a run on parts or a fill that stand: further ones come as an extension.
        where = NEW_BUILD if laid.blocked else f"new {units.PLURALS[laid.units[0]]}"
        return [] if laid.units[0] == "build" else [(where, every)]
    if laid.plots:
        blocked = NEW_BUILD if laid.blocked else f"new {units.PLURALS[laid.units[0]]}"
        return [*_of_last_units(brief, laid, every), ("new builds" if laid.units[0] == "build" else blocked, every)]
    if laid.of_builds == strata.RANDOMISED:
        last = str(laid.runs["build_id"].iloc[-1]) if "build_id" in laid.runs else "B1"
        return [(last, [line]) for line in every] + [(last, list(pair)) for pair in combinations(every, 2)] + [
            (last, every)
        ]
    made = []
    last = str(_last(laid)["build_id"])
    held = int((laid.runs["build_id"] == last).sum())
    room = None if brief.most_runs_in_build is None else brief.most_runs_in_build - held
    if room is None or room >= 1:
        made += [(last, [line]) for line in every]
    if room is None or room >= 2:
        made += [(last, list(pair)) for pair in combinations(every, 2)]
    made += [(NEW_BUILD, [line]) for line in every]
    made += [(NEW_BUILD, list(pair)) for pair in combinations(every, 2)]
    if incomplete_blocks.used(brief):
        # A build does not hold every combination: those of one block of the design.
        blocks = incomplete_blocks.of_brief(brief).blocks
        return made + [(NEW_BUILD, [every[at] for at in block]) for block in blocks if len(block) > 2]
    made.append((NEW_BUILD, every))
    return made


def placed(laid: Strata, where: str, batch: Sequence[Mapping[str, str]]) -> pd.DataFrame:
    """A batch with its builds, and the parts and fills it runs with where these are kept over several runs.

    Checked against: tests/unit/decide/test_next_runs.py.
    """
    made = pd.DataFrame(list(batch))
    last = _last(laid)
    inside = where if not where.startswith("new ") or where == "new builds" else str(last["build_id"])
    made["build_id"] = _builds_of(laid.brief, inside, batch)
    kept = laid.id_columns[1:]
    if not kept:
        return made
    made = units.numbered(laid.brief, made.assign(replicate=1))
    return made.assign(**{name: "new " + made[name] for name in kept})


def _last(laid: Strata) -> pd.Series:
    """The last run, of the last phase."""
    order = next((name for name in ("actual_order", "planned_order") if name in laid.runs), None)
    runs = laid.runs
    if "phase" in runs:
        runs = runs[runs["phase"] == max(runs["phase"], key=PHASES.index)]
    return (runs.sort_values(order) if order else runs).iloc[-1]


def _builds_of(brief: Brief, where: str, batch: Sequence[Mapping[str, str]]) -> list[str]:
    """The build of each run of a batch: one, or one for each set of build-level levels."""
    if where != "new builds":
        return [f"{where} " if where == NEW_BUILD else where] * len(batch)
    upper = [item.name for item in brief.factors if strata.unit_of(brief, item) == "build"]
    return ["new build " + " ".join(line[name] for name in upper) for line in batch]


def _of_last_units(
    brief: Brief, laid: Strata, every: Sequence[dict[str, str]]
) -> list[tuple[str, list[dict[str, str]]]]:
    """Single runs and pairs that the units still standing could take: those of the last run."""
    last = _last(laid)
    held = len(set(laid.members[units.RUN][laid.runs["build_id"] == last["build_id"]]))
    room = 2 if brief.most_runs_in_build is None else brief.most_runs_in_build - held
    kept = [name for name in brief.factor_names if laid.of_term((name,)) not in (units.RUN, units.POSITION)]
    able = [line for line in every if all(line[name] == last[name] for name in kept)]
    where = str(last["build_id"])
    singles = [(where, [line]) for line in able] if room >= 1 else []
    return singles + ([(where, list(pair)) for pair in combinations(able, 2)] if room >= 2 else [])
