"""What is refused alike for every design: sizes not chosen, too many runs, builds that would count twice (rank 3)."""

from __future__ import annotations

from toolkit.errors import DesignError


def not_chosen(key: str, phase: str) -> DesignError:
    """What to do when the size of a phase is still open."""
    section, what = {"main": ("plan", "main phase"), "extension": ("extension", "extension")}[phase]
    return DesignError(
        f"[{section}] {key} = 0: the size of the {what} is not chosen yet. Run `wearbook size`, decide, and "
        f"write your choice into campaign.toml."
    )


def beyond(runs: int, most: int) -> None:
    """Stop where a plan has more runs than are laid out."""
    if runs > most:
        raise DesignError(
            f"{runs} runs: more than {most}, the most this tool lays out. Take fewer builds, replicates or levels, or "
            f"a part of the combinations ([plan] design)."
        )


def units_extended() -> DesignError:
    """Why builds that are units of a factor take no extension."""
    return DesignError(
        "[extension]: not covered where builds are the units of a factor, because a build of the extension would "
        "count as one more unit of the main phase. Delete the section, and plan further builds as a campaign of their "
        "own."
    )
