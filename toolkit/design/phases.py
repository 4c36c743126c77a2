"""The runs of several phases side by side: which blocks they are judged in (rank 3).

The one place that says so; sizing, analysis and what is told of runs as run all read it here.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from toolkit.brief.model import PHASES, Brief
from toolkit.design import base, strata
from toolkit.design.strata import Strata
from toolkit.errors import DesignError

_RANDOMISED_MAIN = "main phase"


def side_by_side(brief: Brief, runs: pd.DataFrame) -> tuple[Brief, pd.DataFrame]:
    """Runs of one phase or more with the blocks they are judged in, and the brief their strata are made from.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        One row a run: phase and build_id beside the factors. Rows that are not to count are left out beforehand.

    Returns
    -------
    brief : Brief
        The one given; with builds as blocks where phases are put beside a main phase that was completely randomised,
        and without its extension where no run of that is among them: the model is that of the phases before it.
    runs : DataFrame
        The rows with ``build_id`` as it is judged. One phase alone stays as it is. Where builds are blocks each build
        of each phase is a block of its own; a label that an earlier phase has too gets its phase behind it. Where
        runs are completely randomised the main phase and the extension are a block each, as are the builds of the
        pilot. (Whatever may differ between phases is then taken out as blocks are: textbook.)

    Raises
    ------
    DesignError
        When builds are the units of a factor: they cannot be put side by side.
    """
    there = [phase for phase in PHASES if (runs["phase"] == phase).any()]
    if "extension" not in there and base.joined(brief):
        brief = base.alone(brief)
    if len(there) < 2:
        return brief, runs
    layout = strata.layout_of_builds(brief)
    if layout == strata.WHOLE_PLOTS:
        raise DesignError(
            f"{' and the '.join(there)} phase side by side: not covered where builds are the units of a factor, "
            f"because a build of one phase would count as one more unit of the other. Analyse each phase by itself: "
            f'[pilot] use = "scatter", and no [extension].'
        )
    builds = runs["build_id"].astype(str)
    if layout == strata.RANDOMISED:
        builds = builds.mask(runs["phase"] == "main", _RANDOMISED_MAIN).mask(runs["phase"] == "extension", "extension")
        brief = replace(brief, block_by="build")
    taken: set[str] = set()
    # The main phase keeps its labels, whatever else has the same.
    for phase in sorted(there, key=lambda name: name != "main"):
        own = runs["phase"] == phase
        builds = builds.mask(own & builds.isin(taken), builds + f" ({phase})")
        taken |= set(builds[own])
    return brief, runs.assign(build_id=builds)


def told_by(brief: Brief, judged: Brief) -> Brief:
    """The brief whose model runs are told by: without its extension where no run of that is among them.

    Parameters
    ----------
    brief : Brief
        As campaign.toml has it.
    judged : Brief
        As ``side_by_side`` gave it for those runs.
    """
    return base.alone(brief) if base.joined(brief) and not base.joined(judged) else brief


def strata_together(brief: Brief, runs: pd.DataFrame) -> Strata:
    """The strata that runs of one phase or more are judged in, planned or as run.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        phase, build_id and one column per factor with level names, one row a run that would count. Phases that no
        analysis rests on (``brief.counted_phases``) are left out here.

    Raises
    ------
    DesignError
        When a stratum is not covered, a build-level factor changes within a build, or no row is left.
    """
    counted = runs[runs["phase"].isin(brief.counted_phases)]
    if counted.empty:
        raise DesignError(
            f"there is no run of the {' or the '.join(brief.counted_phases)} phase among these. Give its runs too; "
            f"their phase stands in the column 'phase'."
        )
    return strata.of_runs(*side_by_side(brief, counted.reset_index(drop=True)))
