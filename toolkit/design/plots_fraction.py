"""Two-level fractions whose factors are changed with builds, parts or fills: their phases, and what units take up.

Rank 3. Which factor has which unit is in the brief; the fraction is chosen for it (``numeric.plot_fractions``), so that
set-ups are as few as its coarser factors need.
"""

from __future__ import annotations

import pandas as pd

from toolkit.brief import plots
from toolkit.brief.model import Brief
from toolkit.design import _refused, base, factorial, strata, units
from toolkit.design import terms as model_terms
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.wording import counted, joined


def used(brief: Brief) -> bool:
    """True where the design is a two-level fraction with a factor kept over several runs."""
    return plots.used(brief)


def phase(brief: Brief, name: str, *, builds: int, replicates: int) -> Design:
    """The main phase, or an extension of further sets.

    Parameters
    ----------
    brief : Brief
    name : str
        main or extension.
    builds : int
        Where builds are units of a factor: a multiple of those of one set; where they are blocks: how many sets.
    replicates : int
        Without builds how many sets; with them how often each build holds its part of the set.

    Returns
    -------
    Design
        Each set, and each repeat within a build, has parts and fills of its own.

    Raises
    ------
    DesignError
        When the number is not chosen or no multiple, or a build does not last.

    Notes
    -----
    Checked against: tests/unit/design/test_plots_fraction.py.
    """
    held = base.of_brief(brief)
    layout = strata.layout_of_builds(brief)
    section = "plan" if name == "main" else name
    spread, within, letter = held.spread, replicates or 1, "B" if name == "main" else "X"
    if layout == strata.RANDOMISED:
        if not replicates:
            raise _refused.not_chosen("replicates", name)
        places = [(0, letter + "1", turn) for turn in range(replicates)]
    else:
        if layout == strata.WHOLE_PLOTS and name == "extension":
            raise _refused.units_extended()
        if not builds:
            raise _refused.not_chosen("builds", name)
        if builds % spread:
            below = builds - builds % spread
            raise DesignError(
                f"[{section}] builds = {builds}: one set of {len(held.lines)} runs takes {spread} builds, so their "
                f"number must be a multiple of {spread}; choose {f'{below} or ' if below else ''}{below + spread}."
            )
        places = [
            (build % spread, f"{letter}{build + 1}", build // spread * within + again)
            for build in range(builds)
            for again in range(within)
        ]
    rows, labels = [], []
    for place, label, turn in places:
        for line, own in zip(held.lines, held.builds, strict=True):
            if own == place:
                rows.append({**dict(zip(brief.factor_names, line, strict=True)), "replicate": turn + 1})
                labels.append(label)
    _refused.beyond(len(rows), factorial.LARGEST)
    table = pd.DataFrame(rows)[["replicate", *brief.factor_names]]
    table.insert(0, "build_id", labels)
    each = table["build_id"].value_counts()
    lasts = brief.most_runs_in_build
    if lasts is not None and int(each.max()) > lasts:
        raise DesignError(
            f"{int(each.max())} runs in a build, but a build lasts {lasts} ([blocks] most_runs); take fewer runs a set."
        )
    table = units.numbered(brief, table)
    made = strata.of_runs(brief, table)
    lead = "" if name == "main" else "extension, "
    if layout == strata.RANDOMISED:
        told = counted(replicates, "set")
    else:
        told = f"{counted(builds, 'build')} of {int(each.max())} runs"
    return Design(brief, name, f"{lead}{held.name}, {told}{_kept(brief, made)}", made)


def sentences(brief: Brief) -> tuple[str, ...]:
    """What is the same in all runs of a unit though its factors change there, a line each; empty for other designs.

    Notes
    -----
    Checked against: tests/unit/design/test_plots_fraction.py (columns looked at in every unit).
    """
    if not used(brief) or base.of_brief(brief).plots is None:
        return ()
    laid, chain, names = base.of_brief(brief).plots, plots.chain(brief), brief.factor_names
    held: dict[str, list[str]] = {}
    for one, other in laid.taken_up:
        columns = laid.fraction.columns
        unit = chain[laid.layer_of(columns[one] ^ columns[other])]
        held.setdefault(unit, []).append(model_terms.name_of((names[one], names[other])))
    return tuple(
        f"{joined(terms)}: the same in all runs of a {units.NAMES[unit]}, so judged by the scatter between "
        f"{units.PLURALS[unit]}, with what {'it stands' if len(terms) == 1 else 'they stand'} for there."
        for unit, terms in held.items()
    )


def _kept(brief: Brief, laid: strata.Strata) -> str:
    """How many parts and fills are set up."""
    counts = [
        f"{int(laid.members[unit].max()) + 1} {units.PLURALS[unit] if unit == 'fill' else 'sets of parts'}"
        for unit in units.kept(brief)
    ]
    return f", {', '.join(counts)}" if counts else ""
