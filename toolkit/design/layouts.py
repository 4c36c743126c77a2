"""The layout that a brief leads to, by what its factors need undone (rank 3)."""

from __future__ import annotations

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import units

RANDOMISED = "completely randomised"
BLOCKS = "complete blocks"
WHOLE_PLOTS = "whole plots"
PLOTS_IN_BLOCKS = "whole plots in complete blocks"
PLOTS_RANDOMISED = "whole plots, completely randomised"


def layout_of(brief: Brief) -> str:
    """The layout the brief leads to: completely randomised, complete blocks, or whole plots with or without blocks."""
    of_builds = layout_of_builds(brief)
    in_plots = {RANDOMISED: PLOTS_RANDOMISED, BLOCKS: PLOTS_IN_BLOCKS}
    # Runs hold several positions, as a kept part or fill holds several runs.
    return in_plots.get(of_builds, of_builds) if units.kept(brief) or by_position.divided(brief) else of_builds


def layout_of_builds(brief: Brief) -> str:
    """What builds are, whatever is kept within them, and so how a plan grows.

    Returns
    -------
    str
        whole plots (units of a factor: by sets of builds), complete blocks (by builds), or completely randomised (by
        replicates).
    """
    if "build" in units.of_brief(brief):
        return WHOLE_PLOTS
    return BLOCKS if brief.block_by == "build" else RANDOMISED
