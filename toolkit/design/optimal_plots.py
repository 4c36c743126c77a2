"""Phases of an optimal design that keeps factors over several runs, in whole plots as searched for (rank 3)."""

from __future__ import annotations

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.design import _refused, factorial, strata, units
from toolkit.design import optimal as optimal_design
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.wording import counted


def used(brief: Brief) -> bool:
    """True where the brief's optimal design keeps a factor over several runs.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    return optimal_design.used(brief) and len(units.of_brief(brief)) > 1


def phase(brief: Brief, name: str, *, builds: int, replicates: int) -> Design:
    """The main phase, or an extension of further sets.

    Parameters
    ----------
    brief : Brief
    name : str
        main or extension.
    builds : int
        Where builds are blocks or units of a factor: a multiple of those of one set.
    replicates : int
        Without builds: how many sets; with builds as blocks: how often each build holds its part of the set.

    Returns
    -------
    Design
        Each set, and each repeat within a build, has units of its own.

    Raises
    ------
    DesignError
        When the number is not chosen or no multiple, or a build does not last.

    Notes
    -----
    Checked against: tests/unit/design/test_optimal.py.
    """
    held = optimal_design.searched(brief)
    layout = strata.layout_of_builds(brief)
    if layout == strata.WHOLE_PLOTS and name == "extension":
        raise _refused.units_extended()
    spread, within = max(held.builds) + 1, 1
    if layout == strata.RANDOMISED:
        sets = _chosen(replicates, "replicates", name)
    else:
        count = _chosen(builds, "builds", name)
        if count % spread:
            below = count - count % spread
            raise DesignError(
                f"builds = {count}: one set is spread over {spread} builds, so their number must be a multiple of "
                f"{spread}; choose {f'{below} or ' if below else ''}{below + spread}."
            )
        sets, within = count // spread, max(replicates, 1)
    letter = "B" if name == "main" else "X"
    rows = []
    for turn in range(sets):
        for again in range(within):
            for at, line in enumerate(held.lines):
                build = 1 if layout == strata.RANDOMISED else turn * spread + held.builds[at] + 1
                row: dict[str, object] = {"build_id": f"{letter}{build}"}
                # Whole plots of other sets and repeats are other ones.
                row |= {units.COLUMNS[unit]: (turn, again, codes[at]) for unit, codes in held.plots.items()}
                rows.append(row | dict(zip(brief.factor_names, line, strict=True)))
    _refused.beyond(len(rows), factorial.LARGEST)
    table = pd.DataFrame(rows)
    for unit in units.kept(brief):
        table[units.COLUMNS[unit]] = units.within_builds(table["build_id"], table[units.COLUMNS[unit]])
    table = table.sort_values("build_id", key=lambda ids: ids.str[1:].astype(int), kind="stable", ignore_index=True)
    behind = len(units.id_columns(brief))
    names = list(brief.factor_names)
    table.insert(behind, "replicate", table[names].groupby(names, sort=False).cumcount() + 1)
    most = int(table["build_id"].value_counts().max())
    if brief.most_runs_in_build is not None and layout != strata.RANDOMISED and most > brief.most_runs_in_build:
        raise DesignError(
            f"{most} runs in a build, but a build lasts {brief.most_runs_in_build} ([blocks] most_runs); spread the "
            f"set over more builds, or take fewer runs a set."
        )
    told = counted(sets, "set") if layout == strata.RANDOMISED else f"{counted(sets * spread, 'build')} of {most} runs"
    lead = "" if name == "main" else "extension, "
    of = ", ".join(f"{len(set(codes))} {units.PLURALS[unit]}" for unit, codes in held.plots.items())
    return Design(brief, name, f"{lead}{held.name}{f' in {of}' if of else ''}, {told}", strata.of_runs(brief, table))


def _chosen(count: int, key: str, phase: str) -> int:
    """A number that must be chosen."""
    if not count:
        raise _refused.not_chosen(key, phase)
    return count
